package desk

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/google/uuid"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/errs"
)

func payerAddress(id string) string { return "/payers/" + url.PathEscape(id) }

// listPayers shows who is billed.
func listPayers(v *visit) error {
	answer, err := v.Payers.ListPayers(v.ctx(), &payersv1.ListPayersRequest{PageSize: 200, PageToken: v.r.FormValue("page")})
	if err != nil {
		return err
	}
	view := page.Payers{Next: nextPage(v.r, answer.GetNextPageToken()),
		Lead: page.Lead{Strong: say.Count(len(answer.GetPayers()), "payer", "payers") + ".", Rest: "What each demands and pays is checked before a claim leaves."}}
	for _, p := range answer.GetPayers() {
		view.Rows = append(view.Rows, page.PayerRow{Name: p.GetName(), Href: payerAddress(p.GetPayerId()),
			Kind: say.Lower(p.GetKind().String(), "PAYER_KIND_"), Way: way(p.GetProfile()), Price: priceToday(v.voice, p.GetProfile())})
	}
	view.Head = v.head("Payers", page.HerePayers)
	return v.show(http.StatusOK, page.PayersPage(view))
}

// way is how a payer is reached.
func way(p *payersv1.PayerProfile) string {
	if p.GetFormat() == "" {
		return "pays on the spot"
	}
	return p.GetFormat() + " by " + p.GetChannel()
}

// priceToday is the first repair's price by the agreement of today.
func priceToday(v *say.Voice, p *payersv1.PayerProfile) string {
	for _, a := range p.GetPriceAgreements() {
		if holds(a, v.Today()) {
			return v.Column(a.GetFirstRepair())
		}
	}
	return "none"
}

func holds(a *payersv1.PriceAgreement, day string) bool {
	return a.GetValidFrom() <= day && (a.GetValidTo() == "" || day <= a.GetValidTo())
}

// profileForm is a form of a profile as it was sent; zero when none was.
type profileForm struct {
	typed, faults map[string]string
	required      []string
	isSent        bool
	price         map[string]string
	told          []string
	title         string
}

func showPayer(v *visit) error { return v.showProfile(http.StatusOK, profileForm{}) }

func (v *visit) payer() (*payersv1.Payer, error) {
	answer, err := v.Payers.GetPayer(v.ctx(), &payersv1.GetPayerRequest{PayerId: v.r.PathValue("id")})
	if err != nil {
		return nil, errGone(err)
	}
	return answer.GetPayer(), nil
}

func (v *visit) showProfile(status int, f profileForm) error {
	p, err := v.payer()
	if err != nil {
		return err
	}
	profile := p.GetProfile()
	view := page.Payer{Payer: p, Kind: say.Lower(p.GetKind().String(), "PAYER_KIND_"), Way: way(profile), Action: payerAddress(p.GetPayerId()),
		IsOpen: v.session.mayWork(), Hidden: []page.Hidden{{Name: "etag", Value: p.GetEtag()}, {Name: "request_id", Value: uuid.NewString()},
			{Name: "read", Value: profileText(profile)}}}
	view.Lead = page.Lead{Strong: fmt.Sprintf("Version %d of its profile.", profile.GetVersion()),
		Rest: "A change makes a new version; claims that left keep the one that checked them, the others are checked again."}
	for _, name := range profileGroups {
		view.Groups = append(view.Groups, page.FieldGroup{Name: name, Fields: shownOf(name, profile, f)})
	}
	required := profile.GetRequiredFields()
	if f.isSent {
		required = f.required
	}
	for _, c := range fields {
		view.Required = append(view.Required, page.Choice{Text: c.label, Value: c.name, IsChosen: slices.Contains(required, c.name)})
	}
	for _, d := range profile.GetPhotos() {
		view.Photos = append(view.Photos, photoDemand(d))
	}
	view.Prices, view.NewPrice = priceRows(v.voice, profile), priceFields(f)
	if len(f.told) > 0 {
		view.Notice = &page.Notice{Title: f.title}
		for _, sentence := range f.told {
			view.Notice.Items = append(view.Notice.Items, page.NoticeItem{Severity: "stop", Text: sentence})
		}
	}
	view.Head = v.head(p.GetName(), page.HerePayers)
	return v.show(status, page.PayerPage(view))
}

func shownOf(group string, profile *payersv1.PayerProfile, f profileForm) (all []page.Field) {
	for _, field := range profileFields {
		if field.group != group {
			continue
		}
		value, isTyped := f.typed[field.name]
		if !isTyped {
			value = field.get(profile)
		}
		all = append(all, field.shown(value, f.faults[field.name]))
	}
	return all
}

func photoDemand(d *payersv1.PhotoDemand) string {
	name := map[string]string{"BEFORE": "before the repair", "AFTER": "after the repair", "VIN_PLATE": "the plate with the VIN",
		"WHOLE_GLASS": "the whole glass"}[d.GetKind()]
	if name == "" {
		name = say.Lower(d.GetKind(), "")
	}
	if d.GetIsPerDamage() {
		return name + ", of each damage"
	}
	return name
}

// profileText keeps a profile in a form, to compare with when two people changed it.
func profileText(p *payersv1.PayerProfile) string {
	text, err := protojson.Marshal(p)
	if err != nil {
		return "{}"
	}
	return string(text)
}

// changeProfile stores a new version of the profile, with the fields of the form changed.
func changeProfile(v *visit) error {
	f, next, etag, requestID, err := v.readProfile()
	if err != nil {
		return err
	}
	for _, field := range profileFields {
		if fault := field.set(next, f.typed[field.name]); fault != "" {
			f.faults[field.name] = fault
		}
	}
	next.RequiredFields = f.required
	if len(f.faults) > 0 {
		return v.showProfile(http.StatusUnprocessableEntity, f)
	}
	return v.storeProfile(f, next, etag, requestID, "Stored. Claims that have not left are checked again.")
}

// readProfile reads the form and the profile that it was made of.
func (v *visit) readProfile() (f profileForm, next *payersv1.PayerProfile, etag, requestID string, err error) {
	if etag, requestID, err = v.sent(); err != nil {
		return f, nil, "", "", err
	}
	next = &payersv1.PayerProfile{}
	if err := (protojson.UnmarshalOptions{DiscardUnknown: true}).Unmarshal([]byte(v.r.PostForm.Get("read")), next); err != nil {
		return f, nil, "", "", errs.New(errs.Invalid, "FORM", "The form is not one of this page. Open the payer and do it from there.")
	}
	f = profileForm{typed: map[string]string{}, faults: map[string]string{}, price: map[string]string{}, isSent: true,
		required: v.r.PostForm["required"]}
	for _, field := range profileFields {
		f.typed[field.name] = strings.TrimSpace(v.r.PostForm.Get(field.name))
	}
	return f, next, etag, requestID, nil
}

// storeProfile stores it; what was typed is kept when it is not taken.
func (v *visit) storeProfile(f profileForm, next *payersv1.PayerProfile, etag, requestID, done string) error {
	read := proto.CloneOf(next)
	_, err := v.Payers.UpdatePayerProfile(v.ctx(), &payersv1.UpdatePayerProfileRequest{PayerId: v.r.PathValue("id"), Profile: next, Etag: etag, RequestId: requestID})
	switch {
	case errs.Is(err, errs.Stale):
		now, failure := v.payer()
		if failure != nil {
			return failure
		}
		f.title, f.told = "Somebody changed this profile while you wrote; nothing is stored yet", changedSince(read, now.GetProfile())
		return v.showProfile(http.StatusConflict, f)
	case errs.Is(err, errs.Invalid):
		f.take(knownError(err))
		return v.showProfile(http.StatusUnprocessableEntity, f)
	case err != nil:
		return errGone(err)
	}
	return v.done(payerAddress(v.r.PathValue("id")), done)
}

// changedSince tells, field by field, what is stored now and differs from what was asked for.
func changedSince(asked, stored *payersv1.PayerProfile) []string {
	all := []string{"The fields show what you typed. Press Store once more when it shall stand."}
	for _, field := range profileFields {
		if was, is := field.get(asked), field.get(stored); was != is {
			all = append(all, fmt.Sprintf("“%s” is stored as: %s.", field.label, field.readable(is)))
		}
	}
	return all
}

// take puts the server's faults beside their fields.
func (f *profileForm) take(known *errs.Error) {
	f.title = "Not stored"
	for _, fault := range known.Fields {
		name := strings.TrimPrefix(fault.Path, "profile.")
		sentence := say.Capital(say.Sentence(fault.Message))
		switch {
		case slices.ContainsFunc(profileFields, func(own profileField) bool { return own.name == name }) && len(f.price) == 0:
			f.faults[name] = sentence
		default:
			f.told = append(f.told, sentence)
		}
	}
	if len(known.Fields) == 0 {
		f.told = append(f.told, say.Capital(say.Sentence(known.Message)))
	}
}
