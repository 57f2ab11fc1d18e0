package book

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"sync"

	"cullet/cmd/payersim/internal/payer"
)

// Book is the open book. It is safe for many goroutines.
type Book struct {
	mu    sync.Mutex
	file  *os.File
	stuck error
	shelf map[string]*shelf
}

// shelf is what belongs to one payer.
type shelf struct {
	payer     payer.Payer
	documents []Document
	byNumber  map[int64]int
	// latest is the last decision of each claim.
	latest map[string]payer.Outcome
	sent   map[string]bool
	// paid names claims that a remittance has covered.
	paid        map[string]bool
	remittances []Remittance
}

// Open reads the book and makes it when there is none. What a killed program wrote of its last
// line is cut off: nobody was told of it.
func Open(name string) (*Book, error) {
	if err := os.MkdirAll(filepath.Dir(name), 0o700); err != nil {
		return nil, fmt.Errorf("make the folder of the book: %w", err)
	}
	file, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("open the book: %w", err)
	}
	b := &Book{file: file, shelf: map[string]*shelf{}}
	if err := b.load(name); err != nil {
		return nil, errors.Join(err, file.Close())
	}
	return b, nil
}

func (b *Book) load(name string) error {
	content, err := os.ReadFile(name)
	if err != nil {
		return fmt.Errorf("read the book: %w", err)
	}
	whole := bytes.LastIndexByte(content, '\n') + 1
	for number, line := range bytes.Split(bytes.TrimSuffix(content[:whole], []byte("\n")), []byte("\n")) {
		if len(line) == 0 {
			continue
		}
		var r record
		if err := json.Unmarshal(line, &r); err != nil {
			return fmt.Errorf("read line %d of the book %s: %w", number+1, name, err)
		}
		b.apply(r)
	}
	if err := b.file.Truncate(int64(whole)); err != nil {
		return fmt.Errorf("cut the unfinished line off the book: %w", err)
	}
	if _, err := b.file.Seek(int64(whole), 0); err != nil {
		return fmt.Errorf("go to the end of the book: %w", err)
	}
	return b.file.Sync()
}

// Close closes the file. Nothing is lost without it.
func (b *Book) Close() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.stuck = errors.New("the book is closed")
	return b.file.Close()
}

// write appends a record and returns when it is on the disk. After a failed write nothing more is
// written: half a line may stand there, and only opening the book again cuts it off.
func (b *Book) write(r record) error {
	if b.stuck != nil {
		return b.stuck
	}
	line, err := json.Marshal(r)
	if err != nil {
		return fmt.Errorf("write the book: %w", err)
	}
	if _, err = b.file.Write(append(line, '\n')); err == nil {
		err = b.file.Sync()
	}
	if err != nil {
		b.stuck = fmt.Errorf("write the book: %w", err)
		return b.stuck
	}
	b.apply(r)
	return nil
}

// apply puts a record in its place in memory.
func (b *Book) apply(r record) {
	switch {
	case r.Payer != nil:
		b.of(r.Payer.Code).payer = *r.Payer
	case r.Document != nil:
		s := b.of(r.Document.PayerCode)
		s.byNumber[r.Document.ControlNumber] = len(s.documents)
		s.documents = append(s.documents, *r.Document)
		for _, c := range r.Document.Claims {
			if !c.IsDouble {
				s.latest[c.ClaimNumber] = c.Outcome
			}
		}
	case r.Sent != nil:
		b.of(r.Sent.PayerCode).sent[r.Sent.Key] = true
	case r.Remittance != nil:
		s := b.of(r.Remittance.PayerCode)
		s.remittances = append(s.remittances, *r.Remittance)
		for _, line := range r.Remittance.Lines {
			s.paid[line.ClaimNumber] = true
		}
	}
}

func (b *Book) of(code string) *shelf {
	s := b.shelf[code]
	if s == nil {
		s = &shelf{payer: payer.Payer{Code: code}, byNumber: map[int64]int{}, latest: map[string]payer.Outcome{},
			sent: map[string]bool{}, paid: map[string]bool{}}
		b.shelf[code] = s
	}
	return s
}

// SetPayer keeps a payer's configuration; the last one counts.
func (b *Book) SetPayer(p payer.Payer) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.write(record{Payer: &p})
}

// Payer gives a payer; ok is false when there is none.
func (b *Book) Payer(code string) (p payer.Payer, ok bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	s, ok := b.shelf[code]
	if !ok {
		return payer.Payer{}, false
	}
	return s.payer, true
}

// Codes lists the payers.
func (b *Book) Codes() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Sorted(maps.Keys(b.shelf))
}

// Documents lists what a payer has taken, oldest first.
func (b *Book) Documents(code string) []Document {
	b.mu.Lock()
	defer b.mu.Unlock()
	if s := b.shelf[code]; s != nil {
		return slices.Clone(s.documents)
	}
	return nil
}

// Remittances lists what a payer has paid, oldest first.
func (b *Book) Remittances(code string) []Remittance {
	b.mu.Lock()
	defer b.mu.Unlock()
	if s := b.shelf[code]; s != nil {
		return slices.Clone(s.remittances)
	}
	return nil
}

// IsSent tells whether a message was delivered.
func (b *Book) IsSent(code, key string) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	s := b.shelf[code]
	return s != nil && s.sent[key]
}

// MarkSent keeps that a message was delivered.
func (b *Book) MarkSent(s Sent) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.write(record{Sent: &s})
}
