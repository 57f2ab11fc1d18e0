package claims

import (
	"fmt"
	"slices"

	"cullet/services/finding"
	"cullet/services/payers"
	"cullet/services/repairability"
)

// readOn is the day on which the statutes below were read.
const readOn = "2026-11-25"

// lawyer ends every remedy of a block of law: nothing here is legal advice, and whoever has the right may
// overrule a block with a reason that is kept.
const lawyer = " Confirm with the shop's lawyer; the printed statute decides."

func statute(citation string, known finding.Known) finding.Source {
	return finding.Source{Citation: citation, Known: known, ReadOn: readOn}
}

// lawRules are blocks of law. Each names its statute, the day it was read and how well it is known, and
// defers to the shop's lawyer.
var lawRules = []Rule{
	{
		Code: "LAW-KY-NUMBER-FIRST", Family: FamilyLaw, Severity: finding.Stop, IsOverrulable: true,
		Demand: "In Kentucky no contract is made before the first-party claim has its number, or a written statement stands for it.",
		Fix:    "Enter the payer's number of the loss or the authorization, or the day of the written statement that the statute allows instead." + lawyer,
		Source: statute("KRS 367.361(3)", finding.Read),
		check: func(c *Case, broken report) {
			if isInsuredIn(c, "KY") && c.Coverage.LossReference == "" && c.Coverage.Authorization.Number == "" && c.Coverage.WrittenStatementDate == "" {
				broken("coverage.loss_reference", "The repair was in Kentucky, and neither a claim number nor a referral number nor a written statement is recorded.", "")
			}
		},
	},
	{
		Code: "LAW-KY-NUMBER-BEFORE-CONTRACT", Family: FamilyLaw, Severity: finding.Stop, IsOverrulable: true,
		Demand: "In Kentucky the number was there when the work was signed for.",
		Fix:    "Correct the times if they were entered wrongly, or enter the day of the written statement." + lawyer,
		Source: statute("KRS 367.361(3)", finding.Read),
		check: func(c *Case, broken report) {
			given, signed := c.Coverage.Authorization.GiveTime, c.Job.Record.WorkAuthorization.SignTime
			if isInsuredIn(c, "KY") && given != nil && !signed.IsZero() && given.After(signed) && c.Coverage.LossReference == "" &&
				c.Coverage.WrittenStatementDate == "" {
				broken("coverage.authorization.give_time", fmt.Sprintf("The work in Kentucky was signed for at %s, before the number was given at %s.",
					clock(c, signed), clock(c, *given)), "")
			}
		},
	},
	{
		Code: "LAW-AZ-WRITTEN", Family: FamilyLaw, Severity: finding.Stop, IsOverrulable: true,
		Demand: "In Arizona the work was authorized in writing.",
		Fix:    "Amend the record with who signed and when." + lawyer,
		Source: statute("A.R.S. 20-463.01", finding.Read),
		check: func(c *Case, broken report) {
			if isInsuredIn(c, "AZ") && c.Job.Record.WorkAuthorization.SignedBy == "" {
				broken("job.work_authorization", "The repair was in Arizona, and no written authorization is recorded.", "")
			}
		},
	},
	{
		Code: "LAW-AZ-PLACE", Family: FamilyLaw, Severity: finding.Stop, IsOverrulable: true,
		Demand: "In Arizona the claim names the true place of the work.",
		Fix:    "Amend the record with street and city of where the vehicle stood." + lawyer,
		Source: statute("A.R.S. 20-463.01(A)(1)(b)", finding.Read),
		check: func(c *Case, broken report) {
			if at := c.Job.Record.Place; isInsuredIn(c, "AZ") && at.IsMobile && (at.Address.Street == "" || at.Address.City == "") {
				broken("job.place_of_repair.address", "The work was done where the vehicle stood in Arizona, and street or city is missing.", "")
			}
		},
	},
	{
		Code: "LAW-ASSIGNMENT-VOID", Family: FamilyLaw, Severity: finding.Stop, IsOverrulable: true,
		Demand: "Where the law takes no assignment of benefits for auto glass, the motorist signed none.",
		Fix:    "Have a direction to pay signed instead, and enter that." + lawyer,
		Source: statute("Fla. Stat. 627.7289 (ch. 2023-136, engrossed text read); Kentucky SB 29 (2024), KRS 367.361 (read in secondary sources)", finding.ReadSecondary),
		check: func(c *Case, broken report) {
			if state := policyState(c); isAssigned(c) && isAssignmentVoid(state, c) {
				broken("coverage.payment_document", fmt.Sprintf("An assignment of benefits was signed, and %s takes none for auto glass.", state), "")
			}
		},
	},
	{
		Code: "LAW-ASSIGNMENT-DOUBTFUL", Family: FamilyLaw, Severity: finding.Caution,
		Demand: "The motorist signed a direction to pay rather than an assignment of benefits.",
		Fix:    "Ask the shop's lawyer whether the state takes assignments for auto glass; a direction to pay is taken everywhere that we know of.",
		Source: statute("model act of February 2025; California SB 988 of 2026, whose fate is not known", finding.ReadSecondary),
		check: func(c *Case, broken report) {
			if isAssigned(c) && !isAssignmentVoid(policyState(c), c) {
				broken("coverage.payment_document", "An assignment of benefits was signed; states are ending them for auto glass one after the other.", "")
			}
		},
	},
	{
		Code: "LAW-DEDUCTIBLE-STATUTE", Family: FamilyLaw, Severity: finding.Stop, IsOverrulable: true,
		Demand: "A deductible that a statute keeps away has a statute.",
		Fix:    "Choose another ground, or let the deductible apply." + lawyer,
		Source: statute("Fla. Stat. 627.7288; KRS 304.20-060; S.C. Code 38-77-280(B)", finding.Read),
		check: func(c *Case, broken report) {
			if state := policyState(c); c.Coverage.DeductibleBasis == payers.Statute && deductibleStatutes[state] == "" {
				broken("coverage.deductible_basis", fmt.Sprintf("No statute of %q is known that keeps the deductible from a windshield; Florida, Kentucky and "+
					"South Carolina have one.", state), "")
			}
		},
	},
	{
		Code: "LAW-DEDUCTIBLE-TAKEN", Family: FamilyLaw, Severity: finding.Stop, IsOverrulable: true,
		Demand: "No deductible is taken where a statute keeps it from a windshield.",
		Fix:    "Choose the statute as the ground, or ask the payer why it takes one." + lawyer,
		Source: statute("Fla. Stat. 627.7288 and S.C. Code 38-77-280(B) (read); KRS 304.20-060 (quoted)", finding.Read),
		check: func(c *Case, broken report) {
			cited := deductibleStatutes[c.Coverage.PolicyState]
			if c.Payer.Kind == payers.Insurer && cited != "" && c.Coverage.DeductibleBasis == payers.Applies {
				broken("coverage.deductible_basis", fmt.Sprintf("The policy is of %s, where %s keeps the deductible from a windshield.", c.Coverage.PolicyState, cited), "")
			}
		},
	},
	{
		Code: "LAW-CALIBRATION-NOTICE", Family: FamilyLaw, Severity: finding.Caution,
		Demand: "In Florida and Arizona the motorist was told whether a camera must be calibrated.",
		Fix:    "Tell the motorist in writing, and keep a copy." + lawyer,
		Source: statute("Fla. Stat. 559.920 (2023); A.R.S. 20-463.02 (2022)", finding.Read),
		check: func(c *Case, broken report) {
			if state := repairState(c); (state == "FL" || state == "AZ") && c.Job.Record.Glass.DriverAssistance == repairability.Yes {
				broken("job.glass.has_driver_assistance", fmt.Sprintf("A camera looks through the glass, and %s wants the motorist told whether it must be calibrated.", state), "")
			}
		},
	},
	{
		Code: "LAW-FRAUD-STATEMENT", Family: FamilyLaw, Severity: finding.Caution,
		Demand: "The state's fraud statement stands above the motorist's signature.",
		Fix:    "Use a form that carries the statement, and enter the state; the wording is the shop's lawyer's to confirm.",
		Source: statute("Cal. Ins. Code 1871.2; Fla. Stat. 817.234(1)(b); N.Y. Ins. Law 403(e), 11 NYCRR 86.4; 26 L.P.R.A. 2732", finding.Read),
		check: func(c *Case, broken report) {
			state := c.Coverage.LossState
			if c.Payer.Kind == payers.Insurer && slices.Contains(fraudStates, state) && c.Coverage.FraudStatementState != state {
				broken("coverage.fraud_statement_state", fmt.Sprintf("The loss was in %s, whose fraud statement is not recorded on what the motorist signed.", state), "")
			}
		},
	},
}

// deductibleStatutes are the states whose statute keeps the deductible from a windshield.
var deductibleStatutes = map[string]string{"FL": "Fla. Stat. 627.7288", "KY": "KRS 304.20-060", "SC": "S.C. Code 38-77-280(B)"}

// fraudStates are those whose text was read.
var fraudStates = []string{"CA", "FL", "NY", "PR"}

// assignmentsEnd is from which day of the policy a state takes no assignment. That Florida's act took
// effect on 2023-05-25 and Kentucky's on 2024-07-15 is from memory.
var assignmentsEnd = map[string]string{"FL": "2023-05-25", "KY": "2024-07-15"}

func isAssigned(c *Case) bool { return c.Coverage.PaymentDocument == "ASSIGNMENT" }

// isAssignmentVoid tells whether the state takes no assignment under a policy of that day; a day that is
// not known is taken for a late one.
func isAssignmentVoid(state string, c *Case) bool {
	from, ok := assignmentsEnd[state]
	return ok && (c.Coverage.PolicyDate == "" || c.Coverage.PolicyDate >= from)
}

// isInsuredIn tells whether an insurer is asked for work that was done in the state.
func isInsuredIn(c *Case, state string) bool {
	return c.Payer.Kind == payers.Insurer && repairState(c) == state
}

// policyState is the state whose law governs the policy, else that of the repair.
func policyState(c *Case) string {
	if c.Coverage.PolicyState != "" {
		return c.Coverage.PolicyState
	}
	return repairState(c)
}

// repairState is the state of the place of repair: the address of mobile work, else the shop's.
func repairState(c *Case) string {
	if state := c.Job.Record.Place.Address.State; state != "" {
		return state
	}
	return c.Shop.Address.State
}
