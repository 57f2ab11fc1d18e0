package payload_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"cullet/adapters/payload"
	"cullet/services/access"
	"cullet/services/claims"
	"cullet/services/jobs"
	"cullet/services/payers"
	"cullet/services/pricing"
	"cullet/services/repairability"
	"cullet/services/tax"
)

// hostile draws text that has broken programs before, and any other text.
func hostile(longest int) *rapid.Generator[string] {
	return rapid.OneOf(
		rapid.SampledFrom([]string{"", "", `"`, `\`, "</script>", "a,b;c", "=1+1", "'; DROP TABLE claims; --", "*~>", "\x00",
			"\u2028", "\u202e", "é", "李", "🚗", "ISA*00*", "line\r\nbreak", "{\"x\":1}", "&amp;", "null", "1e3"}),
		rapid.StringN(0, min(longest, 12), -1),
	).Filter(func(s string) bool { return len([]rune(s)) <= longest })
}

func named(longest int) *rapid.Generator[string] {
	return hostile(longest).Filter(func(s string) bool { return s != "" })
}

func maybe[T any](t *rapid.T, g *rapid.Generator[T], label string) *T {
	if !rapid.Bool().Draw(t, label+" is known") {
		return nil
	}
	return new(g.Draw(t, label))
}

func lengths() *rapid.Generator[repairability.Length] {
	return rapid.Map(rapid.Int32Range(0, 1_000_000), func(n int32) repairability.Length { return repairability.Length(n) })
}

func times() *rapid.Generator[time.Time] {
	return rapid.Custom(func(t *rapid.T) time.Time {
		zone := time.FixedZone("", rapid.IntRange(-14*3600, 14*3600).Draw(t, "offset"))
		return time.Unix(rapid.Int64Range(1_700_000_000, 1_900_000_000).Draw(t, "second"),
			rapid.Int64Range(0, 999_999_999).Draw(t, "nanosecond")).In(zone)
	})
}

func addresses() *rapid.Generator[access.Address] {
	return rapid.Custom(func(t *rapid.T) access.Address {
		return access.Address{
			Street: hostile(200).Draw(t, "street"), City: hostile(100).Draw(t, "city"),
			County: rapid.SampledFrom([]string{"", "Hamilton", "Franklin", "Kenton", "Nowhere"}).Draw(t, "county"),
			State:  rapid.SampledFrom([]string{"", "OH", "KY", "ON", "ZZ"}).Draw(t, "state"), PostalCode: hostile(20).Draw(t, "postal"),
			CountryCode: rapid.SampledFrom([]string{"", "US", "CA"}).Draw(t, "country"),
		}
	})
}

func damages() *rapid.Generator[jobs.Damage] {
	return rapid.Custom(func(t *rapid.T) jobs.Damage {
		d := jobs.Damage{Note: hostile(2000).Draw(t, "note")}
		d.Kind = rapid.SampledFrom([]repairability.Kind{repairability.Bullseye, repairability.StarBreak, repairability.Crack,
			repairability.SurfacePit}).Draw(t, "kind")
		d.Outcome = rapid.SampledFrom([]repairability.Outcome{"", repairability.Repaired, repairability.Repaired,
			repairability.Declined, repairability.SpreadDuringRepair}).Draw(t, "outcome")
		d.Spread = maybe(t, lengths(), "spread")
		d.CrackLength = maybe(t, lengths(), "crack")
		d.LegCount = maybe(t, rapid.IntRange(0, 50), "legs")
		d.InCameraArea = rapid.SampledFrom([]repairability.Answer{"", repairability.Yes, repairability.Unknown}).Draw(t, "camera")
		if rapid.Bool().Draw(t, "place is known") {
			d.Place = &repairability.Place{FromDriverEdge: lengths().Draw(t, "x"), FromLowerEdge: lengths().Draw(t, "y")}
		}
		if rapid.Bool().Draw(t, "process is known") {
			d.Process = &repairability.Process{
				GlassTemperature: maybe(t, rapid.Map(rapid.Int32Range(-4000, 9000), func(n int32) repairability.Temperature {
					return repairability.Temperature(n)
				}), "temperature"),
				Drilled: maybe(t, rapid.Bool(), "drilled"), DrillReason: hostile(200).Draw(t, "why drilled"),
				VacuumCycles: rapid.SliceOfN(rapid.IntRange(0, 2000), 0, 4).Draw(t, "vacuum"),
				StartTime:    maybe(t, times(), "work began"), Reason: hostile(200).Draw(t, "reason"),
			}
		}
		return d
	})
}

// cases draws a case whose fields are as the rooms behind it let them be, with any text in them.
func cases() *rapid.Generator[claims.Case] {
	return rapid.Custom(func(t *rapid.T) claims.Case {
		c := base()
		c.ClaimNumber = hostile(40).Draw(t, "claim number")
		c.Shop.Name, c.Shop.Telephone = named(200).Draw(t, "shop"), hostile(40).Draw(t, "telephone")
		c.Shop.RemitTo = addresses().Draw(t, "remit to")
		c.Shop.TaxElections = []access.TaxElection{{State: "OH", ValidFrom: "2026-01-01",
			Basis: rapid.SampledFrom([]string{"ITEM", "INVOICE"}).Draw(t, "basis"), IsAggregate: rapid.Bool().Draw(t, "aggregate")}}
		drawRecord(t, &c.Job.Record)
		c.Job.Assessments = c.Job.Assessments[:rapid.IntRange(0, 1).Draw(t, "assessed")]
		c.Payer.Name, c.Payer.Code = named(200).Draw(t, "payer"), named(60).Draw(t, "payer code")
		c.Payer.Kind = rapid.SampledFrom([]payers.Kind{payers.Insurer, payers.Fleet, payers.Government}).Draw(t, "payer kind")
		drawProfile(t, &c.Payer.Profile)
		drawCoverage(t, &c.Coverage)
		return c
	})
}

func drawRecord(t *rapid.T, r *jobs.Record) {
	r.ExternalReference, r.Technician = named(100).Draw(t, "reference"), named(100).Draw(t, "technician")
	r.Vehicle.VIN, r.Vehicle.Plate = named(40).Draw(t, "vin"), hostile(20).Draw(t, "plate")
	r.Vehicle.IsCommercial, r.Vehicle.OdometerKM = rapid.Bool().Draw(t, "commercial"), rapid.IntRange(0, 10_000_000).Draw(t, "odometer")
	r.Damages = rapid.SliceOfN(damages(), 1, 6).Draw(t, "damages")
	r.Place = jobs.Place{IsMobile: rapid.Bool().Draw(t, "mobile"), Address: addresses().Draw(t, "place")}
	r.StartTime = times().Draw(t, "start")
	r.FinishTime = r.StartTime.Add(time.Duration(rapid.Int64Range(0, 1e13).Draw(t, "lasted")))
	r.Motorist = jobs.Motorist{Name: hostile(200).Draw(t, "motorist"), Address: addresses().Draw(t, "home")}
	r.PaymentAuthorization = jobs.Signature{SignedBy: hostile(200).Draw(t, "signed by")}
}

func drawProfile(t *rapid.T, p *payers.Profile) {
	a := &p.Agreements[0]
	a.ValidFrom = "2020-01-01"
	a.First, a.Further = usd(rapid.Int64Range(0, 100_000).Draw(t, "first")), usd(rapid.Int64Range(0, 100_000).Draw(t, "further"))
	a.DiscountBasisPoints = rapid.IntRange(0, 9_999).Draw(t, "discount")
	a.Materials = pricing.MaterialsShare{BasisPoints: rapid.IntRange(0, 10_000).Draw(t, "materials"),
		SeparatelyStated: rapid.Bool().Draw(t, "stated apart")}
	p.IsDeductibleWaivedForRepair, p.IsMobileWorkPaid = rapid.Bool().Draw(t, "waived"), rapid.Bool().Draw(t, "mobile paid")
	p.Buyer.Status = rapid.SampledFrom([]tax.BuyerStatus{"", tax.Taxable, tax.ExemptGovernment}).Draw(t, "buyer")
	p.Buyer.DeductsVAT = rapid.Bool().Draw(t, "deducts")
}

func drawCoverage(t *rapid.T, c *payers.Coverage) {
	c.PolicyNumber, c.InsuredName = hostile(60).Draw(t, "policy"), hostile(200).Draw(t, "insured")
	c.DeductibleBasis = rapid.SampledFrom([]payers.DeductibleBasis{"", payers.Applies, payers.WaivedByPayer, payers.Statute,
		payers.Endorsement}).Draw(t, "deductible basis")
	c.Deductible = maybe(t, rapid.Map(rapid.Int64Range(-10, 50_000), usd), "deductible")
	c.Authorization.Number = hostile(60).Draw(t, "authorization")
	c.Authorization.GiveTime = maybe(t, times(), "given")
}

// TestTranslateAnything: whatever text and figures a case has, its sums hold, its bytes repeat, its
// payload is valid and reads back to the same.
func TestTranslateAnything(t *testing.T) {
	t.Parallel()
	schema := compiled(t)
	made, told := 0, map[string]bool{}
	rapid.Check(t, func(r *rapid.T) {
		c := cases().Draw(r, "case")
		first, err := payload.Translator{Book: tax.Shipped()}.Translate(c)
		if err != nil {
			r.Fatal(err)
		}
		for _, f := range first.Findings {
			told[f.Code] = true
		}
		if first.Payload == nil {
			return
		}
		made++
		if fault := broken(schema.Validate, first); fault != "" {
			r.Fatal(fault)
		}
		again, err := payload.Translator{Book: tax.Shipped()}.Translate(c)
		if diff := cmp.Diff(first, again); err != nil || diff != "" {
			r.Fatalf("the same case gave another translation: %v\n%s", err, diff)
		}
	})
	if made == 0 || len(told) < 5 {
		t.Errorf("made %d payloads and met the findings %v: the cases are too tame", made, told)
	}
}

// broken says what is wrong with a translation; nothing when all is well.
func broken(validate func(any) error, made claims.Translation) string {
	var document any
	decoder := json.NewDecoder(bytes.NewReader(made.Payload))
	decoder.UseNumber()
	if err := decoder.Decode(&document); err != nil {
		return err.Error()
	}
	if err := validate(document); err != nil {
		return fmt.Sprintf("%v\n%s", err, made.Payload)
	}
	read, err := payload.Parse(made.Payload)
	if err != nil {
		return err.Error()
	}
	written, err := payload.Marshal(read)
	if err != nil || !bytes.Equal(written, made.Payload) {
		return fmt.Sprintf("read and written again it differs, %v:\n%s\n%s", err, made.Payload, written)
	}
	totals := made.Totals
	if totals.PayerShare.Minor+totals.MotoristShare.Minor != totals.Total.Minor || totals.Net.Minor+totals.Tax.Minor != totals.Total.Minor ||
		totals.PayerShare.IsNegative() || totals.MotoristShare.IsNegative() || read.Totals != payload.Totals(totals) {
		return fmt.Sprintf("the totals do not agree: %+v", totals)
	}
	return ""
}

// TestParseRefuses: what is read is exactly the payload, or nothing.
func TestParseRefuses(t *testing.T) {
	t.Parallel()
	content := string(translate(t, base()).Payload)
	for name, changed := range map[string]string{
		"another schema":   `{"schema":"cullet.claim/9"}`,
		"unknown member":   content[:len(content)-1] + `,"more":1}`,
		"repeated member":  content[:len(content)-1] + `,"service":"WINDSHIELD_REPAIR"}`,
		"other spelling":   content[:len(content)-1] + `,"Service":"WINDSHIELD_REPAIR"}`,
		"cut short":        content[:len(content)-1],
		"not UTF-8":        content[:len(content)-1] + ",\"\xff\":1}",
		"something behind": content + "{}",
	} {
		if _, err := payload.Parse([]byte(changed)); err == nil {
			t.Errorf("%s: it is read", name)
		}
	}
	if _, err := payload.Parse([]byte(content)); err != nil {
		t.Errorf("the unchanged payload: %v", err)
	}
}

func BenchmarkTranslate(b *testing.B) {
	c := base()
	translator := payload.Translator{Book: tax.Shipped()}
	b.ReportAllocs()
	for b.Loop() {
		made, err := translator.Translate(c)
		if err != nil || made.Payload == nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMarshal(b *testing.B) {
	made, err := payload.Translator{Book: tax.Shipped()}.Translate(base())
	if err != nil {
		b.Fatal(err)
	}
	read, err := payload.Parse(made.Payload)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := payload.Marshal(read); err != nil {
			b.Fatal(err)
		}
	}
}
