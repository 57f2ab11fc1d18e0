// Package office is where documents are handed in to the simulated payers, over HTTPS or by
// folder, and where their book can be read. Every answer says that the payer is simulated.
//
// It refuses documents without the payer's token, with a hash that is not theirs, and such as
// contradict themselves; it answers only after the book is on the disk.
package office

import (
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"sync"
	"time"

	"cullet/cmd/payersim/internal/batch"
	"cullet/cmd/payersim/internal/book"
	"cullet/cmd/payersim/internal/letter"
	"cullet/cmd/payersim/internal/payer"
)

// Says is what every answer of the office carries.
const Says = "This is a simulated payer. Nobody is insured here and nothing is paid."

// maxDocument is the longest document that is read.
const maxDocument = 64 << 20

// Office takes documents for all payers.
type Office struct {
	Book    *book.Book
	Postman *letter.Postman
	Log     *slog.Logger
	// Folders is the root of folders; empty when there are none.
	Folders string
	// SlowFor is how long the transport SLOW waits.
	SlowFor time.Duration
	// IsAtBuildTime dates answers as the document was built, for scenarios of another season.
	IsAtBuildTime bool
	// Life ends letters and hanging answers when the program stops.
	Life context.Context

	mu       sync.Mutex
	attempts map[string]int
}

// Handler serves the office.
func (o *Office) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("POST /payers/{code}/claims", o.claims)
	mux.HandleFunc("GET /payers/{code}/remittance", o.remittance)
	mux.HandleFunc("PUT /payers/{code}", o.setPayer)
	mux.HandleFunc("GET /book", o.readBook)
	mux.HandleFunc("GET /{$}", func(w http.ResponseWriter, _ *http.Request) {
		say(w, http.StatusOK, map[string]any{"paths": []string{"POST /payers/{code}/claims",
			"GET /payers/{code}/remittance?reference=R-1&paid_date=2026-11-12", "PUT /payers/{code}", "GET /book"}})
	})
	return mux
}

// say answers with JSON that tells who speaks.
func say(w http.ResponseWriter, status int, members map[string]any) {
	members["simulated"], members["says"] = true, Says
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	// The caller may be gone; the book has what matters.
	_ = json.NewEncoder(w).Encode(members)
}

func refuse(w http.ResponseWriter, status int, format string, args ...any) {
	say(w, status, map[string]any{"message": fmt.Sprintf(format, args...)})
}

// errMalformed: the document cannot be taken as it is.
type errMalformed struct{ error }

// handed is a document as it was handed in.
type handed struct {
	via, fileName string
	content       []byte
	// number and hash are what came beside the document; zero and empty when nothing did.
	number int64
	hash   string
}

// read reads a document and holds it against what came with it.
func (h handed) read(who payer.Payer) (book.Document, error) {
	b, err := batch.Parse(h.content)
	if err != nil {
		return book.Document{}, errMalformed{err}
	}
	sum := sha256.Sum256(h.content)
	d := book.Document{PayerCode: who.Code, ControlNumber: b.ControlNumber, Hash: hex.EncodeToString(sum[:]),
		FileName: h.fileName, Via: h.via, ShopName: b.ShopName, IsTest: b.IsTest, BuildTime: b.BuildTime}
	switch {
	case b.PayerCode != who.Code:
		return book.Document{}, errMalformed{fmt.Errorf("payer_code is %q, this is %q", b.PayerCode, who.Code)}
	case h.number != 0 && h.number != d.ControlNumber:
		return book.Document{}, errMalformed{fmt.Errorf("control_number is %d, the header says %d", d.ControlNumber, h.number)}
	case h.via == "https" && h.hash != d.Hash:
		return book.Document{}, errMalformed{fmt.Errorf("the hash of the document is %s, the header says %q", d.Hash, h.hash)}
	}
	for _, c := range b.Claims {
		d.Claims = append(d.Claims, book.Claim{ClaimNumber: c.ClaimNumber, InvoiceNumber: c.InvoiceNumber,
			MinorUnits: c.Share.MinorUnits, CurrencyCode: c.Share.CurrencyCode})
	}
	return d, nil
}

// take reads a document and keeps it with every claim decided.
func (o *Office) take(who payer.Payer, h handed) (book.Document, bool, error) {
	d, err := h.read(who)
	if err != nil {
		return book.Document{}, false, err
	}
	d.TakeTime = time.Now().UTC()
	if o.IsAtBuildTime {
		d.TakeTime = d.BuildTime
	}
	taken, isKnown, err := o.Book.Take(d)
	if err != nil {
		return taken, false, err
	}
	o.Log.Info("a document was taken", "payer", who.Code, "control_number", d.ControlNumber, "via", h.via,
		"claims", len(d.Claims), "known", isKnown)
	o.Postman.Ring(o.Life, who.Code)
	return taken, isKnown, nil
}

// isToken compares tokens without telling by time where they differ.
func isToken(who payer.Payer, r *http.Request) bool {
	if who.BearerToken == "" {
		return true
	}
	given := sha256.Sum256([]byte(r.Header.Get("Authorization")))
	wanted := sha256.Sum256([]byte("Bearer " + who.BearerToken))
	return subtle.ConstantTimeCompare(given[:], wanted[:]) == 1
}

// setPayer keeps a payer's configuration, given as the configuration file has it.
func (o *Office) setPayer(w http.ResponseWriter, r *http.Request) {
	content, err := readAll(w, r, 1<<20)
	if err != nil {
		refuse(w, http.StatusBadRequest, "the configuration did not arrive: %v", err)
		return
	}
	p, err := payer.Parse(content)
	if err == nil && p.Code != r.PathValue("code") {
		err = fmt.Errorf("code is %q, the path says %q", p.Code, r.PathValue("code"))
	}
	if err != nil {
		refuse(w, http.StatusUnprocessableEntity, "%v", err)
		return
	}
	if err := o.Enrol(p); err != nil {
		refuse(w, http.StatusInternalServerError, "%v", err)
		return
	}
	say(w, http.StatusOK, map[string]any{"message": "the payer is known", "code": p.Code})
}

// Enrol keeps a payer's configuration, makes its folder when it has one, and lets its letters
// leave.
func (o *Office) Enrol(p payer.Payer) error {
	if p.IsFolder && o.Folders == "" {
		return errors.New("is_folder needs the flag -folders")
	}
	if p.IsFolder {
		if err := makeFolders(o.Folders, p.Code); err != nil {
			return err
		}
	}
	if err := o.Book.SetPayer(p); err != nil {
		return err
	}
	o.Postman.Ring(o.Life, p.Code)
	return nil
}
