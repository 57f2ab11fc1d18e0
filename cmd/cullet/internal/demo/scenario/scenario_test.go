package scenario

import (
	"bytes"
	"image"
	"image/jpeg"
	"math/bits"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/corona10/goimagehash"
	"github.com/google/go-cmp/cmp"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/jobs"
	"cullet/services/vin"
)

// TestExpectations sends every visit through the rules in order, as the server would, and compares
// what becomes of it with what its file says.
func TestExpectations(t *testing.T) {
	t.Parallel()
	visits := load(t)
	// The first and the last day on which a quarter moved by ShiftTo is checked: the nights that
	// follow are days too.
	for _, today := range []time.Time{time.Date(2026, 11, 23, 14, 0, 0, 0, time.UTC),
		time.Date(2026, 12, 2, 3, 0, 0, 0, time.UTC)} {
		w := &world{photos: map[jobs.PhotoHash]jobs.Photo{}, today: today}
		for i := range visits {
			expectation(t, w, visits, i)
		}
	}
}

func expectation(t *testing.T, w *world, visits []Visit, i int) {
	t.Helper()
	v := visits[i]
	if v.Expect.IsRepeat || v.Expect.IsConflict {
		return // What the reference tells; TestReferences looks at it.
	}
	stops, others, faults := w.send(t, visits, i)
	slices.Sort(stops)
	slices.Sort(faults)
	want := slices.Sorted(slices.Values(v.Expect.Errors))
	if diff := cmp.Diff(want, slices.Compact(faults)); diff != "" {
		t.Errorf("%s: refused for (-want +got):\n%s", v.Name, diff)
	}
	if diff := cmp.Diff(v.Expect.Stops, stops); diff != "" {
		t.Errorf("%s on %s: stops (-want +got):\n%s", v.Name, w.today.Format(time.DateOnly), diff)
	}
	for _, code := range v.Expect.Cautions {
		if !slices.Contains(others, code) {
			t.Errorf("%s: no caution %s, only %v", v.Name, code, others)
		}
	}
	if slices.Contains(others, "PHOTO-PLACE") && !slices.Contains(v.Expect.Cautions, "PHOTO-PLACE") {
		t.Errorf("%s: a photo was taken elsewhere, and its file does not say so", v.Name)
	}
	if isReady := v.Expect.Claim == "READY"; isReady && len(stops)+len(faults) > 0 ||
		v.Expect.IsRecorded != (len(v.Expect.Errors) == 0 && v.Expect.UploadReason == "") {
		t.Errorf("%s contradicts itself: %+v", v.Name, v.Expect)
	}
}

// TestCoverage counts what the quarter holds, so that no kind of visit is lost from it.
func TestCoverage(t *testing.T) {
	t.Parallel()
	visits := load(t)
	expect := func(name string, got, least int) {
		t.Helper()
		if got < least {
			t.Errorf("%s: %d, want at least %d", name, got, least)
		}
	}
	kinds := counts(visits, func(r *jobsv1.RepairRecord) (all []string) {
		for _, d := range r.GetDamages() {
			all = append(all, d.GetKind().String(), d.GetOutcome().String())
		}
		return append(all, "damages: "+strconv.Itoa(len(r.GetDamages())), "state: "+stateOf(r),
			"payer: "+r.GetCoverage().GetPayerCode())
	})
	for name, least := range map[string]int{"DAMAGE_KIND_BULLSEYE": 20, "DAMAGE_KIND_HALF_MOON": 12, "DAMAGE_KIND_STAR_BREAK": 20,
		"DAMAGE_KIND_COMBINATION_BREAK": 6, "DAMAGE_KIND_SURFACE_PIT": 5, "DAMAGE_KIND_CRACK": 4, "OUTCOME_DECLINED": 2,
		"OUTCOME_SPREAD_DURING_REPAIR": 2, "damages: 2": 6, "damages: 3": 1, "state: KY": 5, "state: OH": 70, "payer: ": 5,
		"payer: " + lantern: 25, "payer: " + quarry: 12, "payer: " + fernway: 5, "payer: " + oldMill: 5,
		"payer: " + tannery: 7, "payer: " + parks: 4} {
		expect(name, kinds[name], least)
	}
	outcomes := map[string]int{}
	for _, v := range visits {
		switch {
		case !v.Expect.IsRecorded:
			outcomes["refused"]++
		case v.Expect.IsRepeat:
			outcomes["repeated"]++
		default:
			outcomes["claim "+v.Expect.Claim]++
		}
		if v.Later != nil {
			outcomes["completed later"]++
		}
	}
	for name, least := range map[string]int{"claim READY": 41, "claim DRAFT": 20, "claim ": 5, "refused": 9, "repeated": 1,
		"completed later": 4} {
		expect(name, outcomes[name], least)
	}
	expect("visits", len(visits), 72)
	t.Logf("kinds %v", kinds)
	t.Logf("outcomes %v", outcomes)
}

func stateOf(r *jobsv1.RepairRecord) string {
	if r.GetPlaceOfRepair().GetIsMobile() {
		return r.GetPlaceOfRepair().GetAddress().GetState()
	}
	return "OH"
}

// TestNumbers checks every vehicle's number that is meant to be right.
func TestNumbers(t *testing.T) {
	t.Parallel()
	vehicles := map[string]string{}
	for _, v := range load(t) {
		isMeantWrong := slices.ContainsFunc(slices.Concat(v.Expect.Errors, v.Expect.Stops, v.Expect.Cautions), func(s string) bool {
			return s == "record.vehicle.vin" || strings.HasPrefix(s, "VIN-")
		})
		number := v.Record.GetVehicle().GetVin()
		_, found := vin.Parse(number, v.Record.GetFinishTime().AsTime())
		if isMeantWrong == (len(found) == 0) {
			t.Errorf("%s: %s has findings %v, meant wrong %v", v.Name, number, found, isMeantWrong)
		}
		isAgain := v.Expect.IsRepeat || v.Expect.IsConflict || slices.Contains(v.Expect.Stops, "DUPLICATE-CLAIM")
		if other := vehicles[number]; other != "" && !isAgain {
			t.Errorf("%s and %s are of one vehicle", v.Name, other)
		}
		vehicles[number] = v.Name
	}
}

// TestReferences looks at the records that are sent under a reference that stands already.
func TestReferences(t *testing.T) {
	t.Parallel()
	first := map[string]Visit{}
	for _, v := range load(t) {
		reference := v.Record.GetExternalReference()
		if !strings.HasPrefix(v.Name, reference+"-") {
			t.Errorf("%s has the reference %s", v.Name, reference)
		}
		earlier, isKnown := first[reference]
		if isKnown != (v.Expect.IsRepeat || v.Expect.IsConflict) {
			t.Errorf("%s: a reference that stands already: %v", v.Name, isKnown)
		}
		if isKnown {
			same := cmp.Equal(earlier.Record.String(), v.Record.String())
			if same != v.Expect.IsRepeat || len(earlier.Photos) != len(v.Photos) {
				t.Errorf("%s: says the same as %s: %v", v.Name, earlier.Name, same)
			}
			continue
		}
		first[reference] = v
	}
}

// TestPhotosLookDifferent compares every photo with every other, by the hash that claims are
// compared by. Up to 4 of 64 bits count as nearly the same there.
func TestPhotosLookDifferent(t *testing.T) {
	t.Parallel()
	visits := load(t)
	type drawn struct {
		name string
		hash uint64
	}
	var all []drawn
	for i, v := range visits {
		for n, p := range v.Photos {
			if p.SameAs != "" || p.Shows != "" || p.Instead != "" {
				continue
			}
			content, err := Draw(visits, i, n, image.Pt(252, 192))
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, drawn{v.Name + " " + p.Kind, likeness(t, content, p)})
		}
	}
	closest := 64
	for i := range all {
		for k := range i {
			far := bits.OnesCount64(all[i].hash ^ all[k].hash)
			closest = min(closest, far)
			if far < 8 {
				t.Errorf("%s and %s differ in %d of 64 bits", all[i].name, all[k].name, far)
			}
		}
	}
	t.Logf("%d photos, the closest two differ in %d bits", len(all), closest)
}

func likeness(t *testing.T, content []byte, p Photo) uint64 {
	t.Helper()
	if p.Instead != "" {
		return 0
	}
	picture, err := jpeg.Decode(bytes.NewReader(content))
	if err != nil {
		t.Fatal(err)
	}
	hash, err := goimagehash.PerceptionHash(picture)
	if err != nil {
		t.Fatal(err)
	}
	return hash.GetHash()
}
