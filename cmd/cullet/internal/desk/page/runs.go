package page

import (
	moneyv1 "cullet/proto/cullet/money/v1"
	runsv1 "cullet/proto/cullet/runs/v1"
)

// Runs is the list of runs.
type Runs struct {
	Head
	Lead Lead
	Runs []*runsv1.Run
	Next string
}

// Run is one run with its batches.
type Run struct {
	Head
	Lead   Lead
	Run    *runsv1.Run
	States []string
	Claims int
	Total  *moneyv1.Money
}

// Messages is the list of what payers sent.
type Messages struct {
	Head
	Lead     Lead
	State    string
	States   []Choice
	Messages []Message
	Next     string
}

// Choice is one of several that a list can be narrowed to, or a field can hold.
type Choice struct {
	Text, Value string
	IsChosen    bool
}
