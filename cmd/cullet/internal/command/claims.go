package command

import (
	"fmt"

	claimsv1 "cullet/proto/cullet/claims/v1"
)

type tasksCommand struct {
	Reason string `help:"Only tasks of this reason, such as STOPPED or SHORT_PAID."`
}

// Run lists what needs a person, what costs most to wait first. Exit code 4 when there is any.
func (c *tasksCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	answer, err := server.Claims.ListTasks(w, &claimsv1.ListTasksRequest{Reason: c.Reason})
	if err != nil {
		return err
	}
	if w.globals.JSON {
		return w.printJSON(answer)
	}
	if len(answer.GetTasks()) == 0 {
		fmt.Fprintln(w.out, "Nothing needs you.")
		return nil
	}
	t := w.newTable("Why", "Claim", "Motorist", "Payer", "At stake", "By", "What to do")
	right(t, 5)
	for _, task := range answer.GetTasks() {
		t.AppendRow([]any{stateWords(task.GetReason(), ""), task.GetClaimNumber(), task.GetMotoristName(), task.GetPayerName(),
			sum(task.GetAmount()), task.GetDueDate(), task.GetSentence()})
	}
	t.Render()
	return &failure{exitFindings, fmt.Errorf("tasks that need a person: %d", len(answer.GetTasks()))}
}

type claimsCommand struct {
	Filter string `help:"Filter such as 'state = READY AND payer_code = \"lantern-mutual\"'."`
	Number string `arg:"" optional:"" help:"Number of a claim to show whole, such as C-000123."`
}

// Run lists claims, or shows one.
func (c *claimsCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	filter := c.Filter
	if c.Number != "" {
		filter = fmt.Sprintf("claim_number = %q", c.Number)
	}
	answer, err := server.Claims.ListClaims(w, &claimsv1.ListClaimsRequest{Filter: filter, PageSize: 200})
	if err != nil {
		return err
	}
	if c.Number != "" && len(answer.GetClaims()) == 1 {
		one, err := server.Claims.GetClaim(w, &claimsv1.GetClaimRequest{ClaimId: answer.GetClaims()[0].GetClaimId()})
		if err != nil {
			return err
		}
		return w.printClaim(one)
	}
	if w.globals.JSON {
		return w.printJSON(answer)
	}
	t := w.newTable("Claim", "State", "Repaired", "Motorist", "Payer", "Total", "Invoice")
	right(t, 6)
	for _, claim := range answer.GetClaims() {
		t.AppendRow([]any{claim.GetClaimNumber(), stateWords(claim.GetState().String(), "STATE_"), claim.GetRepairDate(),
			claim.GetMotoristName(), claim.GetPayerName(), sum(claim.GetTotal()), claim.GetInvoiceNumber()})
	}
	t.Render()
	return nil
}

func (w *world) printClaim(one *claimsv1.GetClaimResponse) error {
	if w.globals.JSON {
		return w.printJSON(one)
	}
	claim := one.GetClaim()
	fmt.Fprintf(w.out, "%s on %s, %s, repaired %s for %s: %s\n", claim.GetClaimNumber(), claim.GetPayerName(),
		stateWords(claim.GetState().String(), "STATE_"), claim.GetRepairDate(), claim.GetMotoristName(), sum(claim.GetTotal()))
	for _, f := range claim.GetFindings() {
		fmt.Fprintf(w.out, "\n%s %s at %s\n  %s\n  %s\n  Source: %s (%s)\n", stateWords(f.GetSeverity().String(), "SEVERITY_"),
			f.GetCode(), f.GetPath(), f.GetSentence(), f.GetFix(), f.GetSource().GetCitation(), f.GetSource().GetKnown())
	}
	if len(claim.GetLines()) > 0 {
		fmt.Fprintln(w.out)
		t := w.newTable("Line", "Net", "Tax", "Why")
		right(t, 2, 3)
		for _, line := range claim.GetLines() {
			why := line.GetPriceReason()
			for _, tax := range line.GetTaxes() {
				why += "\n" + tax.GetRule()
			}
			t.AppendRow([]any{line.GetDescription(), sum(line.GetNet()), sum(line.GetTax()), why})
		}
		t.Render()
	}
	fmt.Fprintln(w.out)
	for _, e := range one.GetTimeline() {
		fmt.Fprintf(w.out, "%s  %s (%s)\n", e.GetOccurTime().AsTime().Format("2006-01-02 15:04"), e.GetSentence(), e.GetActor())
	}
	return nil
}

type releaseCommand struct {
	Filter string `help:"Which ready claims; all when empty." default:""`
	DryRun bool   `help:"Only say which." name:"dry-run"`
}

// Run releases ready claims.
func (c *releaseCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	filter := "state = READY AND is_held = false"
	if c.Filter != "" {
		filter += " AND " + c.Filter
	}
	answer, err := server.Claims.ListClaims(w, &claimsv1.ListClaimsRequest{Filter: filter, PageSize: 200})
	if err != nil {
		return err
	}
	if len(answer.GetClaims()) == 0 {
		fmt.Fprintln(w.out, "No claim is ready.")
		return nil
	}
	if c.DryRun {
		for _, claim := range answer.GetClaims() {
			fmt.Fprintf(w.out, "would release %s, %s, %s\n", claim.GetClaimNumber(), claim.GetPayerName(), sum(claim.GetPayerShare()))
		}
		return nil
	}
	var ids []string
	for _, claim := range answer.GetClaims() {
		ids = append(ids, claim.GetClaimId())
	}
	released, err := server.Claims.ReleaseClaims(w, &claimsv1.ReleaseClaimsRequest{ClaimIds: ids, RequestId: w.globals.RequestID})
	if err != nil {
		return err
	}
	if w.globals.JSON {
		return w.printJSON(released)
	}
	for _, r := range released.GetResults() {
		fmt.Fprintln(w.out, r.GetInvoiceNumber(), r.GetReason())
	}
	return nil
}
