package server_test

import (
	"encoding/base64"
	"fmt"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	accessv1 "cullet/proto/cullet/access/v1"
	claimsv1 "cullet/proto/cullet/claims/v1"
	customersv1 "cullet/proto/cullet/customers/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	webhooksv1 "cullet/proto/cullet/webhooks/v1"
)

// shopChanges are the changes of the shop, its keys and its customers.
var shopChanges = []change{
	{method: accessv1.AccessService_CreateKey_FullMethodName,
		prepare: func(_ *testing.T, h *cutHouse) proto.Message { return h.newKey() },
		effect:  effect{"requests": 1, "audit_entries": 1, "keys": 1, "key_hashes": 1}},
	{method: accessv1.AccessService_RevokeKey_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			made, err := h.Access.CreateKey(t.Context(), h.newKey())
			if err != nil {
				t.Fatal(err)
			}
			return &accessv1.RevokeKeyRequest{KeyId: made.GetKey().GetKeyId()}
		},
		effect: effect{"requests": 1, "audit_entries": 1, "keys.revoked": 1}},
	{method: accessv1.AccessService_UpdateShop_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			read, err := h.Access.GetShop(t.Context(), &accessv1.GetShopRequest{})
			if err != nil {
				t.Fatal(err)
			}
			shop := read.GetShop()
			shop.WarrantyText = fmt.Sprint("Warranty ", h.next())
			return &accessv1.UpdateShopRequest{Shop: shop}
		},
		effect: effect{"requests": 1, "audit_entries": 1, "shops.version": 1, "work.generation": 1}},
	{method: customersv1.CustomerService_CreateCustomer_FullMethodName,
		prepare: func(_ *testing.T, h *cutHouse) proto.Message {
			return &customersv1.CreateCustomerRequest{Customer: &customersv1.Customer{Name: fmt.Sprint("Customer ", h.next())}}
		},
		effect: effect{"requests": 1, "audit_entries": 1, "customers": 1}},
}

// partners are whom the shop sends to.
var partners = []change{
	{method: payersv1.PayerService_CreatePayer_FullMethodName,
		prepare: func(_ *testing.T, h *cutHouse) proto.Message { return insurer(fmt.Sprint("payer-", h.next())) },
		effect: effect{"requests": 1, "audit_entries": 1, "payers": 1, "payers.version": 1, "payer_profiles": 1,
			"inbound_routes": 1}},
	{method: payersv1.PayerService_UpdatePayerProfile_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			payer := h.insurer(t, fmt.Sprint("payer-", h.next()))
			profile := payer.GetProfile()
			profile.AnswerDays = 9
			return &payersv1.UpdatePayerProfileRequest{PayerId: payer.GetPayerId(), Profile: profile, Etag: payer.GetEtag()}
		},
		effect: effect{"requests": 1, "audit_entries": 1, "payers.version": 1, "payer_profiles": 1, "work": 1,
			"work.generation": 1}},
	{method: payersv1.PayerService_SetPayerCredentials_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			return &payersv1.SetPayerCredentialsRequest{PayerId: h.insurer(t, fmt.Sprint("payer-", h.next())).GetPayerId(), BearerToken: "token",
				WebhookSecret: "whsec_" + base64.StdEncoding.EncodeToString([]byte(strings.Repeat("k", 24)))}
		},
		effect: effect{"requests": 1, "audit_entries": 1, "payer_credentials": 1}},
	{method: webhooksv1.WebhookService_CreateEndpoint_FullMethodName,
		prepare: func(_ *testing.T, h *cutHouse) proto.Message {
			return &webhooksv1.CreateEndpointRequest{Url: fmt.Sprint("https://shop.example/", h.next())}
		},
		effect: effect{"requests": 1, "audit_entries": 1, "endpoints": 1, "endpoints.active": 1}},
	{method: webhooksv1.WebhookService_SetEndpointState_FullMethodName,
		prepare: waiting,
		effect:  effect{"requests": 1, "audit_entries": 1, "endpoints.active": 1, "endpoints.version": 1}},
	{method: webhooksv1.WebhookService_SetEndpointState_FullMethodName, when: "to disabled",
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			paused := waiting(t, h).(*webhooksv1.SetEndpointStateRequest)
			paused.State = webhooksv1.EndpointState_ENDPOINT_STATE_DISABLED
			return paused
		},
		effect: effect{"requests": 1, "audit_entries": 1, "endpoints.version": 1, "deliveries.dead": 1}},
	{method: webhooksv1.WebhookService_UpdateEndpoint_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			e := h.endpoint(t)
			return &webhooksv1.UpdateEndpointRequest{EndpointId: e.GetEndpointId(), Url: "https://shop.example/elsewhere",
				EventTypes: []string{"claim.accepted"}, Etag: e.GetEtag()}
		},
		effect: effect{"requests": 1, "audit_entries": 1, "endpoints.version": 1}},
	{method: webhooksv1.WebhookService_RotateSecret_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			return &webhooksv1.RotateSecretRequest{EndpointId: h.endpoint(t).GetEndpointId()}
		},
		effect: effect{"requests": 1, "audit_entries": 1, "endpoints.version": 1, "endpoints.previous": 1}},
	{method: webhooksv1.WebhookService_SendTestEvent_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			return &webhooksv1.SendTestEventRequest{EndpointId: h.endpoint(t).GetEndpointId()}
		},
		effect: effect{"requests": 1, "events": 1, "deliveries": 1}},
	{method: webhooksv1.WebhookService_ReplayEvents_FullMethodName,
		prepare: func(t *testing.T, h *cutHouse) proto.Message {
			to := h.endpoint(t).GetEndpointId()
			tested, err := h.Webhooks.SendTestEvent(t.Context(), &webhooksv1.SendTestEventRequest{EndpointId: to})
			if err != nil {
				t.Fatal(err)
			}
			return &webhooksv1.ReplayEventsRequest{EndpointId: h.endpoint(t).GetEndpointId(),
				EventIds: []string{tested.GetDelivery().GetEventId()}}
		},
		effect: effect{"requests": 1, "audit_entries": 1, "deliveries": 1}},
}

func (h *cutHouse) newKey() *accessv1.CreateKeyRequest {
	return &accessv1.CreateKeyRequest{Name: fmt.Sprint("Key ", h.next()), Role: accessv1.Role_ROLE_READER}
}

// waiting asks to resume an endpoint for which a delivery waits; its work is asked for once more.
func waiting(t *testing.T, h *cutHouse) proto.Message {
	t.Helper()
	claim := h.claim(t)
	id := h.endpoint(t).GetEndpointId()
	if _, err := h.Claims.AddNote(t.Context(), &claimsv1.AddNoteRequest{ClaimId: claim, Note: "Called."}); err != nil {
		t.Fatal(err)
	}
	if _, err := h.Webhooks.SetEndpointState(t.Context(), &webhooksv1.SetEndpointStateRequest{EndpointId: id,
		State: webhooksv1.EndpointState_ENDPOINT_STATE_PAUSED}); err != nil {
		t.Fatal(err)
	}
	return &webhooksv1.SetEndpointStateRequest{EndpointId: id, State: webhooksv1.EndpointState_ENDPOINT_STATE_ACTIVE}
}
