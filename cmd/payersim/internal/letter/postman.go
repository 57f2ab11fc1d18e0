package letter

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"time"

	"cullet/cmd/payersim/internal/book"
	"cullet/cmd/payersim/internal/payer"
)

const (
	firstWait = 200 * time.Millisecond
	longWait  = 5 * time.Second
	// failuresPerRound ends a round early when the shop is down.
	failuresPerRound = 5
)

// errNoAddress: nobody has said yet where answers go.
var errNoAddress = errors.New("there is no callback address yet")

// Postman delivers the letters of all payers until each was taken.
type Postman struct {
	Book *book.Book
	// Client calls the shop; it must have a timeout.
	Client *http.Client
	// Folders is the root of folders; empty when there are none.
	Folders string
	Log     *slog.Logger

	mu    sync.Mutex
	bells map[string]chan struct{}
	wait  sync.WaitGroup
}

// Ring tells that a payer may have letters. The first ring for a payer starts its round, which
// ends with ctx.
func (p *Postman) Ring(ctx context.Context, code string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	bell := p.bells[code]
	if bell == nil {
		if p.bells == nil {
			p.bells = map[string]chan struct{}{}
		}
		bell = make(chan struct{}, 1)
		p.bells[code] = bell
		p.wait.Go(func() { p.walk(ctx, code, bell) })
	}
	select {
	case bell <- struct{}{}:
	default: // it is ringing already
	}
}

// Wait returns when every round has ended.
func (p *Postman) Wait() { p.wait.Wait() }

// walk makes rounds: at once when the bell rings, later when something could not be delivered.
func (p *Postman) walk(ctx context.Context, code string, bell <-chan struct{}) {
	wait := firstWait
	var later <-chan time.Time
	for {
		select {
		case <-ctx.Done():
			return
		case <-bell:
			wait = firstWait
		case <-later:
		}
		if p.round(ctx, code) {
			later = nil
			continue
		}
		later = time.After(wait)
		wait = min(2*wait, longWait)
	}
}

// round tries to deliver everything that waits and tells whether nothing waits any more.
func (p *Postman) round(ctx context.Context, code string) bool {
	who, ok := p.Book.Payer(code)
	if !ok {
		return true
	}
	failures := 0
	for _, w := range Waiting(p.Book, code) {
		err := p.deliver(ctx, who, w)
		if err == nil {
			err = p.Book.MarkSent(book.Sent{PayerCode: code, Key: w.Letter.Key, SendTime: time.Now().UTC()})
		}
		if err == nil {
			continue
		}
		if failures++; failures == failuresPerRound || ctx.Err() != nil || errors.Is(err, errNoAddress) {
			break
		}
		p.Log.Info("an answer was not taken", "payer", code, "letter", w.Letter.Key, "error", err)
	}
	return failures == 0
}

func (p *Postman) deliver(ctx context.Context, who payer.Payer, w Waits) error {
	switch {
	case w.Via == "folder":
		return lay(filepath.Join(p.Folders, who.Code, "in"), w.Letter)
	case who.CallbackURL == "":
		return errNoAddress
	}
	return post(ctx, p.Client, who, w.Letter, time.Now())
}

// Waits is a letter that was not delivered.
type Waits struct {
	Letter Letter
	// Via is how the document came and so how the answer goes.
	Via string
}

// Waiting lists a payer's letters that were not delivered, oldest document first.
func Waiting(b *book.Book, code string) []Waits {
	var all []Waits
	for _, d := range b.Documents(code) {
		for _, l := range Write(d) {
			if !b.IsSent(code, l.Key) {
				all = append(all, Waits{l, d.Via})
			}
		}
	}
	return all
}

// lay puts a letter into a folder: under its name only when it is whole and on the disk.
func lay(folder string, l Letter) error {
	if err := os.MkdirAll(folder, 0o770); err != nil {
		return fmt.Errorf("make the folder for answers: %w", err)
	}
	name := fmt.Sprintf("answers-%s-%s.json", l.Key, l.ID)
	part := filepath.Join(folder, "."+name+".part")
	f, err := os.Create(part)
	if err != nil {
		return fmt.Errorf("make an answer file: %w", err)
	}
	_, err = f.Write(l.Body)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("write an answer file: %w", err)
	}
	if err := os.Rename(part, filepath.Join(folder, name)); err != nil {
		return fmt.Errorf("name an answer file: %w", err)
	}
	return nil
}
