package demo

import (
	"fmt"
	"strings"
	"sync"
	"time"
)

// bar shows how far a step is: redrawn in place on a terminal, one line at its end elsewhere.
type bar struct {
	s     *stage
	name  string
	total int
	start time.Time

	mu   sync.Mutex
	done int
}

const barWidth = 28

func (s *stage) bar(name string, total int) *bar {
	return &bar{s: s, name: name, total: total, start: time.Now()}
}

func (b *bar) step() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.done++
	if b.s.IsTerminal {
		filled := barWidth * b.done / max(b.total, 1)
		fmt.Fprintf(b.s.Out, "\r%-32s [%s%s] %d of %d", b.name, strings.Repeat("=", filled),
			strings.Repeat(" ", barWidth-filled), b.done, b.total)
	}
}

func (b *bar) end() {
	b.mu.Lock()
	defer b.mu.Unlock()
	took := time.Since(b.start).Round(100 * time.Millisecond)
	if b.s.IsTerminal {
		fmt.Fprintf(b.s.Out, "\r%-32s [%s] %d in %s\n", b.name, strings.Repeat("=", barWidth), b.done, took)
		return
	}
	fmt.Fprintf(b.s.Out, "%-32s %d of %d in %s\n", b.name, b.done, b.total, took)
}
