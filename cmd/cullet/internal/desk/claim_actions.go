package desk

import (
	"net/http"
	"strings"

	"github.com/google/uuid"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	claimsv1 "cullet/proto/cullet/claims/v1"
	"cullet/services/errs"
)

// hold sets a hold. What was typed is kept when it is not taken.
func hold(v *visit) error {
	etag, requestID, err := v.sent()
	if err != nil {
		return err
	}
	t := typed{hold: page.HoldForm{Reason: strings.TrimSpace(v.r.PostForm.Get("reason")), Until: v.r.PostForm.Get("until_date")}}
	if t.hold.Reason == "" {
		t.hold.Fault = "Say why it waits."
	} else {
		_, err = v.Claims.HoldClaim(v.ctx(), &claimsv1.HoldClaimRequest{ClaimId: v.r.PathValue("id"), Reason: t.hold.Reason,
			UntilDate: t.hold.Until, Etag: etag, RequestId: requestID})
		t.hold.Fault = holdFault(err)
	}
	if t.hold.Fault != "" {
		k, err := v.know()
		if err != nil {
			return err
		}
		return v.showKnown(http.StatusUnprocessableEntity, k, t)
	}
	if err != nil {
		return err
	}
	return v.done(claimAddress(v.r.PathValue("id")), "Held. It waits until somebody lifts the hold.")
}

func holdFault(err error) string {
	if errs.Is(err, errs.Stale) {
		return "The claim changed while you wrote. Look at it as it is now, then hold it once more."
	}
	if !errs.Is(err, errs.Invalid) {
		return ""
	}
	t := typed{faults: map[string]string{}}
	t.take(err)
	return strings.Join(append(t.notFields, kept([]string{t.faults["reason"]})...), " ")
}

// lift ends a hold.
func lift(v *visit) error {
	etag, requestID, err := v.sent()
	if err != nil {
		return err
	}
	_, err = v.Claims.HoldClaim(v.ctx(), &claimsv1.HoldClaimRequest{ClaimId: v.r.PathValue("id"), Etag: etag, RequestId: requestID})
	if err != nil {
		return err
	}
	return v.done(claimAddress(v.r.PathValue("id")), "The hold is lifted.")
}

// addNote writes down a call or a thought.
func addNote(v *visit) error {
	_, requestID, err := v.sent()
	if err != nil {
		return err
	}
	// A browser sends line breaks as CR LF; the timeline keeps plain ones.
	note := strings.TrimSpace(strings.ReplaceAll(v.r.PostForm.Get("note"), "\r\n", "\n"))
	_, err = v.Claims.AddNote(v.ctx(), &claimsv1.AddNoteRequest{ClaimId: v.r.PathValue("id"), Note: note, RequestId: requestID})
	if err != nil {
		return err
	}
	return v.done(claimAddress(v.r.PathValue("id")), "The note stands in the timeline.")
}

// reviewRelease shows what leaves the house before anything does.
func reviewRelease(v *visit) error { return v.review(http.StatusOK, "") }

func (v *visit) review(status int, told string) error {
	k, err := v.know()
	if err != nil {
		return err
	}
	view := page.Release{Claim: k.claim, Payer: k.payer, Photos: len(k.job.GetRecord().GetPhotos()), Told: told,
		RequestID: uuid.NewString(), Blocked: blocked(v, k.claim), Href: claimAddress(k.claim.GetClaimId()), Today: v.voice.Day(v.voice.Today())}
	for _, f := range k.claim.GetFindings() {
		if say.Lower(f.GetSeverity().String(), "SEVERITY_") == "caution" {
			view.Cautions = append(view.Cautions, f)
		}
	}
	view.Head = v.head("Review of claim "+k.claim.GetClaimNumber(), page.HereClaims)
	return v.show(status, page.ReleasePage(view))
}

// blocked says why a claim cannot leave; empty when it can.
func blocked(v *visit, c *claimsv1.Claim) string {
	switch {
	case !v.session.mayWork():
		return "Your key only reads; a clerk’s key releases."
	case c.GetHold() != nil:
		return "It is held: " + say.Sentence(c.GetHold().GetReason()) + " Lift the hold first."
	case c.GetState() == claimsv1.State_STATE_DRAFT:
		return "Something stops it. Mend that first."
	case c.GetState() != claimsv1.State_STATE_READY:
		return "It is " + say.State(c.GetState()) + " already."
	}
	return ""
}

// release lets one claim leave, as it was reviewed: one that changed since is reviewed again.
func release(v *visit) error {
	etag, requestID, err := v.sent()
	if err != nil {
		return err
	}
	id := v.r.PathValue("id")
	now, err := v.Claims.GetClaim(v.ctx(), &claimsv1.GetClaimRequest{ClaimId: id})
	if err != nil {
		return errGone(err)
	}
	isReady := now.GetClaim().GetState() == claimsv1.State_STATE_READY
	if isReady && now.GetClaim().GetEtag() != etag {
		return v.review(http.StatusConflict, "The claim changed since you reviewed it. Nothing left. Look at it once more.")
	}
	answer, err := v.Claims.ReleaseClaims(v.ctx(), &claimsv1.ReleaseClaimsRequest{ClaimIds: []string{id}, RequestId: requestID})
	if err != nil {
		return err
	}
	result := answer.GetResults()[0]
	if result.GetReason() != "" {
		return v.review(http.StatusConflict, "Nothing left. "+result.GetReason())
	}
	return v.done(claimAddress(id), "Released on invoice "+result.GetInvoiceNumber()+". It leaves with the next run.")
}
