package desk_test

import (
	"bytes"
	"fmt"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protojson"

	"cullet/adapters"
	"cullet/adapters/payload"
	claimsv1 "cullet/proto/cullet/claims/v1"
	invoicesv1 "cullet/proto/cullet/invoices/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/access"
	"cullet/services/server"
	"cullet/services/server/servertest"
	"cullet/services/tax"
)

// openForMoney is a desk with an insurer, and an invoice that it has not paid.
func openForMoney(t *testing.T) (h *house, payer string, invoice *invoicesv1.Invoice) {
	t.Helper()
	now := time.Date(2026, 10, 20, 19, 0, 0, 0, time.UTC)
	h = openBefore(t, servertest.Start(t, servertest.Options{Now: func() time.Time { return now },
		Outside: server.Outside{Translator: payload.Translator{Book: tax.Shipped()}, Formats: adapters.Formats(),
			Channels:          adapters.Channels(adapters.ChannelOptions{Folders: t.TempDir()}),
			RemittanceFormats: adapters.RemittanceFormats()}}))
	usd := func(minor int64) *moneyv1.Money { return &moneyv1.Money{MinorUnits: minor, CurrencyCode: "USD"} }
	prices := []*payersv1.PriceAgreement{{Key: "2026", ValidFrom: "2026-01-01", FirstRepair: usd(7995), FurtherRepair: usd(1500), MaxRepairs: 3}}
	made, err := h.Payers.CreatePayer(t.Context(), &payersv1.CreatePayerRequest{Code: "lantern-mutual", Name: "Lantern Mutual (invented)",
		Kind: payersv1.PayerKind_PAYER_KIND_INSURER, Profile: &payersv1.PayerProfile{IsDeductibleWaivedForRepair: true, FilingLimitDays: 90, Format: "json", Channel: "folder",
			Address: "lantern-mutual", PriceAgreements: prices, RequiredFields: []string{"policy_number"}}})
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile("../../../../services/jobs/testdata/record.json")
	if err != nil {
		t.Fatal(err)
	}
	record := &jobsv1.RepairRecord{}
	if err := protojson.Unmarshal(text, record); err != nil {
		t.Fatal(err)
	}
	record.Photos = nil
	if _, err := h.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: record}); err != nil {
		t.Fatal(err)
	}
	answer, err := h.Invoices.ListInvoices(t.Context(), &invoicesv1.ListInvoicesRequest{Filter: fmt.Sprintf("invoice_number = %q", h.released())})
	if err != nil {
		t.Fatal(err)
	}
	h.signIn(h.OwnerKey)
	return h, made.GetPayer().GetPayerId(), answer.GetInvoices()[0]
}

// released waits until the workers have opened the claim, releases it and gives its invoice’s number.
func (h *house) released() (number string) {
	h.t.Helper()
	var c *claimsv1.Claim
	servertest.Until(h.t, "the claim is opened", func() bool {
		list, err := h.Claims.ListClaims(h.t.Context(), &claimsv1.ListClaimsRequest{})
		if err != nil {
			h.t.Fatal(err)
		}
		if len(list.GetClaims()) > 0 {
			c = list.GetClaims()[0]
		}
		return c != nil
	})
	if c.GetState() != claimsv1.State_STATE_READY {
		whole, err := h.Claims.GetClaim(h.t.Context(), &claimsv1.GetClaimRequest{ClaimId: c.GetClaimId()})
		h.t.Fatalf("the claim is %v: %v %v", c.GetState(), whole.GetClaim().GetFindings(), err)
	}
	done, err := h.Claims.ReleaseClaims(h.t.Context(), &claimsv1.ReleaseClaimsRequest{ClaimIds: []string{c.GetClaimId()}})
	if err != nil {
		h.t.Fatal(err)
	}
	return done.GetResults()[0].GetInvoiceNumber()
}

// upload sends a file of payments by the desk's form.
func (h *house) upload(payer, format, requestID, content string) (*http.Response, string) {
	h.t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	for name, value := range map[string]string{"payer": payer, "format": format, "request_id": requestID} {
		_ = form.WriteField(name, value)
	}
	part, err := form.CreateFormFile("file", "week.csv")
	if err != nil {
		h.t.Fatal(err)
	}
	_, _ = part.Write([]byte(content))
	if err := form.Close(); err != nil {
		h.t.Fatal(err)
	}
	return h.sendBody(http.MethodPost, "/money/deposits", &body, form.FormDataContentType())
}

// value of a hidden input of a form with that action.
func (h *house) hiddenOf(text, action, name string) string {
	h.t.Helper()
	found := regexp.MustCompile(`(?s)action="` + regexp.QuoteMeta(action) + `".*?name="` + name + `" value="([^"]*)"`).FindStringSubmatch(text)
	if found == nil {
		h.t.Fatalf("no form to %s carries %s", action, name)
	}
	return found[1]
}

// TestMoneyIsPostedAndPlaced posts a payer's file by the desk and gives what has no place one by hand.
func TestMoneyIsPostedAndPlaced(t *testing.T) {
	t.Parallel()
	h, payer, invoice := openForMoney(t)
	h.page("/money/deposits/new", "Lantern Mutual (invented)", "X12 820", "camt.054")
	const head = "payment_reference,paid_date,currency,total,invoice_number,claim_number,paid,reason_code,reason_text\n"
	file := head + fmt.Sprintf("D-1,2026-10-20,USD,25.00,%s,,20.00,,\nD-1,2026-10-20,USD,25.00,,,5.00,,\n", invoice.GetInvoiceNumber())
	response, text := h.upload(payer, "csv", "f-0", strings.Replace(file, "5.00,,\n", "6.00,,\n", 1))
	if response.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(text, "Nothing was posted") || h.Count("remittances") != 0 {
		t.Fatalf("a file that does not add up: %d", response.StatusCode)
	}
	response, _ = h.upload(payer, "csv", "f-1", file)
	deposit := response.Header.Get("Location")
	if response.StatusCode != http.StatusSeeOther || !strings.HasPrefix(deposit, "/money/remittances/") {
		t.Fatalf("the file: %d to %q", response.StatusCode, deposit)
	}
	text = h.page(deposit, "$5.00 has no place yet", "Place it by hand")
	place := func(number, amount, id string) (*http.Response, string) {
		return h.send(http.MethodPost, deposit+"/place", url.Values{"line": {"2"}, "invoice": {number}, "amount": {amount}, "request_id": {id}})
	}
	if line := h.hiddenOf(text, deposit+"/place", "line"); line != "2" {
		t.Errorf("the form is of line %s, want the one that waits, 2", line)
	}
	for _, c := range []struct{ number, amount, says string }{
		{"INV-999999", "5.00", "The shop has no invoice"},
		{invoice.GetInvoiceNumber(), "5.001", "&#34;5.001&#34; was given"},
		{invoice.GetInvoiceNumber(), "6.00", "Nothing was placed"},
	} {
		response, text := place(c.number, c.amount, "p-"+c.amount)
		if response.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(text, c.says) || !strings.Contains(text, `value="`+c.amount+`"`) {
			t.Errorf("%s on %s: %d, want %q and what was typed", c.amount, c.number, response.StatusCode, c.says)
		}
	}
	for range 2 { // pressed twice
		if response, text := place(invoice.GetInvoiceNumber(), "5.00", "p-1"); response.StatusCode != http.StatusSeeOther {
			t.Fatalf("placed by hand: %d: %s", response.StatusCode, text)
		}
	}
	h.page(deposit, "Nothing left over")
	after, err := h.Invoices.GetInvoice(t.Context(), &invoicesv1.GetInvoiceRequest{InvoiceId: invoice.GetInvoiceId()})
	if err != nil {
		t.Fatal(err)
	}
	if want := invoice.GetTotal().GetMinorUnits() - 2500; after.GetInvoice().GetOpen().GetMinorUnits() != want {
		t.Errorf("%d is open, want %d", after.GetInvoice().GetOpen().GetMinorUnits(), want)
	}
	h.signIn(h.Key(access.Reader))
	if text := h.page("/money"); strings.Contains(text, "/money/deposits/new") {
		t.Error("a key that only reads is offered to post")
	}
}

// TestAProfileIsChanged changes what a payer demands and pays; what is not in the form stays, and two who
// change it see each other.
func TestAProfileIsChanged(t *testing.T) {
	t.Parallel()
	h, payer, _ := openForMoney(t)
	address := "/payers/" + payer
	h.page("/payers", "Lantern Mutual (invented)", "79.95", "json by folder", `href="`+address+`"`)
	text := h.page(address, "2026", "holds today", `name="required" value="policy_number" checked`, "Store as version 2")
	form := func() url.Values {
		return url.Values{"etag": {h.hiddenOf(text, address, "etag")}, "request_id": {h.hiddenOf(text, address, "request_id")},
			"read": {strings.ReplaceAll(h.hiddenOf(text, address, "read"), "&#34;", `"`)}, "required": {"policy_number", "date_of_loss"},
			"filing_limit_days": {"60"}, "answer_days": {""}, "payment_days": {"45"}, "duplicate_window_days": {""}, "address": {"lantern-mutual"},
			"is_deductible_waived_for_repair": {"no"}, "is_mobile_work_paid": {"no"}, "is_filing_counted_from_loss": {"no"},
			"is_released_by_itself": {"no"}, "is_invoiced_together": {"no"}, "is_test": {"no"}, "telephone": {"555-0100"}}
	}
	bad := form()
	bad.Set("filing_limit_days", "sixty")
	bad.Set("telephone", "typed and kept")
	if response, said := h.send(http.MethodPost, address, bad); response.StatusCode != http.StatusUnprocessableEntity ||
		!strings.Contains(said, "&#34;sixty&#34; was given") || !strings.Contains(said, `value="typed and kept"`) {
		t.Errorf("a limit in words: %d", response.StatusCode)
	}
	bad.Set("filing_limit_days", "4000")
	if response, said := h.send(http.MethodPost, address, bad); response.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(said, "3660") {
		t.Errorf("a limit of 4000 days: %d", response.StatusCode)
	}
	if response, said := h.send(http.MethodPost, address, form()); response.StatusCode != http.StatusSeeOther {
		t.Fatalf("a change: %d: %s", response.StatusCode, said)
	}
	late := form()
	late.Set("request_id", "late")
	if response, said := h.send(http.MethodPost, address, late); response.StatusCode != http.StatusConflict || !strings.Contains(said, "Somebody changed this profile") {
		t.Errorf("a second clerk's change of the first version: %d", response.StatusCode)
	}
	answer, err := h.Payers.GetPayer(t.Context(), &payersv1.GetPayerRequest{PayerId: payer})
	if err != nil {
		t.Fatal(err)
	}
	p := answer.GetPayer().GetProfile()
	if p.GetVersion() != 2 || p.GetFilingLimitDays() != 60 || p.GetPaymentDays() != 45 || p.GetIsDeductibleWaivedForRepair() || p.GetFormat() != "json" ||
		strings.Join(p.GetRequiredFields(), " ") != "policy_number date_of_loss" || len(p.GetPriceAgreements()) != 1 {
		t.Errorf("stored: %v", p)
	}
	text = h.page(address, "Store as version 3")
	prices := url.Values{"etag": {h.hiddenOf(text, address+"/prices", "etag")}, "request_id": {"n-1"},
		"read": {strings.ReplaceAll(h.hiddenOf(text, address+"/prices", "read"), "&#34;", `"`)}, "price_key": {"2027"}, "price_from": {"2027-01-01"},
		"price_first": {"84.95"}, "price_further": {"1,5.0.0"}}
	if response, said := h.send(http.MethodPost, address+"/prices", prices); response.StatusCode != http.StatusUnprocessableEntity ||
		!strings.Contains(said, "give a sum as 79.95") || !strings.Contains(said, `value="84.95"`) {
		t.Errorf("a price that is none: %d", response.StatusCode)
	}
	prices.Set("price_further", "15.00")
	if response, said := h.send(http.MethodPost, address+"/prices", prices); response.StatusCode != http.StatusSeeOther {
		t.Fatalf("new prices: %d: %s", response.StatusCode, said)
	}
	answer, err = h.Payers.GetPayer(t.Context(), &payersv1.GetPayerRequest{PayerId: payer})
	if err != nil {
		t.Fatal(err)
	}
	all := answer.GetPayer().GetProfile().GetPriceAgreements()
	if len(all) != 2 || all[0].GetValidTo() != "2026-12-31" || all[1].GetFirstRepair().GetMinorUnits() != 8495 || all[1].GetMaxRepairs() != 3 {
		t.Errorf("price agreements: %v", all)
	}
}

// TestKeysAreMadeShownOnceAndEnded makes a key whose secret opens the desk, sends its form again, and ends it.
func TestKeysAreMadeShownOnceAndEnded(t *testing.T) {
	t.Parallel()
	h := open(t)
	h.signIn(h.OwnerKey)
	text := h.page("/keys", "Make a key", "owner")
	form := url.Values{"name": {"Evening clerk"}, "role": {"CLERK"}, "until": {"2099-12-31"}, "request_id": {h.hiddenOf(text, "/keys", "request_id")}}
	wrong := url.Values{"name": {""}, "role": {"KING"}, "until": {"tomorrow"}, "request_id": {"w-1"}}
	if response, said := h.send(http.MethodPost, "/keys", wrong); response.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(said, "&#34;tomorrow&#34; was given") {
		t.Errorf("a day that is none: %d", response.StatusCode)
	}
	wrong.Set("until", "")
	if response, said := h.send(http.MethodPost, "/keys", wrong); response.StatusCode != http.StatusUnprocessableEntity || strings.Count(said, "Not taken") != 2 {
		t.Errorf("no name and no role: %d, with %d faults beside fields", response.StatusCode, strings.Count(said, "Not taken"))
	}
	secretOf := regexp.MustCompile(`<code class="secret">([^<]+)</code>`)
	response, said := h.send(http.MethodPost, "/keys", form)
	secret := secretOf.FindStringSubmatch(said)
	if response.StatusCode != http.StatusOK || secret == nil {
		t.Fatalf("a key: %d without its secret", response.StatusCode)
	}
	if _, again := h.send(http.MethodPost, "/keys", form); secretOf.MatchString(again) || !strings.Contains(again, "its secret was shown then") {
		t.Error("the form sent again shows a secret, or does not say why not")
	}
	if text := h.page("/keys"); strings.Contains(text, secret[1]) {
		t.Error("the list shows the secret")
	}
	end := regexp.MustCompile(`href="(/keys/[0-9a-f-]{36}/end)">End it<span class="unseen">: Evening clerk`).FindStringSubmatch(h.page("/keys"))
	if end == nil {
		t.Fatal("nothing ends the key of Evening clerk")
	}
	if response := h.signIn(secret[1]); response.StatusCode != http.StatusSeeOther {
		t.Fatalf("the new key does not open the desk: %d", response.StatusCode)
	}
	if response, _ := h.send(http.MethodGet, "/keys", nil); response.StatusCode != http.StatusForbidden {
		t.Errorf("a clerk sees the keys: %d", response.StatusCode)
	}
	h.signIn(h.OwnerKey)
	review := h.page(end[1], "End the key of Evening clerk?", "within a second")
	if response, _ := h.send(http.MethodPost, end[1], url.Values{"request_id": {h.hiddenOf(review, end[1], "request_id")}}); response.StatusCode != http.StatusSeeOther {
		t.Fatalf("ended: %d", response.StatusCode)
	}
	h.page("/keys/deeds", "Key: created", "Key: revoked")
	servertest.Until(t, "the ended key opens nothing", func() bool { return h.signIn(secret[1]).StatusCode != http.StatusSeeOther })
}
