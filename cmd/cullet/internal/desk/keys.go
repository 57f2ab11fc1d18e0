package desk

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/google/uuid"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	accessv1 "cullet/proto/cullet/access/v1"
	"cullet/services/errs"
)

// roles are what a key may do, in words, the least first.
var roles = []struct {
	role        accessv1.Role
	value, text string
}{
	{accessv1.Role_ROLE_READER, "READER", "reads only"},
	{accessv1.Role_ROLE_SYSTEM, "SYSTEM", "a shop system: records repairs, reads its shop"},
	{accessv1.Role_ROLE_CLERK, "CLERK", "a clerk: everything but keys"},
	{accessv1.Role_ROLE_OWNER, "OWNER", "an owner: everything"},
}

func roleWords(role accessv1.Role) string {
	for _, r := range roles {
		if r.role == role {
			return r.text
		}
	}
	return say.Lower(role.String(), "ROLE_")
}

// newKey is the form of a key, as it was sent, with the faults of its fields.
type newKey struct {
	name, role, until                string
	nameFault, roleFault, untilFault string
	other                            []string
}

// listKeys shows who may come in.
func listKeys(v *visit) error { return v.showKeys(http.StatusOK, newKey{role: "CLERK"}, nil) }

func (v *visit) showKeys(status int, form newKey, made *page.MadeKey) error {
	answer, err := v.Access.ListKeys(v.ctx(), &accessv1.ListKeysRequest{PageSize: 200, PageToken: v.r.FormValue("page")})
	if err != nil {
		return err
	}
	view := page.Keys{Made: made, Next: nextPage(v.r, answer.GetNextPageToken()), Hidden: []page.Hidden{{Name: "request_id", Value: uuid.NewString()}}}
	open := 0
	for _, k := range answer.GetKeys() {
		row := v.keyRow(k)
		if row.Ended == "" {
			open++
		}
		view.Rows = append(view.Rows, row)
	}
	view.Lead = page.Lead{Strong: say.Count(open, "key opens", "keys open") + " this shop.", Rest: "Give each person and each shop system a key of its own: what one does stands under its name."}
	role := page.Field{ID: "k-role", Name: "role", Label: "What it may do", Fault: form.roleFault}
	for _, r := range roles {
		role.Choices = append(role.Choices, page.Choice{Text: r.text, Value: r.value, IsChosen: r.value == form.role})
	}
	view.Form = []page.Field{
		{ID: "k-name", Name: "name", Label: "Whose it is", Hint: "A person or a program; it stands in timelines.", Kind: "text", Value: form.name, Fault: form.nameFault},
		role,
		{ID: "k-until", Name: "until", Label: "Last day", Hint: "Empty when it does not end by itself.", Kind: "date", Value: form.until, Fault: form.untilFault}}
	if len(form.other) > 0 {
		view.Notice = &page.Notice{Title: "No key was made"}
		for _, sentence := range form.other {
			view.Notice.Items = append(view.Notice.Items, page.NoticeItem{Severity: "stop", Text: say.Capital(say.Sentence(sentence))})
		}
	}
	view.Head = v.head("Keys", page.HereKeys)
	return v.show(status, page.KeysPage(view))
}

func (v *visit) keyRow(k *accessv1.Key) page.KeyRow {
	row := page.KeyRow{Name: k.GetName(), Prefix: k.GetPrefix() + "…", Role: say.Capital(roleWords(k.GetRole())), Made: v.voice.Moment(k.GetCreateTime())}
	switch {
	case k.GetRevokeTime() != nil:
		row.Ended = "ended " + v.voice.Moment(k.GetRevokeTime())
	case k.GetExpireTime() != nil && !k.GetExpireTime().AsTime().After(v.now()):
		row.Ended = "ran out " + v.voice.Moment(k.GetExpireTime())
	case k.GetExpireTime() != nil:
		row.Until = "until " + v.voice.Moment(k.GetExpireTime())
	}
	if row.Ended == "" {
		row.End = "/keys/" + url.PathEscape(k.GetKeyId()) + "/end"
	}
	return row
}

// makeKey makes a key. Its secret stands on the page that answers, and nowhere else ever again.
func makeKey(v *visit) error {
	_, requestID, err := v.sent()
	if err != nil {
		return err
	}
	form := newKey{name: strings.TrimSpace(v.r.PostForm.Get("name")), role: v.r.PostForm.Get("role"), until: v.r.PostForm.Get("until")}
	request := &accessv1.CreateKeyRequest{Name: form.name, Role: accessv1.Role(accessv1.Role_value["ROLE_"+form.role]), RequestId: requestID}
	if form.until != "" {
		day, err := time.Parse(time.DateOnly, form.until)
		if err == nil { // the whole of the last day
			request.ExpireTime, err = v.voice.ParseInput(day.AddDate(0, 0, 1).Format(time.DateOnly) + "T00:00")
		}
		if err != nil {
			form.untilFault = fmt.Sprintf("%q was given; give the day as 2026-12-31, or leave it empty.", shorten(form.until))
			return v.showKeys(http.StatusUnprocessableEntity, form, nil)
		}
	}
	answer, err := v.Access.CreateKey(v.ctx(), request)
	if errs.Is(err, errs.Invalid) || errs.Is(err, errs.Conflict) || errs.Is(err, errs.Exhausted) {
		form.take(knownError(err))
		return v.showKeys(http.StatusUnprocessableEntity, form, nil)
	}
	if err != nil {
		return err
	}
	return v.showKeys(http.StatusOK, newKey{role: "CLERK"}, &page.MadeKey{Name: answer.GetKey().GetName(), Secret: answer.GetSecret()})
}

// take puts the server's faults beside their fields.
func (f *newKey) take(known *errs.Error) {
	for _, fault := range known.Fields {
		sentence := say.Capital(say.Sentence(fault.Message))
		switch fault.Path {
		case "name":
			f.nameFault = sentence
		case "role":
			f.roleFault = sentence
		case "expire_time":
			f.untilFault = sentence
		default:
			f.other = append(f.other, fault.Message)
		}
	}
	if len(known.Fields) == 0 {
		f.other = []string{known.Message}
	}
}

// reviewEnd shows what ends with a key before it does.
func reviewEnd(v *visit) error {
	answer, err := v.Access.ListKeys(v.ctx(), &accessv1.ListKeysRequest{PageSize: 200})
	if err != nil {
		return err
	}
	for _, k := range answer.GetKeys() {
		if k.GetKeyId() != v.r.PathValue("id") {
			continue
		}
		view := page.EndKey{Row: v.keyRow(k), Hidden: []page.Hidden{{Name: "request_id", Value: uuid.NewString()}},
			Lead: page.Lead{Strong: "End the key of " + k.GetName() + "?", Rest: "Whoever holds it is out within a second, and it cannot be opened again."}}
		view.Head = v.head("End a key", page.HereKeys)
		return v.show(http.StatusOK, page.EndKeyPage(view))
	}
	return errNoPage
}

// endKey ends it.
func endKey(v *visit) error {
	_, requestID, err := v.sent()
	if err != nil {
		return err
	}
	answer, err := v.Access.RevokeKey(v.ctx(), &accessv1.RevokeKeyRequest{KeyId: v.r.PathValue("id"), RequestId: requestID})
	if err != nil {
		return errGone(err)
	}
	return v.done("/keys", "The key of "+answer.GetKey().GetName()+" is ended.")
}

// listDeeds shows who did what.
func listDeeds(v *visit) error {
	answer, err := v.Access.ListAuditEntries(v.ctx(), &accessv1.ListAuditEntriesRequest{PageSize: 100, PageToken: v.r.FormValue("page")})
	if err != nil {
		return err
	}
	view := page.Deeds{Next: nextPage(v.r, answer.GetNextPageToken()), Lead: page.Lead{Strong: "What was done, and by whom,", Rest: "newest first. Nothing here can be changed."}}
	for _, e := range answer.GetAuditEntries() {
		view.Rows = append(view.Rows, page.Deed{When: v.voice.Moment(e.GetOccurTime()), Who: e.GetActor(),
			What: say.Capital(strings.NewReplacer(".", ": ", "_", " ").Replace(e.GetAction())), To: strings.ReplaceAll(e.GetSubjectKind(), "_", " ")})
	}
	view.Head = v.head("What was done", page.HereKeys)
	return v.show(http.StatusOK, page.DeedsPage(view))
}
