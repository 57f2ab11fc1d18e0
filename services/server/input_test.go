package server_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	spb "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/testing/protocmp"

	accessv1 "cullet/proto/cullet/access/v1"
	customersv1 "cullet/proto/cullet/customers/v1"
	"cullet/services/client"
	"cullet/services/errs"
	"cullet/services/server/servertest"
)

// post sends a body and gives the HTTP status with the error in it.
func post(t *testing.T, w *servertest.World, path string, body io.Reader) (int, *spb.Status) {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), http.MethodPost, w.URL(path), body)
	if err != nil {
		t.Fatal(err)
	}
	return read(t, w.HTTP(request))
}

func read(t *testing.T, response *http.Response) (int, *spb.Status) {
	t.Helper()
	text, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	answer := &spb.Status{}
	if response.StatusCode != http.StatusOK {
		if err := protojson.Unmarshal(text, answer); err != nil {
			t.Fatalf("the body of %d is no status: %v\n%s", response.StatusCode, err, text)
		}
	}
	return response.StatusCode, answer
}

// faultsIn gives "path REASON" of each violation in a status.
func faultsIn(t *testing.T, s *status.Status) (all []string) {
	t.Helper()
	for _, detail := range s.Details() {
		if bad, ok := detail.(*errdetails.BadRequest); ok {
			for _, v := range bad.GetFieldViolations() {
				all = append(all, v.GetField()+" "+v.GetReason())
				if v.GetDescription() == "" {
					t.Errorf("%s has no description", v.GetField())
				}
			}
		}
	}
	return all
}

func TestJSONThatDoesNotFit(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	before := w.Count("customers")
	for _, test := range []struct {
		name, body string
		want       []string
	}{
		{"unknown fields", `{"customer": {"name": "A", "nmae": "B", "address": {"zip": "1"}}, "x": 1}`,
			[]string{"customer.nmae UNKNOWN_FIELD", "customer.address.zip UNKNOWN_FIELD", "x UNKNOWN_FIELD"}},
		{"wrong case", `{"Customer": {"name": "A"}}`, []string{"Customer UNKNOWN_FIELD", "customer REQUIRED"}},
		{"wrong types", `{"customer": {"name": 7, "address": "here", "certificates": {"number": "1"}}, "requestId": true}`,
			[]string{"customer.name WRONG_TYPE", "customer.address WRONG_TYPE", "customer.certificates WRONG_TYPE",
				"request_id WRONG_TYPE"}},
		{"a wrong item keeps the others' numbers", `{"customer": {"name": "A", "certificates": ["x", {"number": 5}]}}`,
			[]string{"customer.certificates[0] WRONG_TYPE", "customer.certificates[1].number WRONG_TYPE"}},
		{"types and the rest at once", `{"customer": {"name": "A\u0000", "telephone": 5}, "request_id": "a b"}`,
			[]string{"customer.telephone WRONG_TYPE", "customer.name UNWANTED_CHARACTER", "request_id UNWANTED_CHARACTER"}},
		{"twice", `{"customer": {"name": "A", "name": "B"}}`, []string{"customer.name REPEATED"}},
		{"missing", `{}`, []string{"customer REQUIRED"}},
		{"nothing", ``, []string{"customer REQUIRED"}},
		{"a list", `[]`, []string{"request NOT_JSON"}},
		{"broken off", `{"customer": {"name": "A"`, []string{"request NOT_JSON"}},
		{"two", `{}{}`, []string{"request NOT_JSON"}},
		{"no UTF-8", "{\"customer\": {\"name\": \"A\xff\"}}", []string{"request NOT_UTF8"}},
		{"very deep", strings.Repeat(`{"customer":`, 5000), []string{"request NOT_JSON"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			code, answer := post(t, w, "/v1/customers", strings.NewReader(test.body))
			s := status.FromProto(answer)
			if got := w.Count("customers"); got != before {
				t.Errorf("%d customers were stored by a request that was refused", got-before)
			}
			if code != http.StatusBadRequest || s.Code() != codes.InvalidArgument {
				t.Fatalf("%d %s %s", code, s.Code(), s.Message())
			}
			if diff := cmp.Diff(test.want, faultsIn(t, s)); diff != "" {
				t.Errorf("faults (-want +got):\n%s", diff)
			}
		})
	}
}

func TestAmountsWithDecimals(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	_, answer := post(t, w, "/v1/tax:quote", strings.NewReader(`{"place": {"countryCode": "US", "state": "OH"},
		"lines": [{"kind": "REPAIR_LABOR", "amount": {"minorUnits": 89.955, "currencyCode": "USD"}},
		          {"kind": "REPAIR_LABOR", "amount": {"minorUnits": "12.5", "currencyCode": "usd"}}]}`))
	want := []string{"lines[0].amount.minor_units WRONG_TYPE", "lines[1].amount.minor_units WRONG_TYPE"}
	if diff := cmp.Diff(want, faultsIn(t, status.FromProto(answer))); diff != "" {
		t.Errorf("faults (-want +got):\n%s", diff)
	}
}

func TestHugeBodies(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	t.Run("JSON", func(t *testing.T) {
		t.Parallel()
		body := `{"customer": {"name": "` + strings.Repeat("x", 50<<20) + `"}}`
		code, answer := post(t, w, "/v1/customers", strings.NewReader(body))
		got := faultsIn(t, status.FromProto(answer))
		if diff := cmp.Diff([]string{"request TOO_LARGE"}, got); diff != "" || code != http.StatusBadRequest {
			t.Errorf("%d, faults (-want +got):\n%s", code, diff)
		}
	})
	t.Run("gRPC", func(t *testing.T) {
		t.Parallel()
		_, err := w.Customers.CreateCustomer(t.Context(), &customersv1.CreateCustomerRequest{
			Customer: &customersv1.Customer{Name: strings.Repeat("x", 50<<20)}})
		if !errs.Is(err, errs.Exhausted) {
			t.Errorf("error = %v, want Exhausted", err)
		}
	})
}

func TestQueriesThatDoNotFit(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	for _, test := range []struct {
		path string
		want []string
	}{
		{"/v1/customers?pageSize=ten&colour=red", []string{"colour UNKNOWN_FIELD", "page_size WRONG_TYPE"}},
		{"/v1/customers?page_size=-1", []string{"page_size OUT_OF_RANGE"}},
		{"/v1/customers?pageToken=abc", []string{"page_token PAGE_TOKEN"}},
		{"/v1/claims?filter=colour%20%3D%20red", []string{"filter FILTER"}},
	} {
		t.Run(test.path, func(t *testing.T) {
			t.Parallel()
			request, err := http.NewRequestWithContext(t.Context(), http.MethodGet, w.URL(test.path), nil)
			if err != nil {
				t.Fatal(err)
			}
			code, answer := read(t, w.HTTP(request))
			if diff := cmp.Diff(test.want, faultsIn(t, status.FromProto(answer))); diff != "" || code != http.StatusBadRequest {
				t.Errorf("%d, faults (-want +got):\n%s", code, diff)
			}
		})
	}
}

// bytesCodec sends bytes as they are, as a client does that encodes by hand.
type bytesCodec struct{}

func (bytesCodec) Name() string                  { return "proto" }
func (bytesCodec) Marshal(v any) ([]byte, error) { return v.([]byte), nil }
func (bytesCodec) Unmarshal(_ []byte, _ any) error {
	return errors.New("an answer came where an error was expected")
}

func TestBytesThatAreNoMessage(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	conn := w.Raw()
	for _, test := range []struct {
		name  string
		bytes string
		want  []string
	}{
		{"not UTF-8", "\x0a\x05\x12\x03A\xffB", []string{"customer.name NOT_UTF8"}},
		{"breaks off", "\x0a\x7f\x12", []string{"request MALFORMED"}},
		{"unknown field", "\x0a\x03\x12\x01A\x98\x06\x01", []string{"#99 UNKNOWN_FIELD"}},
		{"wrong wire type", "\x0a\x03\x12\x01A\x10\x01", []string{"#2 UNKNOWN_FIELD"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			err := conn.Invoke(as(t.Context(), w.OwnerKey), "/cullet.customers.v1.CustomerService/CreateCustomer",
				[]byte(test.bytes), &bytes.Buffer{}, grpc.ForceCodec(bytesCodec{}))
			s := status.Convert(err)
			if s.Code() != codes.InvalidArgument {
				t.Fatalf("%s: %s", s.Code(), s.Message())
			}
			if diff := cmp.Diff(test.want, faultsIn(t, s)); diff != "" {
				t.Errorf("faults (-want +got):\n%s", diff)
			}
		})
	}
}

// The two doors answer the same fault in the same bytes of the same message.
func TestJSONAnswersAsGRPCDoes(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	request := &customersv1.CreateCustomerRequest{Customer: &customersv1.Customer{Name: strings.Repeat("n", 300),
		Email: "nobody", Certificates: []*customersv1.Certificate{{Number: "1", Jurisdiction: "OH", Reason: "NONE"}}}}
	_, err := customersv1.NewCustomerServiceClient(w.Raw()).CreateCustomer(as(t.Context(), w.OwnerKey), request)
	body, marshalErr := protojson.Marshal(request)
	if marshalErr != nil {
		t.Fatal(marshalErr)
	}
	_, answer := post(t, w, "/v1/customers", bytes.NewReader(body))
	if diff := cmp.Diff(status.Convert(err).Proto(), answer, protocmp.Transform()); diff != "" {
		t.Errorf("gRPC and JSON differ (-gRPC +JSON):\n%s", diff)
	}
	want := []string{"customer.name TOO_LARGE", "customer.email FORM", "customer.certificates[0].reason UNKNOWN_VALUE",
		"customer.certificates[0].valid_from NOT_A_DAY"}
	if diff := cmp.Diff(want, faultsIn(t, status.Convert(err))); diff != "" {
		t.Errorf("faults (-want +got):\n%s", diff)
	}
}

func TestManyFaultsOverTheWire(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	for _, n := range []int{1, 55, 999} {
		customer := &customersv1.Customer{Name: "A"}
		for range n {
			customer.Certificates = append(customer.Certificates, &customersv1.Certificate{Number: "\x01"})
		}
		_, err := w.Customers.CreateCustomer(t.Context(), &customersv1.CreateCustomerRequest{Customer: customer})
		var known *errs.Error
		if !errors.As(err, &known) || known.Detail["violation_count"] != fmt.Sprint(n) {
			t.Errorf("%d faults: %v (count %q)", n, err, known.Detail["violation_count"])
		}
	}
}

// What JSON cannot carry to a field is counted as exactly, up to as many as anybody could mean.
func TestManyFaultsInJSON(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	for _, test := range []struct {
		faults int
		count  string
		first  string
	}{{1, "1", "customer.certificates[0]"}, {55, "55", "customer.certificates[0]"}, {1000, "1000", "customer.certificates[0]"},
		{2500, "2001", "request"}} {
		body := `{"customer": {"name": "A", "certificates": [7` + strings.Repeat(",7", test.faults-1) + `]}}`
		code, answer := post(t, w, "/v1/customers", strings.NewReader(body))
		var known *errs.Error
		if err := client.Restore(status.ErrorProto(answer)); !errors.As(err, &known) || code != http.StatusBadRequest {
			t.Fatalf("%d faults: %d %v", test.faults, code, err)
		}
		if got := known.Detail["violation_count"]; got != test.count || known.Fields[0].Path != test.first {
			t.Errorf("%d faults: %s are counted, the first of %s; want %s and %s", test.faults, got, known.Fields[0].Path, test.count, test.first)
		}
		if !strings.Contains(known.Fields[0].Message, "2500") && test.first == "request" {
			t.Errorf("%d faults: it says %q", test.faults, known.Fields[0].Message)
		}
	}
}

func TestPathsAndVerbsThatNobodyServes(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	for _, test := range []struct {
		method, path string
		code         int
		reason       string
	}{
		{http.MethodGet, "/v1/nothing", http.StatusNotFound, "UNKNOWN_PATH"},
		{http.MethodDelete, "/v1/shop", http.StatusMethodNotAllowed, "WRONG_VERB"},
	} {
		request, err := http.NewRequestWithContext(t.Context(), test.method, w.URL(test.path), nil)
		if err != nil {
			t.Fatal(err)
		}
		code, answer := read(t, w.HTTP(request))
		var info *errdetails.ErrorInfo
		for _, detail := range status.FromProto(answer).Details() {
			if found, ok := detail.(*errdetails.ErrorInfo); ok {
				info = found
			}
		}
		if code != test.code || info.GetReason() != test.reason {
			t.Errorf("%s %s: %d %s, want %d %s", test.method, test.path, code, info.GetReason(), test.code, test.reason)
		}
	}
}

func TestWhatIsServedBesideTheAPI(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	response, err := http.Get(w.URL("/openapi.json"))
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	var document struct {
		OpenAPI string                    `json:"openapi"`
		Paths   map[string]map[string]any `json:"paths"`
	}
	if err := json.NewDecoder(response.Body).Decode(&document); err != nil {
		t.Fatal(err)
	}
	if document.Paths["/v1/shop"]["get"] == nil {
		t.Errorf("the OpenAPI document (%s) does not describe GET /v1/shop", document.OpenAPI)
	}
	health, err := http.Get(w.URL("/healthz"))
	if err != nil || health.StatusCode != http.StatusOK {
		t.Errorf("/healthz: %v %v", health, err)
	}
	request, err := http.NewRequestWithContext(t.Context(), http.MethodGet, w.URL("/v1/shop"), nil)
	if err != nil {
		t.Fatal(err)
	}
	answer := &accessv1.GetShopResponse{}
	text, err := io.ReadAll(w.HTTP(request).Body)
	if err != nil || protojson.Unmarshal(text, answer) != nil || answer.GetShop().GetShopId() != string(w.Shop) {
		t.Errorf("GET /v1/shop: %s, %v", text, err)
	}
}
