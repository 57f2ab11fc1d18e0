package claims

import (
	"slices"
	"testing"
	"time"

	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/finding"
	"cullet/services/jobs"
	"cullet/services/payers"
	"cullet/services/pricing"
	"cullet/services/repairability"
)

var repaired = time.Date(2026, 10, 20, 15, 0, 0, 0, time.UTC)

const (
	hashBefore = jobs.PhotoHash("aa00000000000000000000000000000000000000000000000000000000000000")
	hashAfter  = jobs.PhotoHash("bb00000000000000000000000000000000000000000000000000000000000000")
)

// sound is a case that no rule finds anything in.
func sound() Case {
	damage := repairability.Damage{Kind: repairability.Bullseye, BodyDiameter: repairability.MM(12), Outcome: repairability.Repaired,
		Place: &repairability.Place{FromDriverEdge: 900 * repairability.Millimetre, FromLowerEdge: 300 * repairability.Millimetre}}
	taken := func(minute int) *time.Time { return new(repaired.Add(time.Duration(minute) * time.Minute)) }
	return Case{
		Shop: access.Shop{TimeZone: "America/New_York", CurrencyCode: "USD", StandardKey: "ROLAGS",
			Address: access.Address{State: "OH", CountryCode: "US"}},
		Job: jobs.Job{ID: "job-2", Version: 1, Assessments: []repairability.Assessment{{Standard: "ANSI ROLAGS", Edition: "002-2022", Verdict: repairability.Repairable}},
			Record: jobs.Record{Vehicle: jobs.Vehicle{VIN: "1G4AH59H45G118341", UnitNumber: "17"},
				Damages:   []jobs.Damage{{Damage: damage, Process: &repairability.Process{}}},
				Place:     jobs.Place{Position: &jobs.Position{LatitudeMicrodegrees: 39_961_176, LongitudeMicrodegrees: -82_998_794}},
				StartTime: repaired, FinishTime: repaired.Add(30 * time.Minute), TimeZone: "America/New_York",
				Photos: []jobs.PhotoReference{{Hash: hashBefore, Kind: jobs.Before, DamageNumber: 1},
					{Hash: hashAfter, Kind: jobs.After, DamageNumber: 1}},
				WorkAuthorization: jobs.Signature{SignedBy: "Dana Whitlock (invented)"}}},
		Payer: payers.Payer{ID: "payer-1", Name: "Lantern Mutual (invented)", Kind: payers.Insurer, Profile: payers.Profile{
			RequiredFields: []string{"policy_number", "authorization.number"}, ForbiddenFields: []string{"cost_centre"},
			PolicyNumberPattern: `LM-\d{4}`, AuthorizationNumberPattern: `A\d{3}`, FilingLimitDays: 30, IsMobileWorkPaid: true,
			IsDeductibleWaivedForRepair: true, Photos: []payers.PhotoDemand{{Kind: "BEFORE", IsPerDamage: true}},
			Agreements: []pricing.Agreement{{ValidFrom: "2026-01-01", MaxRepairs: 2}}}},
		Coverage: payers.Coverage{PolicyNumber: "LM-1234", DateOfLoss: "2026-10-18", CauseOfLoss: "ROAD_DEBRIS",
			Authorization: payers.Authorization{Number: "A123", GivenBy: "Iris Vane (invented)"}},
		Photos: map[jobs.PhotoHash]jobs.Photo{hashBefore: passing(jobs.Photo{Hash: hashBefore, Likeness: 1, TakeTime: taken(1)}),
			hashAfter: passing(jobs.Photo{Hash: hashAfter, Likeness: ^uint64(0), TakeTime: taken(29)})},
		ClaimNumber: "C-000002", Now: repaired.Add(48 * time.Hour),
	}
}

// passing makes a photo that just passes every rule about the picture: it was taken 1000 m away.
func passing(p jobs.Photo) jobs.Photo {
	p.Width, p.Height = 800, minShortEdge
	p.Quality = &jobs.Quality{Sharpness: minSharpness, Brightness: minBrightness, BlownPercent: maxBlownPercent}
	p.Position = &jobs.Position{LatitudeMicrodegrees: 39_961_176 + 8_993, LongitudeMicrodegrees: -82_998_794}
	return p
}

// earlier is a claim of the same vehicle that has nothing to do with the case.
func earlier(change func(*EarlierClaim)) []EarlierClaim {
	e := EarlierClaim{ID: "claim-1", Number: "C-000001", Job: "job-1", Payer: "payer-1", State: Submitted, VIN: "1G4AH59H45G118341",
		RepairDate: "2026-09-01"}
	change(&e)
	return []EarlierClaim{e}
}

// across assesses the bullseye anew, with another diameter or with none; whatever else decides was read.
func across(diameter *repairability.Length) func(*Case) {
	return func(c *Case) {
		d := &c.Job.Record.Damages[0]
		d.BodyDiameter, d.PitDiameter, d.FinishedPit, d.DistanceToRepair = diameter, repairability.MM(4), repairability.MM(4), repairability.MM(300)
		d.Layer, d.Contamination, d.InCameraArea = repairability.OuterLayer, repairability.NoContamination, repairability.No
		c.Job.Assessments, _ = jobs.Assess(&c.Job.Record, "", jobs.Ranges(nil))
	}
}

// breaks has, for every rule, a change that just breaks it.
var breaks = map[string]func(*Case){
	"PAYER-FORMAT": func(c *Case) {
		c.Unfit = []errs.Field{{Path: "vehicle.plate", Reason: "X12_LENGTH", Message: "too long"}}
	},
	"VEHICLE-UNIT-NUMBER":     func(c *Case) { c.Payer.Kind = payers.Fleet; c.Job.Record.Vehicle.UnitNumber = "" },
	"DAMAGE-STANDARD-UNKNOWN": func(c *Case) { c.Payer.Profile.StandardKey = "NO-SUCH-STANDARD" },
	"DAMAGE-NOT-REPAIRABLE":   across(repairability.MM(26)),
	"DAMAGE-CANNOT-BE-SAID":   across(nil),
	"DAMAGE-WITH-CAUTION":     across(new(25*repairability.Millimetre + repairability.Millimetre/5)),
	"DAMAGE-NOTHING-TO-BILL":  func(c *Case) { c.Job.Record.Damages[0].Outcome = repairability.Declined },
	"DAMAGE-TOO-MANY": func(c *Case) {
		d := c.Job.Record.Damages[0]
		c.Job.Record.Damages = []jobs.Damage{d, d, d}
	},
	"READING-DEMANDED": func(c *Case) {
		c.Payer.Profile.Readings = []payers.ReadingDemand{{Reading: "vacuum_seconds", IsStop: true}}
	},
	"READING-WANTED":     func(c *Case) { c.Payer.Profile.Readings = []payers.ReadingDemand{{Reading: "vacuum_seconds"}} },
	"PROCESS-MISSING":    func(c *Case) { c.Job.Record.Damages[0].Process = nil },
	"PHOTO-MISSING":      func(c *Case) { c.Job.Record.Photos = c.Job.Record.Photos[1:] },
	"PHOTO-NOT-UPLOADED": func(c *Case) { delete(c.Photos, hashAfter) },
	"PHOTO-ON-OTHER-CLAIM": func(c *Case) {
		c.Earlier = earlier(func(e *EarlierClaim) { e.PhotoHashes = []jobs.PhotoHash{hashAfter} })
	},
	"PHOTO-LIKE-ANOTHER": func(c *Case) { setPhoto(c, hashAfter, func(p *jobs.Photo) { p.Likeness = 1 }) },
	"PHOTO-ORDER": func(c *Case) {
		setPhoto(c, hashBefore, func(p *jobs.Photo) { p.TakeTime = new(repaired.Add(time.Hour)) })
	},
	"PHOTO-TIME": func(c *Case) {
		setPhoto(c, hashAfter, func(p *jobs.Photo) { p.TakeTime = new(repaired.Add(30*time.Minute + photoWindow + time.Second)) })
	},
	"PHOTO-SHARPNESS":  func(c *Case) { setPhoto(c, hashAfter, func(p *jobs.Photo) { p.Quality.Sharpness-- }) },
	"PHOTO-BRIGHTNESS": func(c *Case) { setPhoto(c, hashAfter, func(p *jobs.Photo) { p.Quality.Brightness-- }) },
	"PHOTO-SIZE":       func(c *Case) { setPhoto(c, hashAfter, func(p *jobs.Photo) { p.Height-- }) },
	"PHOTO-PLACE":      func(c *Case) { setPhoto(c, hashAfter, func(p *jobs.Photo) { p.Position.LatitudeMicrodegrees += 9 }) },
	"PHOTO-PLATE": func(c *Case) {
		c.Job.Record.Photos[1].Kind, c.Job.Record.Photos[1].PlateVIN = jobs.VINPlate, "1G4AH59H45G118342"
	},
	"PHOTO-LIKE-OTHER-CLAIM":  func(c *Case) { c.Alike = []AlikePhoto{alikeAfter(LikeBits)} },
	"COVERAGE-MISSING":        func(c *Case) { c.Coverage.PolicyNumber = "" },
	"COVERAGE-FORBIDDEN":      func(c *Case) { c.Coverage.CostCentre = "7" },
	"COVERAGE-POLICY-PATTERN": func(c *Case) { c.Coverage.PolicyNumber = "LM-12345" },
	"COVERAGE-DEDUCTIBLE-BASIS": func(c *Case) {
		c.Coverage.DeductibleBasis = payers.WaivedByPayer
		c.Payer.Profile.IsDeductibleWaivedForRepair = false
	},
	"DATES-LOSS-AFTER-REPAIR": func(c *Case) { c.Coverage.DateOfLoss = "2026-10-21" },
	"DATES-LOSS-OLD":          func(c *Case) { c.Coverage.DateOfLoss = "2025-10-19" },
	"DATES-FILING-LIMIT":      func(c *Case) { c.Now = repaired.AddDate(0, 0, 31) },
	"AUTH-MISSING":            func(c *Case) { c.Coverage.Authorization.Number = "" },
	"AUTH-PATTERN":            func(c *Case) { c.Coverage.Authorization.Number = "A1234" },
	"AUTH-EXPIRED":            func(c *Case) { c.Coverage.Authorization.ValidTo = "2026-10-19" },
	"AUTH-MORE-REPAIRS": func(c *Case) {
		c.Coverage.Authorization.RepairsAllowed = 1
		c.Job.Record.Damages = append(c.Job.Record.Damages, c.Job.Record.Damages[0])
	},
	"AUTH-USED":    func(c *Case) { c.Earlier = earlier(func(e *EarlierClaim) { e.AuthorizationNumber = "A123" }) },
	"AUTH-NO-NAME": func(c *Case) { c.Coverage.Authorization.GivenBy = "" },
	"AUTH-WORK-UNSIGNED": func(c *Case) {
		c.Job.Record.WorkAuthorization = jobs.Signature{}
	},
	"DUPLICATE-CLAIM": func(c *Case) {
		c.Earlier = earlier(func(e *EarlierClaim) { e.Damages = c.Job.Record.Damages })
	},
	"DUPLICATE-VEHICLE-DAY": func(c *Case) { c.Earlier = earlier(func(e *EarlierClaim) { e.RepairDate = "2026-10-20" }) },
	"PAYER-MOBILE-NOT-PAID": func(c *Case) { c.Job.Record.Place.IsMobile = true; c.Payer.Profile.IsMobileWorkPaid = false },
}

func setPhoto(c *Case, hash jobs.PhotoHash, change func(*jobs.Photo)) {
	p := c.Photos[hash]
	change(&p)
	c.Photos[hash] = p
}

func TestASoundCaseHasNoFindings(t *testing.T) {
	t.Parallel()
	if found := Check(sound(), Translation{}); len(found) > 0 {
		t.Errorf("Check found %v, want nothing", codes(found))
	}
}

func TestEveryRuleIsBrokenByItsCase(t *testing.T) {
	t.Parallel()
	for _, rule := range Rules() {
		t.Run(rule.Code, func(t *testing.T) {
			t.Parallel()
			change, ok := allBreaks()[rule.Code]
			if !ok {
				t.Fatalf("no case breaks %s", rule.Code)
			}
			c := sound()
			change(&c)
			found := Check(c, Translation{})
			n := slices.IndexFunc(found, func(f finding.Finding) bool { return f.Code == rule.Code })
			if n < 0 {
				t.Fatalf("Check found %v, want %s", codes(found), rule.Code)
			}
			f := found[n]
			if f.Severity != rule.Severity || f.Path == "" || f.Sentence == "" || f.Fix == "" || f.Source.Citation == "" || f.Source.Known == "" {
				t.Errorf("the finding is not whole: %+v", f)
			}
		})
	}
}

func TestRulesAreUnique(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, rule := range Rules() {
		if seen[rule.Code] {
			t.Errorf("the code %s is used twice", rule.Code)
		}
		seen[rule.Code] = true
	}
	for code := range allBreaks() {
		if !seen[code] {
			t.Errorf("a case breaks %s, which is no rule", code)
		}
	}
}

func TestASecondChipWeeksLaterIsNoDuplicate(t *testing.T) {
	t.Parallel()
	c := sound()
	other := c.Job.Record.Damages[0]
	other.Place = &repairability.Place{FromDriverEdge: 500 * repairability.Millimetre, FromLowerEdge: 300 * repairability.Millimetre}
	c.Earlier = earlier(func(e *EarlierClaim) { e.Damages = []jobs.Damage{other} })
	if found := Check(c, Translation{}); len(found) > 0 {
		t.Errorf("Check found %v, want nothing: another place on the glass is another damage", codes(found))
	}
	c.Earlier[0].Damages = c.Job.Record.Damages
	c.Job.Record.WarrantyOf = "job-1"
	if found := Check(c, Translation{}); slices.Contains(codes(found), "DUPLICATE-CLAIM") {
		t.Errorf("Check found %v: a repair that came back under warranty is no duplicate", codes(found))
	}
}

func TestFilingDeadlineIsTheLastDayThatIsTaken(t *testing.T) {
	t.Parallel()
	c := sound()
	if got, want := FilingDeadline(&c), "2026-11-19"; got != want {
		t.Fatalf("FilingDeadline = %s, want %s", got, want)
	}
	// Late in the evening of the last day in the shop's zone it is the next day in UTC.
	c.Now = time.Date(2026, 11, 20, 4, 30, 0, 0, time.UTC)
	if found := codes(Check(c, Translation{})); slices.Contains(found, "DATES-FILING-LIMIT") {
		t.Errorf("Check found %v on the last day", found)
	}
	c.Payer.Profile.IsFilingCountedFromLoss = true
	if got, want := FilingDeadline(&c), "2026-11-17"; got != want {
		t.Errorf("counted from the loss, FilingDeadline = %s, want %s", got, want)
	}
}

func TestTranslationFindingsAreKept(t *testing.T) {
	t.Parallel()
	stop := finding.Finding{Code: "TAX-UNKNOWN", Severity: finding.Stop, Path: "lines"}
	found := Check(sound(), Translation{Findings: []finding.Finding{stop, stop}})
	if got := codes(found); !slices.Equal(got, []string{"TAX-UNKNOWN"}) {
		t.Errorf("Check gave %v, want the translation's finding once", got)
	}
}

func codes(found []finding.Finding) []string {
	all := []string{}
	for _, f := range found {
		all = append(all, f.Code)
	}
	return all
}
