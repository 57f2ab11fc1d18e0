package claims

import (
	"time"

	"cullet/services/access"
	"cullet/services/jobs"
	"cullet/services/payers"
	"cullet/services/repairability"
	"cullet/services/tax"
)

// visit puts the case's repair into a state.
func visit(c *Case, state string) { c.Job.Record.Place.Address.State = state }

// minutes makes the visit so long.
func minutes(c *Case, n int) {
	c.Job.Record.FinishTime = c.Job.Record.StartTime.Add(time.Duration(n) * time.Minute)
}

// given is an authorization that was given so long after the work began.
func given(c *Case, after time.Duration) {
	c.Coverage.Authorization.GiveTime = new(repaired.Add(after))
}

func crack(c *Case, mm int) {
	d := c.Job.Record.Damages[0]
	d.Kind, d.CrackLength = repairability.Crack, repairability.MM(mm)
	c.Job.Record.Damages = []jobs.Damage{d}
	c.Payer.Profile.LongestCrackMM = 150
}

// lawBreaks and visitBreaks have, for rules of these families, a change that just breaks them.
var lawBreaks = map[string]func(*Case){
	"LAW-KY-NUMBER-FIRST": func(c *Case) {
		visit(c, "KY")
		c.Coverage.Authorization, c.Payer.Profile.RequiredFields = payers.Authorization{}, nil
	},
	"LAW-KY-NUMBER-BEFORE-CONTRACT": func(c *Case) {
		visit(c, "KY")
		c.Job.Record.WorkAuthorization.SignTime = repaired.Add(-2 * time.Minute)
		given(c, -2*time.Minute+time.Second)
	},
	"LAW-AZ-WRITTEN": func(c *Case) { visit(c, "AZ"); c.Job.Record.WorkAuthorization = jobs.Signature{} },
	"LAW-AZ-PLACE": func(c *Case) {
		c.Job.Record.Place.IsMobile, c.Job.Record.Place.Address = true, access.Address{State: "AZ", City: "Mesa"}
	},
	"LAW-ASSIGNMENT-VOID": func(c *Case) {
		c.Coverage.PaymentDocument, c.Coverage.PolicyState, c.Coverage.PolicyDate = "ASSIGNMENT", "KY", "2024-07-15"
	},
	"LAW-ASSIGNMENT-DOUBTFUL": func(c *Case) { c.Coverage.PaymentDocument = "ASSIGNMENT" },
	"LAW-DEDUCTIBLE-STATUTE":  func(c *Case) { c.Coverage.DeductibleBasis = payers.Statute },
	"LAW-DEDUCTIBLE-TAKEN":    func(c *Case) { c.Coverage.PolicyState, c.Coverage.DeductibleBasis = "SC", payers.Applies },
	"LAW-CALIBRATION-NOTICE":  func(c *Case) { visit(c, "AZ"); c.Job.Record.Glass.DriverAssistance = repairability.Yes },
	"LAW-FRAUD-STATEMENT":     func(c *Case) { c.Coverage.LossState = "NY" },
}

var visitBreaks = map[string]func(*Case){
	"AUTH-AFTER-WORK": func(c *Case) { given(c, time.Second) },
	"AUTH-OVER-BEFORE-GIVEN": func(c *Case) {
		given(c, -26*time.Hour)
		c.Coverage.Authorization.ValidTo = "2026-10-18"
		c.Job.Record.FinishTime, c.Job.Record.StartTime = repaired.AddDate(0, 0, -2), repaired.AddDate(0, 0, -2).Add(-time.Hour)
	},
	"AUTH-IS-POLICY":             func(c *Case) { c.Coverage.Authorization.Number = c.Coverage.PolicyNumber },
	"DATES-FILING-SOON":          func(c *Case) { c.Now = repaired.AddDate(0, 0, 27) },
	"DATES-LOSS-AT-POLICY-START": func(c *Case) { c.Coverage.PolicyDate = "2026-10-04" },
	"DATES-POLICY-AFTER-REPAIR":  func(c *Case) { c.Coverage.PolicyDate = "2026-10-21" },
	"DUPLICATE-OTHER-PAYER": func(c *Case) {
		c.Earlier = earlier(func(e *EarlierClaim) { e.Job, e.Payer = c.Job.ID, "payer-2" })
	},
	"DUPLICATE-MANY": func(c *Case) {
		for range 3 {
			c.Earlier = append(c.Earlier, earlier(func(e *EarlierClaim) { e.RepairDate = "2025-10-20" })...)
		}
	},
	"PAYER-REPAIRS-PER-CLAIM": func(c *Case) { c.Payer.Profile.MaxRepairsPerClaim = 1; twoDamages(c) },
	"PAYER-REPAIRS-PER-GLASS": func(c *Case) {
		c.Payer.Profile.MaxRepairsPerGlass, c.Job.Record.Glass.EarlierRepairs = 3, new(3)
	},
	"PAYER-LONG-CRACK":              func(c *Case) { crack(c, 151) },
	"PAYER-ANOTHER-STATE":           func(c *Case) { c.Coverage.PolicyState = "IN" },
	"TAX-CERTIFICATE-ENDS":          func(c *Case) { certificate(c, "2026-11-21") },
	"DOCUMENT-SIGNED-AFTER-WORK":    func(c *Case) { c.Job.Record.WorkAuthorization.SignTime = repaired.Add(time.Second) },
	"DOCUMENT-PAYMENT-UNSIGNED":     func(c *Case) { c.Coverage.PaymentDocument = "DIRECTION_TO_PAY" },
	"DOCUMENT-OTHER-SIGNER":         func(c *Case) { c.Job.Record.Motorist.Name = "Jordan Example (invented)" },
	"DOCUMENT-STATEMENT-AFTER-WORK": func(c *Case) { c.Coverage.WrittenStatementDate = "2026-10-21" },
	"PROCESS-VISIT-SHORT":           func(c *Case) { c.Job.Record.FinishTime = repaired.Add(8*time.Minute - time.Second) },
	"PROCESS-VISIT-LONG":            func(c *Case) { minutes(c, 181) },
	"COVERAGE-INSURED-OTHER": func(c *Case) {
		c.Coverage.InsuredName, c.Job.Record.Motorist.Name = "Robin Example (invented)", "Dana Whitlock (invented)"
	},
	"COVERAGE-NO-CAUSE":        func(c *Case) { c.Coverage.CauseOfLoss = "" },
	"PRICE-TRIP-WITHOUT-PLACE": func(c *Case) { c.Job.Record.Place.IsMobile = true },
	"PRICE-AGREEMENT-ENDS":     func(c *Case) { c.Payer.Profile.Agreements[0].ValidTo = "2026-11-21" },
	"VEHICLE-NO-PLATE":         func(c *Case) { c.Job.Record.Vehicle.UnitNumber = "" },
}

func twoDamages(c *Case) {
	d := c.Job.Record.Damages[0]
	far := d
	far.Place = &repairability.Place{FromDriverEdge: 300 * repairability.Millimetre, FromLowerEdge: 300 * repairability.Millimetre}
	c.Job.Record.Damages = []jobs.Damage{d, far}
}

func certificate(c *Case, validTo string) {
	c.Payer.Profile.Buyer.Certificate = &tax.Certificate{Number: "OH-1", ValidFrom: "2026-01-01", ValidTo: validTo}
}

// passes has, for rules with a bound, a change that just does not break them.
var passes = map[string][]func(*Case){
	"LAW-KY-NUMBER-FIRST": {func(c *Case) { visit(c, "KY") }, func(c *Case) {
		lawBreaks["LAW-KY-NUMBER-FIRST"](c)
		c.Coverage.WrittenStatementDate = "2026-10-20"
	}, func(c *Case) { lawBreaks["LAW-KY-NUMBER-FIRST"](c); c.Payer.Kind = payers.Fleet }},
	"LAW-KY-NUMBER-BEFORE-CONTRACT": {func(c *Case) {
		visit(c, "KY")
		c.Job.Record.WorkAuthorization.SignTime = repaired.Add(-2 * time.Minute)
		given(c, -2*time.Minute)
	}},
	"LAW-AZ-WRITTEN": {func(c *Case) { visit(c, "AZ") }},
	"LAW-AZ-PLACE": {func(c *Case) {
		c.Job.Record.Place.IsMobile, c.Job.Record.Place.Address = true, access.Address{State: "AZ", City: "Mesa", Street: "1 Ocotillo Way"}
	}},
	"LAW-ASSIGNMENT-VOID": {func(c *Case) {
		c.Coverage.PaymentDocument, c.Coverage.PolicyState, c.Coverage.PolicyDate = "ASSIGNMENT", "KY", "2024-07-14"
	}, func(c *Case) { c.Coverage.PaymentDocument, c.Coverage.PolicyState = "DIRECTION_TO_PAY", "FL" }},
	"LAW-DEDUCTIBLE-STATUTE":     {func(c *Case) { c.Coverage.DeductibleBasis, c.Coverage.PolicyState = payers.Statute, "FL" }},
	"LAW-DEDUCTIBLE-TAKEN":       {func(c *Case) { c.Coverage.PolicyState, c.Coverage.DeductibleBasis = "OH", payers.Applies }},
	"LAW-CALIBRATION-NOTICE":     {func(c *Case) { visit(c, "AZ"); c.Job.Record.Glass.DriverAssistance = repairability.No }},
	"LAW-FRAUD-STATEMENT":        {func(c *Case) { c.Coverage.LossState, c.Coverage.FraudStatementState = "NY", "NY" }},
	"AUTH-AFTER-WORK":            {func(c *Case) { given(c, 0) }},
	"AUTH-OVER-BEFORE-GIVEN":     {func(c *Case) { given(c, -time.Hour); c.Coverage.Authorization.ValidTo = "2026-10-20" }},
	"DATES-FILING-SOON":          {func(c *Case) { c.Now = repaired.AddDate(0, 0, 26) }},
	"DATES-LOSS-AT-POLICY-START": {func(c *Case) { c.Coverage.PolicyDate = "2026-10-03" }},
	"DATES-POLICY-AFTER-REPAIR":  {func(c *Case) { c.Coverage.PolicyDate = "2026-10-20" }},
	"DATES-LOSS-AFTER-REPAIR":    {func(c *Case) { c.Coverage.DateOfLoss = "2026-10-20" }},
	"DATES-LOSS-OLD":             {func(c *Case) { c.Coverage.DateOfLoss = "2025-10-20" }},
	"DATES-FILING-LIMIT":         {func(c *Case) { c.Now = repaired.AddDate(0, 0, 30) }},
	"AUTH-EXPIRED":               {func(c *Case) { c.Coverage.Authorization.ValidTo = "2026-10-20" }},
	"DUPLICATE-OTHER-PAYER": {func(c *Case) {
		c.Earlier = earlier(func(e *EarlierClaim) { e.Job, e.Payer, e.State = c.Job.ID, "payer-2", Rejected })
	}},
	"DUPLICATE-MANY": {func(c *Case) {
		for range 3 {
			c.Earlier = append(c.Earlier, earlier(func(e *EarlierClaim) { e.RepairDate = "2025-10-19" })...)
		}
	}},
	"PAYER-REPAIRS-PER-CLAIM": {func(c *Case) { c.Payer.Profile.MaxRepairsPerClaim = 2; twoDamages(c) }},
	"PAYER-REPAIRS-PER-GLASS": {func(c *Case) {
		c.Payer.Profile.MaxRepairsPerGlass, c.Job.Record.Glass.EarlierRepairs = 3, new(2)
	}},
	"PAYER-LONG-CRACK":           {func(c *Case) { crack(c, 150) }},
	"TAX-CERTIFICATE-ENDS":       {func(c *Case) { certificate(c, "2026-11-22") }},
	"DOCUMENT-SIGNED-AFTER-WORK": {func(c *Case) { c.Job.Record.WorkAuthorization.SignTime = repaired }},
	"DOCUMENT-PAYMENT-UNSIGNED": {func(c *Case) {
		c.Coverage.PaymentDocument, c.Job.Record.PaymentAuthorization.SignedBy = "DIRECTION_TO_PAY", "Dana Whitlock (invented)"
	}},
	"DOCUMENT-STATEMENT-AFTER-WORK": {func(c *Case) { c.Coverage.WrittenStatementDate = "2026-10-20" }},
	"PROCESS-VISIT-SHORT":           {func(c *Case) { minutes(c, 8) }},
	"PROCESS-VISIT-LONG":            {func(c *Case) { minutes(c, 180) }},
	"PRICE-AGREEMENT-ENDS":          {func(c *Case) { c.Payer.Profile.Agreements[0].ValidTo = "2026-11-22" }},
}
