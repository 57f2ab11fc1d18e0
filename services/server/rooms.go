package server

import (
	"maps"
	"slices"

	"google.golang.org/grpc"

	accessv1 "cullet/proto/cullet/access/v1"
	claimsv1 "cullet/proto/cullet/claims/v1"
	customersv1 "cullet/proto/cullet/customers/v1"
	invoicesv1 "cullet/proto/cullet/invoices/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	runsv1 "cullet/proto/cullet/runs/v1"
	taxv1 "cullet/proto/cullet/tax/v1"
	webhooksv1 "cullet/proto/cullet/webhooks/v1"
	"cullet/services/access/accessrpc"
	"cullet/services/claims"
	"cullet/services/claims/claimsrpc"
	"cullet/services/customers/customersrpc"
	"cullet/services/internal/gateway"
	"cullet/services/internal/rpc"
	"cullet/services/invoices/invoicesrpc"
	"cullet/services/jobs"
	"cullet/services/jobs/jobsrpc"
	"cullet/services/payers/payersrpc"
	"cullet/services/repairability"
	"cullet/services/runs/runsrpc"
	"cullet/services/tax/taxrpc"
	"cullet/services/webhooks/webhooksrpc"
)

// room is one service as the server mounts it.
type room struct {
	register func(grpc.ServiceRegistrar, *house)
	gateway  gateway.Register
	// limits are the methods that are not as all others, by full name; may be nil.
	limits func() map[string]rpc.Limits
}

// rooms are all services. A new one is one entry here, one in client.New, and nothing else.
var rooms = []room{
	{gateway: accessv1.RegisterAccessServiceHandler, register: func(r grpc.ServiceRegistrar, h *house) {
		accessv1.RegisterAccessServiceServer(r, accessrpc.New(h.db, h.pages, h.Now, standardKeys(), jobs.Readings()))
	}},
	{gateway: payersv1.RegisterPayerServiceHandler, register: func(r grpc.ServiceRegistrar, h *house) {
		payersv1.RegisterPayerServiceServer(r, payersrpc.New(payersrpc.Config{DB: h.db, Pages: h.pages, Ring: h.ring,
			Now: h.Now, Shop: h.shop, Formats: namesOf(h.Formats), Channels: namesOf(h.Channels),
			CoverageFields: claims.CoverageFieldNames(), Standards: standardKeys(), Readings: repairability.ReadingNames(), Line: h.line}))
	}},
	{gateway: customersv1.RegisterCustomerServiceHandler, register: func(r grpc.ServiceRegistrar, h *house) {
		customersv1.RegisterCustomerServiceServer(r, customersrpc.New(h.db, h.pages, h.Now))
	}},
	{gateway: taxv1.RegisterTaxServiceHandler, register: func(r grpc.ServiceRegistrar, h *house) {
		taxv1.RegisterTaxServiceServer(r, taxrpc.New(taxrpc.Config{DB: h.db, Pages: h.pages, Now: h.Now, Shop: h.shop,
			Book: h.taxes()}))
	}},
	{gateway: claimsv1.RegisterClaimServiceHandler, limits: claimsrpc.Limits, register: func(r grpc.ServiceRegistrar, h *house) {
		claimsv1.RegisterClaimServiceServer(r, claimsrpc.New(h.db, h.pages, h.Now, h.line, h.shop))
	}},
	{gateway: jobsv1.RegisterJobServiceHandler, limits: jobsrpc.Limits, register: func(r grpc.ServiceRegistrar, h *house) {
		jobsv1.RegisterJobServiceServer(r, h.jobs())
	}},
	{gateway: invoicesv1.RegisterInvoiceServiceHandler, limits: invoicesrpc.Limits, register: func(r grpc.ServiceRegistrar, h *house) {
		invoicesv1.RegisterInvoiceServiceServer(r, invoicesrpc.New(h.db, h.pages, h.Now, h.line, h.RemittanceFormats, h.Document, h.InvoiceWriters, h.shop))
	}},
	{gateway: runsv1.RegisterRunServiceHandler, register: func(r grpc.ServiceRegistrar, h *house) {
		runsv1.RegisterRunServiceServer(r, runsrpc.New(h.db, h.pages, h.Now, h.line))
	}},
	{gateway: webhooksv1.RegisterWebhookServiceHandler, register: func(r grpc.ServiceRegistrar, h *house) {
		webhooksv1.RegisterWebhookServiceServer(r, webhooksrpc.New(h.db, h.pages, h.Now, h.ring, h.CheckURL))
	}},
}

// allLimits joins the limits of all rooms.
func allLimits() map[string]rpc.Limits {
	all := map[string]rpc.Limits{}
	for _, r := range rooms {
		if r.limits != nil {
			maps.Copy(all, r.limits())
		}
	}
	return all
}

// namesOf gives the names by which profiles choose among things of the world.
func namesOf[T interface{ Name() string }](all []T) []string {
	names := make([]string, len(all))
	for i, one := range all {
		names[i] = one.Name()
	}
	return names
}

// standardKeys are the keys of all editions of repair standards, and of their families.
func standardKeys() []string {
	var keys []string
	for _, edition := range repairability.Editions() {
		keys = append(keys, edition.Key, edition.Family)
	}
	slices.Sort(keys)
	return slices.Compact(keys)
}
