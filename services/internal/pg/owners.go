package pg

// Owners names for every table the one package that may write it, as a path below the module's
// root. Others read through that package or through a named view. A new table gets its line
// here; the catalogue test fails without it, and owners_test.go fails where another package
// writes.
var Owners = map[string]string{
	"audit_entries": "services/internal/outbox",
	"events":        "services/internal/outbox",
	"number_series": "services/internal/pg",
	"requests":      "services/internal/once",
	"work":          "services/internal/outbox",

	"key_hashes": "services/access/accesspg",
	"keys":       "services/access/accesspg",
	"shops":      "services/access/accesspg",

	"customers": "services/customers/customerspg",

	"inbound_routes":    "services/payers/payerspg",
	"payer_credentials": "services/payers/payerspg",
	"payer_profiles":    "services/payers/payerspg",
	"payers":            "services/payers/payerspg",

	"column_mappings": "services/jobs/jobspg",
	"import_rows":     "services/jobs/jobspg",
	"imports":         "services/jobs/jobspg",
	"job_photos":      "services/jobs/jobspg",
	"jobs":            "services/jobs/jobspg",
	"photo_usage":     "services/jobs/jobspg",
	"photos":          "services/jobs/jobspg",

	"claim_contents": "services/claims/claimspg",
	"claims":         "services/claims/claimspg",
	"overrulings":    "services/claims/claimspg",

	"allocations":      "services/invoices/invoicespg",
	"disputes":         "services/invoices/invoicespg",
	"invoice_lines":    "services/invoices/invoicespg",
	"invoices":         "services/invoices/invoicespg",
	"journal_entries":  "services/invoices/invoicespg",
	"journal_lines":    "services/invoices/invoicespg",
	"payments":         "services/invoices/invoicespg",
	"periods":          "services/invoices/invoicespg",
	"receivables":      "services/invoices/invoicespg",
	"refunds":          "services/invoices/invoicespg",
	"remittance_lines": "services/invoices/invoicespg",
	"remittances":      "services/invoices/invoicespg",
	"tax_returns":      "services/invoices/invoicespg",

	"answers":         "services/runs/runspg",
	"batch_documents": "services/runs/runspg",
	"batches":         "services/runs/runspg",
	"messages":        "services/runs/runspg",
	"runs":            "services/runs/runspg",

	"attempts":      "services/webhooks/webhookspg",
	"deliveries":    "services/webhooks/webhookspg",
	"endpoints":     "services/webhooks/webhookspg",
	"webhook_shops": "services/webhooks/webhookspg",
}
