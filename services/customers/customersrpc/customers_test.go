package customersrpc_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	accessv1 "cullet/proto/cullet/access/v1"
	customersv1 "cullet/proto/cullet/customers/v1"
	"cullet/services/errs"
	"cullet/services/server/servertest"
)

func fleet() *customersv1.Customer {
	return &customersv1.Customer{Name: "Three Rivers Parcel (invented)", Telephone: "614-555-0110", Email: "fleet@parcel.example",
		Address: &accessv1.Address{Street: "1 Depot Road", City: "Covington", State: "KY", CountryCode: "US"},
		Certificates: []*customersv1.Certificate{{Number: "KY-7", Jurisdiction: "US-KY", Reason: "RESALE",
			ValidFrom: "2026-01-01", ValidTo: "2026-12-31"}}}
}

func TestACustomerComesBackAsItWasSent(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	ctx := t.Context()
	request := &customersv1.CreateCustomerRequest{Customer: fleet(), RequestId: "customer-1"}
	made, err := w.Customers.CreateCustomer(ctx, request)
	if err != nil {
		t.Fatal(err)
	}
	again, err := w.Customers.CreateCustomer(ctx, request)
	if err != nil || !proto.Equal(made, again) || w.Count("customers") != 1 {
		t.Errorf("the repetition: %v, %v, %d customers; want the first answer and one", again, err, w.Count("customers"))
	}
	id := made.GetCustomer().GetCustomerId()
	read, err := w.Customers.GetCustomer(ctx, &customersv1.GetCustomerRequest{CustomerId: id})
	if err != nil {
		t.Fatal(err)
	}
	want := fleet()
	want.CustomerId = id
	if diff := cmp.Diff(want, read.GetCustomer(), protocmp.Transform()); diff != "" {
		t.Errorf("customer (-sent +stored):\n%s", diff)
	}
	_, other := w.OtherShop()
	for name, missing := range map[string]string{"another shop's": id, "nobody's": "0197c7d0-5f1e-7000-8000-000000000001", "no id": "7"} {
		_, err := other.Customers.GetCustomer(ctx, &customersv1.GetCustomerRequest{CustomerId: missing})
		if !errs.Is(err, errs.NotFound) {
			t.Errorf("%s: %v, want NotFound", name, err)
		}
	}
}

func TestCustomersAreListedByName(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	for _, name := range []string{"C", "A", "B", "A", "E"} {
		_, err := w.Customers.CreateCustomer(t.Context(), &customersv1.CreateCustomerRequest{
			Customer: &customersv1.Customer{Name: name}})
		if err != nil {
			t.Fatal(err)
		}
	}
	var names strings.Builder
	token := ""
	for {
		page, err := w.Customers.ListCustomers(t.Context(), &customersv1.ListCustomersRequest{PageSize: 2, PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range page.GetCustomers() {
			names.WriteString(c.GetName())
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	if names.String() != "AABCE" {
		t.Errorf("names = %s, want AABCE", names.String())
	}
}

func TestCustomersAreChecked(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	customer := fleet()
	customer.Telephone, customer.Email = strings.Repeat("5", 41), "fleet"
	customer.Address.CountryCode = "United States"
	customer.Certificates = []*customersv1.Certificate{{}, {Number: "1", Jurisdiction: "US-OH", Reason: "RESALE",
		ValidFrom: "2026-02-01", ValidTo: "2026-01-01"}}
	_, err := w.Customers.CreateCustomer(t.Context(), &customersv1.CreateCustomerRequest{Customer: customer})
	var known *errs.Error
	if !errors.As(err, &known) {
		t.Fatal(err)
	}
	var got []string
	for _, f := range known.Fields {
		got = append(got, f.Path+" "+f.Reason)
	}
	want := []string{"customer.telephone TOO_LARGE", "customer.email FORM", "customer.address.country_code FORM",
		"customer.certificates[0].number FORM", "customer.certificates[0].jurisdiction FORM",
		"customer.certificates[0].reason UNKNOWN_VALUE", "customer.certificates[0].valid_from NOT_A_DAY",
		"customer.certificates[1].valid_to CONTRADICTION"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("faults (-want +got):\n%s", diff)
	}
}
