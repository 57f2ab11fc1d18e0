package channeltest

import (
	"errors"
	"maps"
	"slices"
	"testing"

	"cullet/services/claims"
)

// inbox stores what is collected, by name, as the server's does: a known name once.
type inbox struct {
	stored map[string]string
	order  []string
	fails  int
}

func (i *inbox) store(name string, content []byte) error {
	if i.fails > 0 {
		i.fails--
		return errors.New("the inbox is away")
	}
	if _, known := i.stored[name]; !known {
		i.order = append(i.order, name)
	}
	i.stored[name] = string(content)
	return nil
}

// setupAnswers lays answers ready; nil when the partner only pushes.
func setupAnswers(t *testing.T, setup Setup, answers map[string]string) (claims.Channel, Partner, *inbox) {
	channel, partner := setup(t)
	for _, name := range slices.Sorted(maps.Keys(answers)) {
		if !partner.Answer(name, answers[name]) {
			return channel, partner, nil
		}
	}
	return channel, partner, &inbox{stored: map[string]string{}}
}

func collectsNothing(t *testing.T, setup Setup) {
	channel, partner := setup(t)
	box := &inbox{stored: map[string]string{}}
	if err := channel.Collect(t.Context(), partner.Destination(), box.store); err != nil || len(box.stored) != 0 {
		t.Errorf("Collect = %v with %v, want nothing", err, box.stored)
	}
}

func collectsWhatWaits(t *testing.T, setup Setup) {
	channel, partner, box := setupAnswers(t, setup, map[string]string{"a.json": "one", "b.json": "two", "c.txt": ""})
	if box == nil {
		return // answers are pushed
	}
	for range 2 {
		if err := channel.Collect(t.Context(), partner.Destination(), box.store); err != nil {
			t.Errorf("Collect = %v, want none", err)
		}
	}
	var contents []string
	for _, name := range box.order {
		contents = append(contents, box.stored[name])
	}
	if want := []string{"one", "two", ""}; !slices.Equal(contents, want) {
		t.Errorf("collected %q, want %q, each once and in the order of names", contents, want)
	}
	mustHave(t, partner)
}

// collectsAgainWhatWasLost: what was not stored is still there, under the same name.
func collectsAgainWhatWasLost(t *testing.T, setup Setup) {
	channel, partner, box := setupAnswers(t, setup, map[string]string{"a.json": "one", "b.json": "two"})
	if box == nil {
		return
	}
	box.fails = 1
	if err := channel.Collect(t.Context(), partner.Destination(), box.store); err == nil {
		t.Errorf("Collect = nil although the inbox was away, want an error")
	}
	if err := channel.Collect(t.Context(), partner.Destination(), box.store); err != nil || len(box.stored) != 2 {
		t.Errorf("again: %v with %d stored, want both", err, len(box.stored))
	}
}

// collectsANameASecondTime: the same file again is the same message; another file under the same
// name is another.
func collectsANameASecondTime(t *testing.T, setup Setup) {
	channel, partner, box := setupAnswers(t, setup, map[string]string{"a.json": "one"})
	if box == nil {
		return
	}
	for _, next := range []struct {
		content string
		stored  int
	}{{"one", 1}, {"one", 1}, {"two", 2}, {"one", 2}} {
		if err := channel.Collect(t.Context(), partner.Destination(), box.store); err != nil {
			t.Errorf("Collect = %v, want none", err)
		}
		partner.Answer("a.json", next.content)
		if err := channel.Collect(t.Context(), partner.Destination(), box.store); err != nil || len(box.stored) != next.stored {
			t.Errorf("after %q again: %v with %d messages, want %d", next.content, err, len(box.stored), next.stored)
		}
	}
}
