package desk

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/google/uuid"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	claimsv1 "cullet/proto/cullet/claims/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/errs"
)

// coverageForm is the form of the coverage while it may change, and its contents after that. What
// is demanded, filled or found wrong stands open; the rest behind "More fields".
func coverageForm(v *say.Voice, k known, t typed, p places, mayWork bool) page.Coverage {
	c := k.claim
	form := page.Coverage{IsOpen: mayWork && (isEditable(c.GetState()) || isReturned(c.GetState())), IsReturned: isReturned(c.GetState()),
		IsFirst: c.GetState() == claimsv1.State_STATE_DRAFT || isReturned(c.GetState()), Action: claimAddress(c.GetClaimId()) + "/coverage",
		Hidden: []page.Hidden{{Name: "etag", Value: c.GetEtag()}, {Name: "request_id", Value: uuid.NewString()},
			{Name: "read", Value: written(c.GetCoverage())}}}
	stored := values(v, c.GetCoverage())
	for _, f := range fields {
		value, isTyped := t.coverage[f.name]
		if !isTyped {
			value = stored[f.name]
		}
		demand := ""
		if slices.Contains(k.payer.GetProfile().GetRequiredFields(), f.name) {
			demand = "Filled, as " + k.payer.GetName() + " demands"
		}
		field := f.shown(value, t.faults[f.name], demand, p.by[f.id()])
		isFilled := value != ""
		switch {
		case isFilled || demand != "" || len(field.Findings) > 0 || field.Fault != "":
			form.Shown = append(form.Shown, field)
		case form.IsOpen:
			form.More = append(form.More, field)
		}
	}
	form.Reason = page.Field{ID: "f-reason", Name: "reason", Label: "What was corrected", Kind: "text", Value: t.coverage["reason"],
		Hint: "In a sentence; it stands in the timeline.", Fault: t.faults["reason"]}
	return form
}

// written keeps a coverage in a form, to compare with when two people changed it.
func written(c *payersv1.Coverage) string {
	text, err := protojson.Marshal(c)
	if err != nil {
		return "{}"
	}
	return string(text)
}

// change is a coverage form as it was sent.
type change struct {
	etag, requestID, reason string
	isReturned              bool
	// read is the coverage that the form was made of, next the one that it asks for.
	read, next *payersv1.Coverage
	typed      typed
}

// readChange reads the form; what the desk itself cannot read is a fault of its field.
func (v *visit) readChange(k known) (change, error) {
	r := v.r
	if err := r.ParseForm(); err != nil {
		return change{}, errs.New(errs.Invalid, "FORM", "The form could not be read: it was cut off, or is too long.")
	}
	c := change{etag: r.PostForm.Get("etag"), requestID: r.PostForm.Get("request_id"), reason: strings.TrimSpace(r.PostForm.Get("reason")),
		isReturned: isReturned(k.claim.GetState()), read: &payersv1.Coverage{},
		typed: typed{coverage: map[string]string{"reason": r.PostForm.Get("reason")}, faults: map[string]string{}}}
	if err := (protojson.UnmarshalOptions{DiscardUnknown: true}).Unmarshal([]byte(r.PostForm.Get("read")), c.read); err != nil {
		return change{}, errs.New(errs.Invalid, "FORM", "The form is not one of this page. Open the claim and do it from there.")
	}
	c.next = proto.CloneOf(c.read)
	for _, f := range fields {
		if !r.PostForm.Has(f.name) {
			continue // a form may hold only some; the others stay
		}
		value := strings.TrimSpace(r.PostForm.Get(f.name))
		c.typed.coverage[f.name] = r.PostForm.Get(f.name)
		if fault := f.set(v.voice, c.next, value); fault != "" {
			c.typed.faults[f.name] = fault
		}
	}
	if proto.Equal(c.next.GetAuthorization(), &payersv1.Authorization{}) {
		c.next.Authorization = nil
	}
	if c.isReturned && c.reason == "" {
		c.typed.faults["reason"] = "Nothing was given; say in a sentence what was corrected."
	}
	return c, nil
}

// changeCoverage stores what was typed and checks the claim again, or corrects a returned claim
// and sends it again. What was typed is kept, whatever happens.
func changeCoverage(v *visit) error {
	k, err := v.know()
	if err != nil {
		return err
	}
	c, err := v.readChange(k)
	if err != nil {
		return err
	}
	if len(c.typed.faults) > 0 {
		return v.showKnown(http.StatusUnprocessableEntity, k, c.typed)
	}
	claim, err := v.store(k, c)
	if errs.Is(err, errs.Stale) {
		return v.meet(c)
	}
	if errs.Is(err, errs.Invalid) {
		c.typed.take(err)
		return v.showKnown(http.StatusUnprocessableEntity, k, c.typed)
	}
	if err != nil {
		return err
	}
	return v.done(claimAddress(claim.GetClaimId()), storedWords(claim, c.isReturned))
}

// store asks the server for the change.
func (v *visit) store(k known, c change) (*claimsv1.Claim, error) {
	id := k.claim.GetClaimId()
	if c.isReturned {
		answer, err := v.Claims.ResubmitClaim(v.ctx(), &claimsv1.ResubmitClaimRequest{ClaimId: id, Coverage: c.next, Reason: c.reason,
			Etag: c.etag, RequestId: c.requestID})
		return answer.GetClaim(), err
	}
	answer, err := v.Claims.UpdateCoverage(v.ctx(), &claimsv1.UpdateCoverageRequest{ClaimId: id, Coverage: c.next, Etag: c.etag,
		RequestId: c.requestID})
	return answer.GetClaim(), err
}

// take puts the server's faults beside their fields.
func (t *typed) take(err error) {
	var known *errs.Error
	if !errors.As(err, &known) {
		return
	}
	for _, f := range known.Fields {
		name := strings.TrimPrefix(f.Path, "coverage.")
		if slices.ContainsFunc(fields, func(own coverageField) bool { return own.name == name }) || name == "reason" {
			t.faults[name] = say.Capital(say.Sentence(f.Message))
		} else {
			t.notFields = append(t.notFields, say.Capital(say.Sentence(f.Message)))
		}
	}
	if len(known.Fields) == 0 {
		t.notFields = append(t.notFields, say.Capital(say.Sentence(known.Message)))
	}
}

func storedWords(c *claimsv1.Claim, isReturned bool) string {
	switch {
	case isReturned:
		return "Corrected. It leaves again with the next run, under its own number."
	case c.GetState() == claimsv1.State_STATE_READY:
		return "Stored and checked again: nothing stops it."
	}
	return "Stored and checked again: something still stops it."
}

// meet is for a claim that somebody changed meanwhile. When the coverage itself is as it was (a
// note was written, a rate came in), what was typed is stored all the same; otherwise both
// versions are shown, and nothing is stored before somebody chose.
func (v *visit) meet(c change) error {
	k, err := v.know()
	if err != nil {
		return err
	}
	if proto.Equal(k.claim.GetCoverage(), c.read) && isReturned(k.claim.GetState()) == c.isReturned {
		c.etag, c.requestID = k.claim.GetEtag(), c.requestID+".again"
		claim, err := v.store(k, c)
		if err == nil {
			return v.done(claimAddress(claim.GetClaimId()), storedWords(claim, c.isReturned))
		}
		if !errs.Is(err, errs.Stale) {
			return err
		}
	}
	if !isEditable(k.claim.GetState()) && !isReturned(k.claim.GetState()) {
		return errs.Newf(errs.State, "CLAIM_RELEASED", "Claim %s is %s by now; its coverage cannot change any more.", k.claim.GetClaimNumber(),
			say.State(k.claim.GetState()))
	}
	view := page.Conflict{Number: k.claim.GetClaimNumber(), Href: claimAddress(k.claim.GetClaimId()),
		Action: claimAddress(k.claim.GetClaimId()) + "/coverage",
		Hidden: []page.Hidden{{Name: "etag", Value: k.claim.GetEtag()}, {Name: "request_id", Value: uuid.NewString()},
			{Name: "read", Value: written(k.claim.GetCoverage())}, {Name: "reason", Value: c.reason}}}
	view.Rows = conflictRows(v.voice, c, k.claim.GetCoverage())
	view.Head = v.head("Claim "+k.claim.GetClaimNumber(), page.HereClaims)
	return v.show(http.StatusConflict, page.ConflictPage(view))
}

// conflictRows are the fields of which stored and typed differ. What only one side touched is
// marked for that side; what both touched is marked as stored, so that nobody overwrites another
// by pressing on.
func conflictRows(v *say.Voice, c change, now *payersv1.Coverage) []page.ConflictRow {
	before, stored, asked := values(v, c.read), values(v, now), values(v, c.next)
	var rows []page.ConflictRow
	for _, f := range fields {
		if stored[f.name] == asked[f.name] {
			continue
		}
		row := page.ConflictRow{Name: f.name, Label: f.label, Stored: stored[f.name], Typed: asked[f.name],
			StoredText: f.readable(stored[f.name]), TypedText: f.readable(asked[f.name])}
		if before[f.name] == stored[f.name] {
			row.StoredNote, row.TakesTyped = "not touched meanwhile", true
		}
		if before[f.name] == asked[f.name] {
			row.TypedNote = "not touched by you"
		}
		rows = append(rows, row)
	}
	return rows
}

// sent gives the form's etag, and its number for a repetition.
func (v *visit) sent() (etag, requestID string, err error) {
	if err := v.r.ParseForm(); err != nil {
		return "", "", errs.New(errs.Invalid, "FORM", fmt.Sprintf("The form could not be read: it is longer than %d KB, or cut off.", maxForm>>10))
	}
	return v.r.PostForm.Get("etag"), v.r.PostForm.Get("request_id"), nil
}
