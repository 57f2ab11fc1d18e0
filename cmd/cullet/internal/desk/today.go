package desk

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	claimsv1 "cullet/proto/cullet/claims/v1"
	invoicesv1 "cullet/proto/cullet/invoices/v1"
	runsv1 "cullet/proto/cullet/runs/v1"
)

const (
	// maxTasks is how many tasks are asked for at once, rowsShown how many of one reason are shown
	// before the list is cut, cameShown how many messages.
	maxTasks  = 500
	rowsShown = 10
	cameShown = 6
)

// showToday is the worklist: what needs a person, and beside it the last run, what came back and
// money without a place. With ?reason= it is the whole list of one reason.
func showToday(v *visit) error {
	if word := v.r.FormValue("reason"); word != "" {
		return showReason(v, parseReasonWord(word))
	}
	tasks, err := v.Claims.ListTasks(v.ctx(), &claimsv1.ListTasksRequest{PageSize: maxTasks})
	if err != nil {
		return err
	}
	view := page.Today{Groups: groupsOf(v.voice, tasks), Lead: todayLead(v.voice, tasks)}
	if err := beside(v, &view, tasks.GetTasks()); err != nil {
		return err
	}
	view.Head = v.head("Today", page.HereToday)
	return v.show(http.StatusOK, page.TodayPage(view))
}

// showReason is one reason, page by page.
func showReason(v *visit, name string) error {
	tasks, err := v.Claims.ListTasks(v.ctx(), &claimsv1.ListTasksRequest{Reason: name, PageSize: 100, PageToken: v.r.FormValue("page")})
	if err != nil {
		return err
	}
	view := page.Today{Back: true}
	g := page.Group{ID: "g-" + reasonWord(name), Title: reasonOfTask(name).title, Note: reasonOfTask(name).note}
	for _, t := range tasks.GetTasks() {
		g.Rows = append(g.Rows, rowOf(v.voice, t))
	}
	count := 0
	for _, of := range tasks.GetGroups() {
		if of.GetReason() == name {
			count, g.Sum = int(of.GetTaskCount()), v.voice.Column(v.voice.Money(of.GetMinorUnits()))
		}
	}
	view.Lead = page.Lead{Strong: say.Capital(say.Number(count)) + " of one reason:", Rest: strings.ToLower(g.Title[:1]) + g.Title[1:] + "."}
	if count > 0 {
		view.Groups = []page.Group{g}
	}
	if token := tasks.GetNextPageToken(); token != "" {
		view.Next = "/?" + url.Values{"reason": {reasonWord(name)}, "page": {token}}.Encode()
	}
	if err := beside(v, &view, tasks.GetTasks()); err != nil {
		return err
	}
	view.Head = v.head(g.Title, page.HereToday)
	return v.show(http.StatusOK, page.TodayPage(view))
}

// groupsOf groups the tasks by reason, in the order of the server.
func groupsOf(v *say.Voice, answer *claimsv1.ListTasksResponse) []page.Group {
	var all []page.Group
	isFirst := true
	for _, of := range answer.GetGroups() {
		r := reasonOfTask(of.GetReason())
		g := page.Group{ID: "g-" + reasonWord(of.GetReason()), Title: r.title, Note: r.note}
		if of.GetMinorUnits() != 0 {
			g.Sum = v.Column(v.Money(of.GetMinorUnits()))
		}
		for _, t := range answer.GetTasks() {
			if t.GetReason() != of.GetReason() || len(g.Rows) == rowsShown {
				continue
			}
			row := rowOf(v, t)
			row.IsFirst, isFirst = isFirst, false
			g.Rows = append(g.Rows, row)
		}
		if hidden := int(of.GetTaskCount()) - len(g.Rows); hidden > 0 {
			g.More = page.Link{Text: fmt.Sprintf("Show all %d", of.GetTaskCount()), Href: "/?reason=" + reasonWord(of.GetReason())}
		}
		all = append(all, g)
	}
	return all
}

// todayLead says where the shop stands and what to do first.
func todayLead(v *say.Voice, answer *claimsv1.ListTasksResponse) page.Lead {
	count, waiting, ready := 0, int64(0), 0
	for _, g := range answer.GetGroups() {
		if g.GetReason() == readyReason {
			ready = int(g.GetTaskCount())
			continue
		}
		count += int(g.GetTaskCount())
		waiting += g.GetMinorUnits()
	}
	lead := page.Lead{Also: readyWords(ready)}
	switch {
	case count == 0 && ready == 0:
		lead.Strong, lead.Also = "Nothing needs you.", "What is released leaves with the next run; answers of payers are shown here as they come."
		return lead
	case count == 0:
		lead.Strong = "Nothing is stuck."
		lead.Rest = "What is ready waits for your release."
		return lead
	case count == 1:
		lead.Strong = "One thing needs you,"
	default:
		lead.Strong = say.Capital(say.Number(count)) + " things need you,"
	}
	lead.Rest = fmt.Sprintf("and %s waits on %s. ", v.Minor(waiting), map[bool]string{true: "it", false: "them"}[count == 1])
	if waiting == 0 {
		lead.Rest = "no money waits on " + map[bool]string{true: "it. ", false: "them. "}[count == 1]
	}
	lead.Rest += firstWords(v, answer.GetTasks())
	return lead
}

func readyWords(ready int) string {
	switch ready {
	case 0:
		return ""
	case 1:
		return "One more claim is ready. Review and release it, and it leaves with the next run."
	}
	return fmt.Sprintf("%d more claims are ready. Review and release them, and they leave with the next run.", ready)
}

// firstWords says which task to begin with, and why it is the first.
func firstWords(v *say.Voice, tasks []*claimsv1.Task) string {
	for _, t := range tasks {
		if t.GetReason() == readyReason {
			continue
		}
		name := t.GetMotoristName()
		if name == "" {
			name = t.GetPayerName()
		}
		left, hasTerm := v.DaysLeft(t.GetDueDate())
		switch {
		case !hasTerm || reasonOfTask(t.GetReason()).term != untilFiled:
			return fmt.Sprintf("Begin with %s.", name)
		case left < 0:
			return fmt.Sprintf("Begin with %s: the last day to file was %s.", name, v.Day(t.GetDueDate()))
		case left == 0:
			return fmt.Sprintf("Begin with %s: today is the last day to file.", name)
		}
		return fmt.Sprintf("Begin with %s: the payer takes the claim until %s.", name, v.Day(t.GetDueDate()))
	}
	return ""
}

// beside fills what stands beside the worklist.
func beside(v *visit, view *page.Today, tasks []*claimsv1.Task) error {
	runs, err := v.Runs.ListRuns(v.ctx(), &runsv1.ListRunsRequest{PageSize: 1})
	if err != nil {
		return err
	}
	if len(runs.GetRuns()) > 0 {
		run, err := v.Runs.GetRun(v.ctx(), &runsv1.GetRunRequest{RunId: runs.GetRuns()[0].GetRunId()})
		if err != nil {
			return err
		}
		view.Run = lastRun(v.voice, run.GetRun())
	}
	messages, err := v.Runs.ListMessages(v.ctx(), &runsv1.ListMessagesRequest{PageSize: cameShown})
	if err != nil {
		return err
	}
	for _, m := range messages.GetMessages() {
		view.Came = append(view.Came, messageOf(v.voice, m))
	}
	aging, err := v.Invoices.GetAging(v.ctx(), &invoicesv1.GetAgingRequest{})
	if err != nil {
		return err
	}
	view.UnmatchedSum = v.voice.Column(aging.GetUnmatched())
	for _, t := range tasks {
		if t.GetReason() == "UNMATCHED_MONEY" {
			view.Unmatched = append(view.Unmatched, page.Line{Name: t.GetPayerName(), Href: taskAddress(t), Sum: v.voice.Column(t.GetAmount())})
		}
	}
	return nil
}

func lastRun(v *say.Voice, run *runsv1.Run) *page.LastRun {
	last := &page.LastRun{Href: runAddress(run.GetRunId()), Sentence: runSentence(v, run)}
	claims := 0
	for _, b := range run.GetBatches() {
		claims += int(b.GetClaimCount())
		last.Batches = append(last.Batches, page.RunLine{Payer: b.GetPayerName(), State: batchWords(b),
			Claims: fmt.Sprint(b.GetClaimCount()), Sum: v.Column(b.GetTotal())})
	}
	last.Claims, last.Sum = fmt.Sprint(claims), v.Column(sumOf(v, run.GetBatches()))
	return last
}
