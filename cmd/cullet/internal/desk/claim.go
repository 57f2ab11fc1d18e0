package desk

import (
	"bytes"
	"encoding/json"
	"net/http"
	"strings"

	"github.com/google/uuid"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	claimsv1 "cullet/proto/cullet/claims/v1"
	findingsv1 "cullet/proto/cullet/findings/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/errs"
)

// known is a claim with what belongs to it.
type known struct {
	claim       *claimsv1.Claim
	timeline    []*claimsv1.TimelineEvent
	submissions []*claimsv1.Submission
	job         *jobsv1.Job
	photos      []*jobsv1.Photo
	payer       *payersv1.Payer
}

// know reads the claim of the address.
func (v *visit) know() (known, error) {
	answer, err := v.Claims.GetClaim(v.ctx(), &claimsv1.GetClaimRequest{ClaimId: v.r.PathValue("id")})
	if err != nil {
		return known{}, errGone(err)
	}
	k := known{claim: answer.GetClaim(), timeline: answer.GetTimeline(), submissions: answer.GetSubmissions()}
	job, err := v.Jobs.GetJob(v.ctx(), &jobsv1.GetJobRequest{JobId: k.claim.GetJobId(), Version: k.claim.GetJobVersion()})
	if err != nil {
		return known{}, err
	}
	k.job, k.photos = job.GetJob(), job.GetPhotos()
	payer, err := v.Payers.GetPayer(v.ctx(), &payersv1.GetPayerRequest{PayerId: k.claim.GetPayerId()})
	k.payer = payer.GetPayer()
	return k, err
}

func showClaim(v *visit) error {
	k, err := v.know()
	if err != nil {
		return err
	}
	return v.showKnown(http.StatusOK, k, typed{})
}

// typed is what somebody typed that was not taken; it is shown again with the faults.
type typed struct {
	// coverage are the values by field; nil when nothing was typed.
	coverage map[string]string
	// faults are by field; notFields belong to none.
	faults    map[string]string
	notFields []string
	hold      page.HoldForm
}

// showKnown shows a claim with what was typed, if anything was.
func (v *visit) showKnown(status int, k known, t typed) error {
	payload, isFrozen, err := v.payload(k.claim.GetClaimId())
	if err != nil {
		return err
	}
	places := placed(k.claim.GetFindings())
	mayWork := v.session.mayWork()
	view := page.Claim{
		Claim: k.claim, Job: k.job, Payer: k.payer, Lead: claimLead(v.voice, k.claim), Steps: steps(k.claim),
		Notice: noticeOf(k.claim, t), Coverage: coverageForm(v.voice, k, t, places, mayWork),
		Record: facts(v.voice, k.job, places), Damages: damagesOf(v.shop, k.job, places), Others: places.others,
		GlassFindings: append(places.by["glass"], glassSaid(k.job)...), LinesFindings: places.by["lines"],
		Payload: payload, IsFrozen: isFrozen, Submissions: k.submissions, RequestID: uuid.NewString(),
		Call: callWords(v.voice, k),
		Hold: page.HoldForm{MayHold: mayWork && isEditable(k.claim.GetState()) && k.claim.GetHold() == nil,
			MayLift: mayWork && k.claim.GetHold() != nil, Reason: t.hold.Reason, Until: t.hold.Until, Fault: t.hold.Fault},
	}
	view.Photos, view.PhotoFindings = photosOf(v.voice, k, places)
	if drawing, ok := drawingOf(k.job); ok {
		view.Plate = &drawing
	}
	for _, e := range k.timeline {
		view.Happened = append(view.Happened, page.Happening{Stamp: v.voice.Stamp(e.GetOccurTime()),
			Day: v.voice.ShortDay(v.voice.DayOf(e.GetOccurTime())), Clock: v.voice.Clock(e.GetOccurTime()),
			What: e.GetSentence(), Who: e.GetActor()})
	}
	view.Head = v.head("Claim "+k.claim.GetClaimNumber(), page.HereClaims)
	return v.show(status, page.ClaimPage(view))
}

// payload gives the payload as JSON that can be read; empty while none can be made of the claim.
func (v *visit) payload(id string) (text string, isFrozen bool, err error) {
	answer, err := v.Claims.GetClaimPayload(v.ctx(), &claimsv1.GetClaimPayloadRequest{ClaimId: id})
	if errs.Is(err, errs.Invalid) || errs.Is(err, errs.State) {
		return "", false, nil
	}
	if err != nil {
		return "", false, err
	}
	var pretty bytes.Buffer
	if json.Indent(&pretty, []byte(answer.GetPayloadJson()), "", "  ") != nil {
		return answer.GetPayloadJson(), answer.GetIsFrozen(), nil
	}
	return pretty.String(), answer.GetIsFrozen(), nil
}

// showPayload gives the payload alone, byte for byte.
func showPayload(v *visit) error {
	answer, err := v.Claims.GetClaimPayload(v.ctx(), &claimsv1.GetClaimPayloadRequest{ClaimId: v.r.PathValue("id")})
	if err != nil {
		return errGone(err)
	}
	v.w.Header().Set("Content-Type", "application/json")
	_, _ = v.w.Write([]byte(answer.GetPayloadJson())) // whoever went away is not told
	return nil
}

// noticeOf is the summary on top: every finding that stops or cautions, and what was not taken.
func noticeOf(c *claimsv1.Claim, t typed) *page.Notice {
	n := &page.Notice{}
	for _, f := range t.notFields {
		n.Items = append(n.Items, page.NoticeItem{Severity: "stop", Text: f})
	}
	for _, f := range fields {
		if fault := t.faults[f.name]; fault != "" {
			n.Items = append(n.Items, page.NoticeItem{Severity: "stop", Text: f.label + ": " + fault, Href: "#" + f.id()})
		}
	}
	if len(n.Items) > 0 {
		n.Title = "Not stored: " + say.Count(len(n.Items), "thing was not taken", "things were not taken")
		return n
	}
	if !isEditable(c.GetState()) && !isReturned(c.GetState()) {
		return nil
	}
	stops, cautions := 0, 0
	for _, f := range c.GetFindings() {
		switch f.GetSeverity() {
		case findingsv1.Severity_SEVERITY_STOP:
			stops++
		case findingsv1.Severity_SEVERITY_CAUTION:
			cautions++
		default:
			continue
		}
		n.Items = append(n.Items, page.NoticeItem{Severity: say.Lower(f.GetSeverity().String(), "SEVERITY_"),
			Text: f.GetSentence(), Href: "#" + anchor(f.GetPath())})
	}
	if len(n.Items) == 0 {
		return nil
	}
	var counts []string
	if stops > 0 {
		counts = append(counts, say.Count(stops, "stop", "stops"))
	}
	if cautions > 0 {
		counts = append(counts, say.Count(cautions, "caution", "cautions"))
	}
	n.Title = strings.Join(counts, " and ")
	return n
}

// callWords is what the payer's desk asks first.
func callWords(v *say.Voice, k known) string {
	var words []string
	if number := k.claim.GetCoverage().GetPolicyNumber(); number != "" {
		words = append(words, "policy "+number)
	}
	if order := k.claim.GetCoverage().GetPurchaseOrder(); order != "" {
		words = append(words, "purchase order "+order)
	}
	if day := k.claim.GetCoverage().GetDateOfLoss(); day != "" {
		words = append(words, "loss "+v.ShortDay(day))
	}
	if vin := k.claim.GetVin(); len(vin) >= 6 {
		words = append(words, "VIN ends "+vin[len(vin)-6:])
	}
	if k.claim.GetPayerReference() != "" {
		words = append(words, "their number "+k.claim.GetPayerReference())
	}
	return "Say: " + strings.Join(words, ", ") + "."
}
