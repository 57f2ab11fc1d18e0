// Package outside hands the server what touches the world: formats, channels, the photo store,
// the printer of documents, webhooks in both directions, the desk.
//
// It refuses to know a claim; it only puts adapters together.
package outside

import (
	"crypto/x509"
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"google.golang.org/grpc"

	"cullet/adapters"
	"cullet/adapters/document"
	jsonformat "cullet/adapters/format/json"
	"cullet/adapters/outbound"
	"cullet/adapters/payload"
	"cullet/adapters/photostore"
	"cullet/adapters/webhook"
	"cullet/cmd/cullet/internal/desk"
	"cullet/services/server"
	"cullet/services/tax"
)

// Options say where adapters keep things and whom they believe.
type Options struct {
	// Photos is the folder of the photo store, Exchange that of the folder channel; both are made
	// when missing.
	Photos, Exchange string
	// Sealer seals what the photo store keeps.
	Sealer photostore.Sealer
	// RootCAs are believed besides the system's; nil believes the system's alone.
	RootCAs *x509.CertPool
	Now     func() time.Time
	Log     *slog.Logger
	// State is the folder whose imported taxes are worked with; empty works with what is shipped.
	State string
}

// Warning is what a binary that reaches loopback addresses says at its start; empty otherwise.
func Warning() string { return outbound.Warning() }

// Open puts the adapters together. Close ends them.
func Open(o Options) (outside server.Outside, closeAll func() error, err error) {
	for _, dir := range []string{o.Photos, o.Exchange} {
		if err := os.MkdirAll(dir, 0o700); err != nil {
			return server.Outside{}, nil, fmt.Errorf("make the folder %s: %w", filepath.Base(dir), err)
		}
	}
	book := tax.Shipped()
	if o.State != "" {
		if book, err = Taxes(o.State); err != nil {
			return server.Outside{}, nil, err
		}
	}
	photos, err := photostore.Open(o.Photos, o.Sealer)
	if err != nil {
		return server.Outside{}, nil, err
	}
	return server.Outside{
		Translator:        payload.Translator{Book: book},
		Taxes:             func() tax.Book { return book },
		Formats:           adapters.Formats(),
		Channels:          adapters.Channels(adapters.ChannelOptions{RootCAs: o.RootCAs, Folders: o.Exchange}),
		RemittanceFormats: adapters.RemittanceFormats(),
		Photos:            photos,
		Intakes:           adapters.Intakes(),
		Document:          document.Printer{},
		InvoiceWriters:    adapters.InvoiceWriters(),
		Copies:            document.Printer{},
		Sender:            webhook.NewDeliverer(webhook.DelivererOptions{RootCAs: o.RootCAs, Now: o.Now}),
		CheckURL: func(url string) error {
			_, err := outbound.CheckURL(url)
			return err
		},
		Inbound: func(inbox server.Inbox) http.Handler {
			return webhook.NewReceiver(inbox, inbox, o.Now, o.Log)
		},
		Web: func(conn grpc.ClientConnInterface) http.Handler {
			return desk.New(conn, desk.Options{Now: o.Now, Log: o.Log})
		},
		Schemas: map[string][]byte{
			"claim.json": payload.Schema(), "batch.json": jsonformat.BatchSchema(), "answers.json": jsonformat.AnswersSchema(),
		},
	}, photos.Close, nil
}
