package desk

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"github.com/google/uuid"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	accessv1 "cullet/proto/cullet/access/v1"
	webhooksv1 "cullet/proto/cullet/webhooks/v1"
	"cullet/services/errs"
)

// mayAdminister tells whether the key may change endpoints; the server decides for itself.
func (s *session) mayAdminister() bool { return s.role == accessv1.Role_ROLE_OWNER }

func deliveryAddress(id string) string { return "/deliveries/" + url.PathEscape(id) }

// hostOf is how an endpoint is called: its path may carry a token.
func hostOf(address string) string {
	u, err := url.Parse(address)
	if err != nil {
		return "an endpoint"
	}
	return u.Host
}

// endpointOf shows an endpoint.
func endpointOf(v *say.Voice, e *webhooksv1.Endpoint) page.Endpoint {
	shown := page.Endpoint{Endpoint: e, Href: endpointAddress(e.GetEndpointId()), Host: hostOf(e.GetUrl()), Severity: "good",
		State: say.Lower(e.GetState().String(), "ENDPOINT_STATE_"), Hears: strings.Join(e.GetEventTypes(), ", "), Since: v.Moment(e.GetCreateTime())}
	if shown.Hears == "" {
		shown.Hears = "everything"
	}
	switch {
	case e.GetState() == webhooksv1.EndpointState_ENDPOINT_STATE_DISABLED:
		shown.Severity = "stop"
	case e.GetState() == webhooksv1.EndpointState_ENDPOINT_STATE_PAUSED:
		shown.Severity = "note"
	case e.GetFailingSince() != nil:
		shown.Severity, shown.State = "caution", "active, failing"
	}
	return shown
}

// endpointSentence says how an endpoint stands.
func endpointSentence(v *say.Voice, e *webhooksv1.Endpoint) page.Lead {
	waiting := say.Count(int(e.GetWaitingCount()), "event waits", "events wait") + "."
	if e.GetWaitingCount() == 0 {
		waiting = "Nothing waits."
	}
	switch {
	case e.GetState() == webhooksv1.EndpointState_ENDPOINT_STATE_DISABLED:
		return page.Lead{Strong: "It was disabled " + v.Moment(e.GetDisableTime()) + ", and hears nothing.", Rest: e.GetReason()}
	case e.GetState() == webhooksv1.EndpointState_ENDPOINT_STATE_PAUSED:
		return page.Lead{Strong: "It is paused.", Rest: waiting + " What happens meanwhile is kept for it."}
	case e.GetFailingSince() != nil:
		return page.Lead{Strong: say.Sentence("It has failed since " + v.Moment(e.GetFailingSince())),
			Rest: waiting + " After five days without an answer it is disabled."}
	}
	return page.Lead{Strong: "It hears what happens.", Rest: waiting}
}

// deliveryOf shows a delivery.
func deliveryOf(v *say.Voice, d *webhooksv1.Delivery, hosts map[string]string) page.Delivery {
	shown := page.Delivery{Delivery: d, Href: deliveryAddress(d.GetDeliveryId()), When: v.Moment(d.GetOccurTime()), Stamp: v.Stamp(d.GetOccurTime()),
		Host: hosts[d.GetEndpointId()], Why: d.GetLastError()}
	switch d.GetState() {
	case "DELIVERED":
		shown.State, shown.Severity = "delivered", "good"
	case "DEAD":
		shown.State, shown.Severity = "not delivered", "stop"
	default:
		shown.State, shown.Severity = "waits", "note"
		if d.GetAttemptCount() > 0 {
			shown.Severity, shown.Next = "caution", "Next attempt "+v.Moment(d.GetNextAttemptTime())
		}
	}
	return shown
}

func attemptsOf(v *say.Voice, all []*webhooksv1.Attempt) []page.Attempt {
	shown := make([]page.Attempt, len(all))
	for i, a := range all {
		shown[i] = page.Attempt{Attempt: a, When: v.Moment(a.GetStartTime()), Stamp: v.Stamp(a.GetStartTime()), Severity: "good",
			Outcome: fmt.Sprintf("delivered, answered %d", a.GetStatus()), Href: deliveryAddress(a.GetDeliveryId())}
		if a.GetSentence() != "" {
			shown[i].Severity, shown[i].Outcome = "caution", say.Capital(a.GetSentence())
		}
	}
	return shown
}

// eventTypes are offered in forms.
func (v *visit) eventTypes() ([]*webhooksv1.EventType, error) {
	answer, err := v.Webhooks.ListEventTypes(v.ctx(), &webhooksv1.ListEventTypesRequest{})
	return answer.GetEventTypes(), err
}

var deliveryStates = []page.Choice{{Text: "All"}, {Text: "Waiting", Value: "pending"}, {Text: "Delivered", Value: "delivered"},
	{Text: "Not delivered", Value: "dead"}}

func listDeliveries(v *visit) error {
	return v.showDeliveries(http.StatusOK, page.NewEndpoint{})
}

func (v *visit) showDeliveries(status int, form page.NewEndpoint) error {
	endpoints, err := v.Webhooks.ListEndpoints(v.ctx(), &webhooksv1.ListEndpointsRequest{PageSize: 200})
	if err != nil {
		return err
	}
	state := v.r.FormValue("state")
	list, err := v.Webhooks.ListDeliveries(v.ctx(), &webhooksv1.ListDeliveriesRequest{PageSize: 50, PageToken: v.r.FormValue("page"), State: strings.ToUpper(state)})
	if err != nil {
		return err
	}
	view := page.Deliveries{Next: nextPage(v.r, list.GetNextPageToken()), MayAdminister: v.session.mayAdminister(), New: form}
	if view.New.All, err = v.eventTypes(); err != nil {
		return err
	}
	view.New.RequestID = uuid.NewString()
	hosts := map[string]string{}
	off, dead := 0, 0
	for _, e := range endpoints.GetEndpoints() {
		view.Endpoints = append(view.Endpoints, endpointOf(v.voice, e))
		hosts[e.GetEndpointId()] = hostOf(e.GetUrl())
		dead += int(e.GetDeadCount())
		if e.GetState() == webhooksv1.EndpointState_ENDPOINT_STATE_DISABLED {
			off++
		}
	}
	for _, d := range list.GetDeliveries() {
		view.Rows = append(view.Rows, deliveryOf(v.voice, d, hosts))
	}
	for _, c := range deliveryStates {
		c.IsChosen = c.Value == state
		view.States = append(view.States, c)
	}
	view.Lead = deliveriesLead(len(view.Endpoints), off, dead)
	view.Head = v.head("Deliveries", page.HereDeliveries)
	return v.show(status, page.DeliveriesPage(view))
}

func deliveriesLead(endpoints, off, dead int) page.Lead {
	switch {
	case endpoints == 0:
		return page.Lead{Strong: "No shop system hears what happens yet.", Rest: "Add the address at which one listens."}
	case off > 0:
		are := "are"
		if off == 1 {
			are = "is"
		}
		return page.Lead{Strong: fmt.Sprintf("%s of %s %s disabled.", say.Capital(say.Number(off)), say.Count(endpoints, "endpoint", "endpoints"), are),
			Rest: "Look why, have it mended, make it active, then send what it missed."}
	case dead > 0:
		return page.Lead{Strong: say.Count(dead, "event was", "events were") + " not delivered.", Rest: "Each says why, and can be sent again."}
	}
	return page.Lead{Strong: "Shop systems hear what happens.", Rest: "Nothing is stuck."}
}

func showDelivery(v *visit) error {
	read, err := v.Webhooks.GetDelivery(v.ctx(), &webhooksv1.GetDeliveryRequest{DeliveryId: v.r.PathValue("id")})
	if err != nil {
		return errGone(err)
	}
	endpoint, err := v.Webhooks.GetEndpoint(v.ctx(), &webhooksv1.GetEndpointRequest{EndpointId: read.GetDelivery().GetEndpointId()})
	if err != nil {
		return err
	}
	d := deliveryOf(v.voice, read.GetDelivery(), nil)
	view := page.OneDelivery{Delivery: d, Endpoint: endpointOf(v.voice, endpoint.GetEndpoint()), Body: read.GetBody(),
		Attempts: attemptsOf(v.voice, read.GetAttempts()), RequestID: uuid.NewString(), MayAdminister: v.session.mayAdminister()}
	view.Lead = page.Lead{Strong: say.Capital(d.State) + ".", Rest: strings.Join(kept([]string{say.Sentence(say.Capital(d.Why)), say.Sentence(d.Next)}), " "),
		Also: fmt.Sprintf("It happened %s to %s %s, as its version %d.", d.When, d.GetSubjectKind(), d.GetSubjectId(), d.GetSubjectVersion())}
	view.Head = v.head(d.GetEventType(), page.HereDeliveries)
	return v.show(http.StatusOK, page.DeliveryPage(view))
}

// replayDelivery sends one event again.
func replayDelivery(v *visit) error {
	_, requestID, err := v.sent()
	if err != nil {
		return err
	}
	id := v.r.PathValue("id")
	read, err := v.Webhooks.GetDelivery(v.ctx(), &webhooksv1.GetDeliveryRequest{DeliveryId: id})
	if err != nil {
		return errGone(err)
	}
	_, err = v.Webhooks.ReplayEvents(v.ctx(), &webhooksv1.ReplayEventsRequest{EndpointId: read.GetDelivery().GetEndpointId(),
		EventIds: []string{read.GetDelivery().GetEventId()}, RequestId: requestID})
	if err != nil {
		return err
	}
	return v.done(deliveryAddress(id), "It is on its way again.")
}

// typesOf reads types, one a line or with commas between.
func typesOf(text string) []string {
	return strings.FieldsFunc(text, func(r rune) bool { return r == '\n' || r == '\r' || r == ',' || r == ' ' })
}

// faultOf is what a form shows of an error; empty when the error is none of the form's.
func faultOf(err error) string {
	if !errs.Is(err, errs.Invalid) && !errs.Is(err, errs.Stale) && !errs.Is(err, errs.State) {
		return ""
	}
	t := typed{faults: map[string]string{}}
	t.take(err)
	var all []string
	for _, path := range []string{"url", "event_types[0]", "start_time", "end_time"} {
		all = append(all, t.faults[path])
	}
	if found := strings.Join(kept(append(all, t.notFields...)), " "); found != "" {
		return say.Capital(found)
	}
	return say.Capital(err.Error())
}
