package channeltest

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"cullet/services/claims"
)

// memory is a channel and its partner in one: a channel without a network. Its flaw is what is
// wrong with it.
type memory struct {
	flaw    string
	mu      sync.Mutex
	behave  Behaviour
	hanging func()
	taken   map[int64]claims.Document
	answers map[string]string
}

func newMemory(flaw string) Setup {
	return func(*testing.T) (claims.Channel, Partner) {
		m := &memory{flaw: flaw, behave: Honest, taken: map[int64]claims.Document{}, answers: map[string]string{}}
		return m, m
	}
}

func (m *memory) Name() string { return "memory" }

func (m *memory) Destination() claims.Destination {
	return claims.Destination{Address: "lakeside", BearerToken: "tok-en"}
}

func (m *memory) Behave(b Behaviour, hanging func()) bool {
	m.behave, m.hanging = b, hanging
	return true
}

func (m *memory) Answer(name, content string) bool {
	m.answers[name] = content
	return true
}

func (m *memory) Taken() []Taken {
	var all []Taken
	for _, d := range m.taken {
		all = append(all, Taken{d.ControlNumber, d.FileName, string(d.Content)})
	}
	slices.SortFunc(all, func(a, b Taken) int { return cmp.Compare(a.ControlNumber, b.ControlNumber) })
	return all
}

func (m *memory) Deliver(ctx context.Context, to claims.Destination, d claims.Document) (claims.Receipt, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	sum := sha256.Sum256(d.Content)
	switch {
	case ctx.Err() != nil:
		return claims.Receipt{}, ctx.Err()
	case to.Address != "lakeside":
		return claims.Receipt{}, claims.ErrMisaddressed
	case (d.Hash != hex.EncodeToString(sum[:]) || strings.ContainsAny(d.FileName, "/\r")) && m.flaw != "sends anything":
		return claims.Receipt{}, errors.New("not what was stored")
	}
	return m.take(ctx, to, d)
}

func (m *memory) take(ctx context.Context, to claims.Destination, d claims.Document) (claims.Receipt, error) {
	earlier, isKnown := m.taken[d.ControlNumber]
	isHonest := m.behave == Honest
	if (isHonest || traits[m.behave].takes) && (!isKnown || m.flaw == "overwrites") {
		m.taken[d.ControlNumber] = d
	}
	if isHonest && isKnown && earlier.Hash != d.Hash && m.flaw != "overwrites" {
		return claims.Receipt{}, claims.ErrRefused
	}
	if isHonest || m.flaw == "believes everything" {
		return claims.Receipt{Sentence: "taken", WasKnown: isKnown && m.flaw != "forgets"}, nil
	}
	if traits[m.behave].hangs {
		m.hanging()
		return claims.Receipt{}, ctx.Err()
	}
	if is := traits[m.behave].is; is != nil {
		return claims.Receipt{}, is
	}
	switch m.flaw {
	case "gives up":
		return claims.Receipt{}, claims.ErrRefused
	case "talks":
		return claims.Receipt{}, fmt.Errorf("post with token %s", to.BearerToken)
	}
	return claims.Receipt{}, errors.New("unknown")
}

func (m *memory) Collect(_ context.Context, _ claims.Destination, store func(string, []byte) error) error {
	var names []string
	for name := range m.answers {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		content := m.answers[name]
		stable := fmt.Sprintf("%s@%x", name, sha256.Sum256([]byte(content)))
		if m.flaw == "reuses names" {
			stable = name
		}
		if m.flaw == "loses answers" {
			delete(m.answers, name)
		}
		if err := store(stable, []byte(content)); err != nil {
			return err
		}
		delete(m.answers, name)
	}
	return nil
}

const flawVariable = "CHANNELTEST_FLAW"

func TestAGoodChannelPasses(t *testing.T) {
	t.Parallel()
	Run(t, newMemory(os.Getenv(flawVariable)))
}

// TestEachFlawIsFound runs the test above in a process of its own with a channel that has one
// flaw, and expects the case named to fail.
func TestEachFlawIsFound(t *testing.T) {
	t.Parallel()
	if os.Getenv(flawVariable) != "" {
		return // this is that process
	}
	for flaw, failing := range map[string]string{
		"believes everything": "survives_each_behaviour",
		"gives up":            "survives_each_behaviour",
		"forgets":             "knows_what_it_delivered",
		"overwrites":          "refuses_other_bytes",
		"sends anything":      "sends_only_what_was_stored",
		"talks":               "keeps_secrets",
		"loses answers":       "collects_again_what_was_lost",
		"reuses names":        "collects_a_name_a_second_time",
	} {
		t.Run(flaw, func(t *testing.T) {
			t.Parallel()
			command := exec.Command(os.Args[0], "-test.run=^TestAGoodChannelPasses$")
			command.Env = append(os.Environ(), flawVariable+"="+flaw)
			out, err := command.CombinedOutput()
			found := regexp.MustCompile(`--- FAIL: TestAGoodChannelPasses/` + failing + ` `).Match(out)
			if err == nil || !found {
				t.Errorf("the suite ended with %v and does not name %s:\n%s", err, failing, out)
			}
		})
	}
}
