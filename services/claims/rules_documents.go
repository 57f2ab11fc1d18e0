package claims

import (
	"fmt"
	"strings"

	"cullet/services/finding"
	"cullet/services/payers"
)

var documentRules = []Rule{
	{
		Code: "DOCUMENT-SIGNED-AFTER-WORK", Family: FamilyDocuments, Severity: finding.Caution,
		Demand: "The motorist signed for the work before it began.",
		Fix:    "Correct the time if it was recorded wrongly; else have the signature before the next repair.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			signed := c.Job.Record.WorkAuthorization.SignTime
			if !signed.IsZero() && signed.After(c.Job.Record.StartTime) {
				broken("job.work_authorization.sign_time", fmt.Sprintf("The work was signed for at %s; it began at %s.",
					clock(c, signed), clock(c, c.Job.Record.StartTime)), "")
			}
		},
	},
	{
		Code: "DOCUMENT-PAYMENT-UNSIGNED", Family: FamilyDocuments, Severity: finding.Caution,
		Demand: "What was signed about the payment has a signature.",
		Fix:    "Amend the record with who signed and when, or empty what was signed about the payment.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			if c.Coverage.PaymentDocument != "" && c.Job.Record.PaymentAuthorization.SignedBy == "" {
				broken("job.payment_authorization", fmt.Sprintf("The claim says that %s was signed, and nobody is recorded to have signed it.",
					documentWords[c.Coverage.PaymentDocument]), "")
			}
		},
	},
	{
		Code: "DOCUMENT-OTHER-SIGNER", Family: FamilyDocuments, Severity: finding.Note,
		Demand: "Who signed for the work is the motorist or the insured.",
		Fix:    "Nothing to mend when the signer may decide about the vehicle; write down why in a note.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			signer, motorist, insured := c.Job.Record.WorkAuthorization.SignedBy, c.Job.Record.Motorist.Name, c.Coverage.InsuredName
			isKnown := motorist == "" && insured == "" || strings.EqualFold(signer, motorist) || strings.EqualFold(signer, insured)
			if signer != "" && !isKnown && c.Payer.Kind == payers.Insurer {
				broken("job.work_authorization.signed_by", fmt.Sprintf("%s signed for the work; the motorist is %q and the insured %q.", signer, motorist, insured), "")
			}
		},
	},
	{
		Code: "DOCUMENT-STATEMENT-AFTER-WORK", Family: FamilyDocuments, Severity: finding.Caution,
		Demand: "The written statement is not younger than the repair.",
		Fix:    "Correct the day; a statement that was signed afterwards does not stand for one before the contract. Ask the shop's lawyer.",
		Source: ownRule,
		check: func(c *Case, broken report) {
			if day := c.Coverage.WrittenStatementDate; day > c.Job.Record.RepairDate() {
				broken("coverage.written_statement_date", fmt.Sprintf("The written statement is of %s, the repair of %s.", day, c.Job.Record.RepairDate()), "")
			}
		},
	},
}

// documentWords is how people call what is signed about the payment.
var documentWords = map[string]string{"DIRECTION_TO_PAY": "a direction to pay", "ASSIGNMENT": "an assignment of benefits"}
