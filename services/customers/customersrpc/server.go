// Package customersrpc serves cullet.customers.v1.CustomerService.
//
// It refuses certificates without number, jurisdiction or reason: tax is not waived on a guess.
package customersrpc

import (
	"context"
	"fmt"
	"strings"
	"time"

	customersv1 "cullet/proto/cullet/customers/v1"
	"cullet/services/customers"
	"cullet/services/customers/customerspg"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/tax"
)

// Server serves the room. It is safe for concurrent use.
type Server struct {
	customersv1.UnimplementedCustomerServiceServer
	db    *pg.DB
	pages *rpc.Pager
	now   func() time.Time
}

// New makes the server.
func New(db *pg.DB, pages *rpc.Pager, now func() time.Time) *Server {
	return &Server{db: db, pages: pages, now: now}
}

// CreateCustomer adds a customer.
func (s *Server) CreateCustomer(
	ctx context.Context, req *customersv1.CreateCustomerRequest,
) (*customersv1.CreateCustomerResponse, error) {
	customer := fromCustomer(req.GetCustomer())
	faults := rpc.Validate("customer", customer)
	for i, c := range customer.Certificates {
		faults = append(faults, checkCertificate(fmt.Sprintf("customer.certificates[%d].", i), c)...)
	}
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	customer.ID, customer.Shop = ident.New[ident.Customer](), rpc.CallerFrom(ctx).Shop
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*customersv1.CreateCustomerResponse, error) {
		if err := customerspg.Insert(ctx, tx, customer, s.now().UTC()); err != nil {
			return nil, err
		}
		err := outbox.Audit(ctx, tx, outbox.AuditEntry{OccurTime: s.now(), Actor: rpc.CallerFrom(ctx).Name,
			Action: "customer.created", SubjectKind: "customer", SubjectID: string(customer.ID)})
		return &customersv1.CreateCustomerResponse{Customer: toCustomer(customer)}, err
	})
}

// reasons are what a certificate may prove.
var reasons = []string{string(tax.ExemptGovernment), string(tax.Resale), string(tax.ExemptOther)}

func checkCertificate(path string, c tax.Certificate) (faults []errs.Field) {
	fault := func(field, reason, message string, args ...any) {
		faults = append(faults, errs.Field{Path: path + field, Reason: reason, Message: fmt.Sprintf(message, args...)})
	}
	for _, needed := range []struct {
		field, given string
		most         int
	}{{"number", c.Number, 60}, {"jurisdiction", c.Jurisdiction, 20}} {
		if n := len([]rune(needed.given)); n == 0 || n > needed.most {
			fault(needed.field, "FORM", "%d characters were given; give 1 to %d, as they stand on the certificate", n, needed.most)
		}
	}
	switch tax.BuyerStatus(c.Reason) {
	case tax.ExemptGovernment, tax.Resale, tax.ExemptOther:
	default:
		fault("reason", "UNKNOWN_VALUE", "%q was given; allowed are %s", c.Reason, strings.Join(reasons, ", "))
	}
	isValid := true
	for _, day := range []struct{ field, given string }{{"valid_from", c.ValidFrom}, {"valid_to", c.ValidTo}} {
		if _, err := time.Parse(time.DateOnly, day.given); err != nil && (day.given != "" || day.field == "valid_from") {
			isValid = false
			fault(day.field, "NOT_A_DAY", "%q was given; give a day that exists, as year-month-day: \"2026-10-20\"", day.given)
		}
	}
	if isValid && c.ValidTo != "" && c.ValidTo < c.ValidFrom {
		fault("valid_to", "CONTRADICTION", "%s was given and the first day is %s; give the same day or a later one, or "+
			"leave it out while the end is open", c.ValidTo, c.ValidFrom)
	}
	return faults
}

// GetCustomer gives one customer.
func (s *Server) GetCustomer(
	ctx context.Context, req *customersv1.GetCustomerRequest,
) (*customersv1.GetCustomerResponse, error) {
	id, ok := ident.Parse[ident.Customer](req.GetCustomerId())
	if !ok {
		return nil, errs.Missing("customer", req.GetCustomerId())
	}
	var customer customers.Customer
	err := pg.Read(ctx, s.db, rpc.CallerFrom(ctx).Shop, func(ctx context.Context, tx *pg.Tx) (err error) {
		customer, err = customerspg.Get(ctx, tx, id)
		return err
	})
	if err != nil {
		return nil, err
	}
	return &customersv1.GetCustomerResponse{Customer: toCustomer(customer)}, nil
}

const smallestID = "00000000-0000-0000-0000-000000000000"

// ListCustomers lists customers by name.
func (s *Server) ListCustomers(
	ctx context.Context, req *customersv1.ListCustomersRequest,
) (*customersv1.ListCustomersResponse, error) {
	page, err := s.pages.Open(ctx, req, rpc.Usual)
	if err != nil {
		return nil, err
	}
	name, id := "", ident.Customer(smallestID)
	if len(page.After) == 2 {
		name, id = page.After[0], ident.Customer(page.After[1])
	}
	var all []customers.Customer
	err = pg.Read(ctx, s.db, rpc.CallerFrom(ctx).Shop, func(ctx context.Context, tx *pg.Tx) (err error) {
		all, err = customerspg.List(ctx, tx, name, id, page.Size+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	all, hasMore := rpc.Cut(all, page)
	resp := &customersv1.ListCustomersResponse{}
	for _, c := range all {
		resp.Customers = append(resp.Customers, toCustomer(c))
		name, id = c.Name, c.ID
	}
	resp.NextPageToken, err = page.Next(hasMore, name, string(id))
	return resp, err
}

func toCustomer(c customers.Customer) *customersv1.Customer {
	message := &customersv1.Customer{CustomerId: string(c.ID), Name: c.Name, Telephone: c.Telephone, Email: c.Email,
		Address: wire.ToAddress(c.Address)}
	for _, k := range c.Certificates {
		message.Certificates = append(message.Certificates, &customersv1.Certificate{Number: k.Number,
			Jurisdiction: k.Jurisdiction, Reason: k.Reason, ValidFrom: k.ValidFrom, ValidTo: k.ValidTo})
	}
	return message
}

func fromCustomer(m *customersv1.Customer) customers.Customer {
	c := customers.Customer{Name: m.GetName(), Telephone: m.GetTelephone(), Email: m.GetEmail(),
		Address: wire.FromAddress(m.GetAddress())}
	for _, k := range m.GetCertificates() {
		c.Certificates = append(c.Certificates, tax.Certificate{Number: k.GetNumber(), Jurisdiction: k.GetJurisdiction(),
			Reason: k.GetReason(), ValidFrom: k.GetValidFrom(), ValidTo: k.GetValidTo()})
	}
	return c
}
