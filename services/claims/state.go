package claims

import (
	"slices"
	"strings"
)

// State is where a claim stands. Paid and short-paid are never states: they follow from the
// invoice's allocations.
type State string

// The states.
const (
	Draft                State = "DRAFT"
	Ready                State = "READY"
	Released             State = "RELEASED"
	Submitted            State = "SUBMITTED"
	Acknowledged         State = "ACKNOWLEDGED"
	Accepted             State = "ACCEPTED"
	Rejected             State = "REJECTED"
	InformationRequested State = "INFORMATION_REQUESTED"
	Denied               State = "DENIED"
	Withdrawn            State = "WITHDRAWN"
)

// States lists every state in the order of a claim's life.
func States() []State {
	return []State{Draft, Ready, Released, Submitted, Acknowledged, Accepted,
		Rejected, InformationRequested, Denied, Withdrawn}
}

// moves lists where a claim may go from where it stands. Answers of a payer may arrive in any
// order, so whatever has left the house may move to any answer; Settle says which of them wins.
var moves = map[State][]State{
	Draft:                {Ready, Withdrawn},
	Ready:                {Draft, Released, Withdrawn},
	Released:             {Submitted, Acknowledged, Accepted, Rejected, InformationRequested, Denied, Withdrawn},
	Submitted:            {Acknowledged, Accepted, Rejected, InformationRequested, Denied},
	Acknowledged:         {Accepted, Rejected, InformationRequested, Denied},
	Accepted:             {Denied},
	Rejected:             {Released, Withdrawn},
	InformationRequested: {Released, Accepted, Rejected, Denied, Withdrawn},
	Denied:               {Accepted, Withdrawn},
	Withdrawn:            {},
}

// May tells whether a claim may move from s to next.
func (s State) May(next State) bool { return slices.Contains(moves[s], next) }

// Words gives the state as people say it: "information requested".
func (s State) Words() string { return strings.ToLower(strings.ReplaceAll(string(s), "_", " ")) }

// IsEditable tells whether coverage may still change and checks run again.
func (s State) IsEditable() bool { return s == Draft || s == Ready }

// HasLeft tells whether the payer may know of the claim.
func (s State) HasLeft() bool {
	switch s {
	case Submitted, Acknowledged, Accepted, Rejected, InformationRequested, Denied:
		return true
	}
	return false
}
