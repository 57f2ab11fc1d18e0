package demo

import (
	"context"
	"fmt"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	claimsv1 "cullet/proto/cullet/claims/v1"
	invoicesv1 "cullet/proto/cullet/invoices/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
	"cullet/services/money"
)

// dollars writes a sum for a person.
func dollars(m *moneyv1.Money) string {
	return "$" + money.From(m.GetMinorUnits(), m.GetCurrencyCode()).Decimal()
}

func (s *stage) table(columns ...any) table.Writer {
	t := table.NewWriter()
	t.SetOutputMirror(s.Out)
	style := table.StyleLight
	style.Options.DrawBorder, style.Options.SeparateColumns = false, false
	style.Format.Header, style.Format.Footer = text.FormatDefault, text.FormatDefault
	t.SetStyle(style)
	t.AppendHeader(columns)
	return t
}

// show prints how things stand: claims by state with their money, what needs a person, and why.
func (s *stage) show(ctx context.Context) error {
	all, err := s.claims(ctx)
	if err != nil {
		return err
	}
	s.say("\nClaims by state")
	t := s.table("State", "Claims", "Asked of payers", "Still open")
	t.SetColumnConfigs([]table.ColumnConfig{{Number: 2, Align: text.AlignRight, AlignFooter: text.AlignRight},
		{Number: 3, Align: text.AlignRight, AlignFooter: text.AlignRight}, {Number: 4, Align: text.AlignRight, AlignFooter: text.AlignRight}})
	count, asked, open := 0, int64(0), int64(0)
	for state := claimsv1.State_STATE_DRAFT; state <= claimsv1.State_STATE_WITHDRAWN; state++ {
		n, sum, left := 0, int64(0), int64(0)
		for _, c := range all {
			if c.GetState() == state {
				n++
				sum += c.GetPayerShare().GetMinorUnits()
				left += c.GetOpen().GetMinorUnits()
			}
		}
		if n > 0 {
			t.AppendRow(table.Row{words(state.String()), n, dollars(usd(sum)), dollars(usd(left))})
		}
		count, asked, open = count+n, asked+sum, open+left
	}
	t.AppendFooter(table.Row{"together", count, dollars(usd(asked)), dollars(usd(open))})
	t.Render()
	if err := s.showMoney(ctx); err != nil {
		return err
	}
	return s.showTasks(ctx)
}

func words(state string) string {
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(state, "STATE_"), "_", " "))
}

// claims reads every claim, whole.
func (s *stage) claims(ctx context.Context) ([]*claimsv1.Claim, error) {
	var all []*claimsv1.Claim
	for token := ""; ; {
		page, err := s.client.Claims.ListClaims(ctx, &claimsv1.ListClaimsRequest{PageSize: 200, PageToken: token})
		if err != nil {
			return nil, err
		}
		for _, c := range page.GetClaims() {
			whole, err := s.client.Claims.GetClaim(ctx, &claimsv1.GetClaimRequest{ClaimId: c.GetClaimId()})
			if err != nil {
				return nil, err
			}
			all = append(all, whole.GetClaim())
		}
		if token = page.GetNextPageToken(); token == "" {
			return all, nil
		}
	}
}

func (s *stage) showMoney(ctx context.Context) error {
	aging, err := s.client.Invoices.GetAging(ctx, &invoicesv1.GetAgingRequest{})
	if err != nil {
		return err
	}
	s.say("\nOwed to the shop")
	t := s.table("Debtor", "Not due", "Past due", "Together")
	rightFrom(t, 2, 4)
	for _, row := range aging.GetRows() {
		past := row.GetTotal().GetMinorUnits() - row.GetBuckets()[0].GetMinorUnits()
		t.AppendRow(table.Row{row.GetDebtorName(), dollars(row.GetBuckets()[0]), dollars(usd(past)), dollars(row.GetTotal())})
	}
	t.AppendFooter(table.Row{"the journal says " + dollars(aging.GetJournalTotal()), "", "", dollars(aging.GetTotal())})
	t.Render()
	return nil
}

func rightFrom(t table.Writer, first, last int) {
	var all []table.ColumnConfig
	for n := first; n <= last; n++ {
		all = append(all, table.ColumnConfig{Number: n, Align: text.AlignRight, AlignHeader: text.AlignRight, AlignFooter: text.AlignRight})
	}
	t.SetColumnConfigs(all)
}

// showTasks prints what needs a person, by reason, with one example each.
func (s *stage) showTasks(ctx context.Context) error {
	answer, err := s.client.Claims.ListTasks(ctx, &claimsv1.ListTasksRequest{PageSize: 500})
	if err != nil {
		return err
	}
	s.say("\nWhat needs a person")
	t := s.table("Why", "How many", "At stake", "The most urgent")
	t.SetColumnConfigs([]table.ColumnConfig{{Number: 2, Align: text.AlignRight}, {Number: 3, Align: text.AlignRight},
		{Number: 4, WidthMax: 90, WidthMaxEnforcer: text.WrapSoft}})
	for _, g := range answer.GetGroups() {
		example := ""
		for _, task := range answer.GetTasks() {
			if task.GetReason() == g.GetReason() {
				example = strings.TrimSpace(fmt.Sprintf("%s %s", task.GetClaimNumber(), task.GetSentence()))
				break
			}
		}
		t.AppendRow(table.Row{words(g.GetReason()), g.GetTaskCount(), dollars(usd(g.GetMinorUnits())), example})
	}
	t.Render()
	return nil
}

// showWayOn says where to look further.
func (s *stage) showWayOn() {
	s.say(`
The shop is running. Everything in it is invented.
  The desk          http://%s/
  JSON over HTTP    http://%s/v1/tasks
  gRPC              %s
  The owner's key   %s
Sign in at the desk with the key.

Look further:
  cullet --server %s --key ... tasks
  curl -H "Authorization: Bearer ..." http://%s/v1/claims?filter=state+%%3D+DENIED

Tax rates and repair limits are configuration with sources and dates. Confirm tax with a licensed
adviser; the printed repair standard and the vehicle maker's instructions come first.
Ctrl-C stops it.`, s.where.HTTP, s.where.HTTP, s.where.GRPC, s.key, s.where.GRPC, s.where.HTTP)
}
