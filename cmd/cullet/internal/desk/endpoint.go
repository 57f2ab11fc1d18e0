package desk

import (
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	webhooksv1 "cullet/proto/cullet/webhooks/v1"
)

func showEndpoint(v *visit) error { return v.showOneEndpoint(http.StatusOK, nil, page.ReplayForm{}) }

// showOneEndpoint shows an endpoint, with what was typed into one of its forms and not taken.
func (v *visit) showOneEndpoint(status int, edit *page.NewEndpoint, replay page.ReplayForm) error {
	id := v.r.PathValue("id")
	read, err := v.Webhooks.GetEndpoint(v.ctx(), &webhooksv1.GetEndpointRequest{EndpointId: id})
	if err != nil {
		return errGone(err)
	}
	tried, err := v.Webhooks.ListAttempts(v.ctx(), &webhooksv1.ListAttemptsRequest{EndpointId: id, PageSize: 50, PageToken: v.r.FormValue("page")})
	if err != nil {
		return err
	}
	dead, err := v.Webhooks.ListDeliveries(v.ctx(), &webhooksv1.ListDeliveriesRequest{EndpointId: id, State: "DEAD", PageSize: 10})
	if err != nil {
		return err
	}
	e := read.GetEndpoint()
	view := page.OneEndpoint{Endpoint: endpointOf(v.voice, e), Lead: endpointSentence(v.voice, e), Attempts: attemptsOf(v.voice, tried.GetAttempts()),
		Next: nextPage(v.r, tried.GetNextPageToken()), RequestID: uuid.NewString(), Replay: replay, MayAdminister: v.session.mayAdminister(),
		IsActive: e.GetState() == webhooksv1.EndpointState_ENDPOINT_STATE_ACTIVE}
	for _, d := range dead.GetDeliveries() {
		view.Dead = append(view.Dead, deliveryOf(v.voice, d, nil))
	}
	if edit == nil {
		edit = &page.NewEndpoint{URL: e.GetUrl(), Types: strings.Join(e.GetEventTypes(), "\n")}
	}
	edit.Etag, edit.RequestID = e.GetEtag(), view.RequestID+"-e"
	if edit.All, err = v.eventTypes(); err != nil {
		return err
	}
	view.Edit = *edit
	if view.Replay.From == "" {
		view.Replay.From, view.Replay.Until = v.voice.Input(timestamppb.New(v.now().Add(-24*time.Hour))), v.voice.Input(timestamppb.New(v.now().Add(time.Minute)))
	}
	view.Head = v.head(view.Endpoint.Host, page.HereDeliveries)
	return v.show(status, page.EndpointPage(view))
}

// addEndpoint adds an endpoint and shows its secret, once.
func addEndpoint(v *visit) error {
	_, requestID, err := v.sent()
	if err != nil {
		return err
	}
	form := page.NewEndpoint{URL: strings.TrimSpace(v.r.PostForm.Get("url")), Types: v.r.PostForm.Get("types")}
	made, err := v.Webhooks.CreateEndpoint(v.ctx(), &webhooksv1.CreateEndpointRequest{Url: form.URL, EventTypes: typesOf(form.Types), RequestId: requestID})
	if form.Fault = faultOf(err); form.Fault != "" {
		return v.showDeliveries(http.StatusUnprocessableEntity, form)
	}
	if err != nil {
		return err
	}
	return v.showSecret(made.GetEndpoint(), made.GetSecret())
}

// showSecret answers the form itself: an address would show it twice.
func (v *visit) showSecret(e *webhooksv1.Endpoint, secret string) error {
	view := page.Secret{Secret: secret, Href: endpointAddress(e.GetEndpointId()), Endpoint: hostOf(e.GetUrl()),
		Lead: page.Lead{Strong: "This secret is shown once.", Rest: "Copy it now; nobody can read it later."}}
	switch until := e.GetPreviousSecretUntil(); {
	case secret == "":
		view.Lead = page.Lead{Strong: "This was done before,", Rest: "and its secret was shown then. If nobody has it, make a new one."}
	case until != nil:
		view.Lead.Also = say.Sentence("The secret before it signs too until " + v.voice.Moment(until))
	}
	view.Head = v.head("Secret", page.HereDeliveries)
	return v.show(http.StatusOK, page.SecretPage(view))
}

func editEndpoint(v *visit) error {
	etag, requestID, err := v.sent()
	if err != nil {
		return err
	}
	form := page.NewEndpoint{URL: strings.TrimSpace(v.r.PostForm.Get("url")), Types: v.r.PostForm.Get("types")}
	_, err = v.Webhooks.UpdateEndpoint(v.ctx(), &webhooksv1.UpdateEndpointRequest{EndpointId: v.r.PathValue("id"), Url: form.URL,
		EventTypes: typesOf(form.Types), Etag: etag, RequestId: requestID})
	if form.Fault = faultOf(err); form.Fault != "" {
		return v.showOneEndpoint(http.StatusUnprocessableEntity, &form, page.ReplayForm{})
	}
	if err != nil {
		return err
	}
	return v.done(endpointAddress(v.r.PathValue("id")), "Stored.")
}

func setEndpointState(v *visit) error {
	_, requestID, err := v.sent()
	if err != nil {
		return err
	}
	word := v.r.PostForm.Get("state")
	state := webhooksv1.EndpointState(webhooksv1.EndpointState_value["ENDPOINT_STATE_"+strings.ToUpper(word)])
	_, err = v.Webhooks.SetEndpointState(v.ctx(), &webhooksv1.SetEndpointStateRequest{EndpointId: v.r.PathValue("id"), State: state, RequestId: requestID})
	if err != nil {
		return err
	}
	return v.done(endpointAddress(v.r.PathValue("id")), "The endpoint is "+word+".")
}

func testEndpoint(v *visit) error {
	_, requestID, err := v.sent()
	if err != nil {
		return err
	}
	sent, err := v.Webhooks.SendTestEvent(v.ctx(), &webhooksv1.SendTestEventRequest{EndpointId: v.r.PathValue("id"), RequestId: requestID})
	if err != nil {
		return err
	}
	return v.done(deliveryAddress(sent.GetDelivery().GetDeliveryId()), "A test event is on its way. Load this page again to see what came of it.")
}

func rotateSecret(v *visit) error {
	_, requestID, err := v.sent()
	if err != nil {
		return err
	}
	answer, err := v.Webhooks.RotateSecret(v.ctx(), &webhooksv1.RotateSecretRequest{EndpointId: v.r.PathValue("id"),
		IsCompromised: v.r.PostForm.Get("compromised") == "true", RequestId: requestID})
	if err != nil {
		return err
	}
	return v.showSecret(answer.GetEndpoint(), answer.GetSecret())
}

// replayRange sends the events of a time again.
func replayRange(v *visit) error {
	_, requestID, err := v.sent()
	if err != nil {
		return err
	}
	form := page.ReplayForm{From: v.r.PostForm.Get("from"), Until: v.r.PostForm.Get("until")}
	from, err := v.voice.ParseInput(form.From)
	until, err2 := v.voice.ParseInput(form.Until)
	if err != nil || err2 != nil || from == nil || until == nil {
		form.Fault = "Give both times, with day and hour."
		return v.showOneEndpoint(http.StatusUnprocessableEntity, nil, form)
	}
	answer, err := v.Webhooks.ReplayEvents(v.ctx(), &webhooksv1.ReplayEventsRequest{EndpointId: v.r.PathValue("id"), StartTime: from, EndTime: until,
		IsDeadOnly: v.r.PostForm.Get("which") != "all", RequestId: requestID})
	if form.Fault = faultOf(err); form.Fault != "" {
		return v.showOneEndpoint(http.StatusUnprocessableEntity, nil, form)
	}
	if err != nil {
		return err
	}
	return v.done(endpointAddress(v.r.PathValue("id")), fmt.Sprintf("%s on their way again.", say.Capital(say.Count(int(answer.GetReplayedCount()), "event is", "events are"))))
}
