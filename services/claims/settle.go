package claims

import "time"

// Answered is what a payer said of a claim, and when.
type Answered struct {
	State          State     `db:"state"`
	OccurTime      time.Time `db:"occur_time"`
	ExternalID     string    `db:"external_id"`
	PayerReference string    `db:"payer_reference"`
	Reason         string    `db:"reason"`
}

// weight orders answers: a decision stands over a question, a question over a receipt. Two
// decisions are told apart by their time.
var weight = map[State]int{Acknowledged: 1, InformationRequested: 2, Rejected: 3, Denied: 3, Accepted: 3}

// tie decides between two decisions of the same instant.
var tie = map[State]int{Rejected: 1, Denied: 2, Accepted: 3}

// Settle says where a submitted claim stands after all answers to its present submission. The
// order in which they arrived does not matter, nor do repetitions: any order converges. Without
// an answer it stays submitted.
func Settle(answers []Answered) State { return Decisive(answers).State }

// Decisive is the answer that decides where the claim stands, with the payer's words for it, in whatever
// order answers arrived. The payer's reference is that of the strongest answer that has one.
func Decisive(answers []Answered) Answered {
	best, named := Answered{State: Submitted}, Answered{}
	for _, a := range answers {
		if stronger(a, best) {
			best = a
		}
		if a.PayerReference != "" && (named.PayerReference == "" || stronger(a, named)) {
			named = a
		}
	}
	best.PayerReference = named.PayerReference
	return best
}

func stronger(a, b Answered) bool {
	if weight[a.State] != weight[b.State] {
		return weight[a.State] > weight[b.State]
	}
	if !a.OccurTime.Equal(b.OccurTime) {
		return a.OccurTime.After(b.OccurTime)
	}
	if tie[a.State] != tie[b.State] {
		return tie[a.State] > tie[b.State]
	}
	return a.ExternalID > b.ExternalID
}
