package server

import (
	"context"
	"net/http"
	"strings"

	"cullet/services/access"
	"cullet/services/access/accesspg"
	"cullet/services/errs"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/seal"
	"cullet/services/jobs/jobsrpc"
	"cullet/services/payers"
	"cullet/services/payers/payerspg"
	"cullet/services/pipeline"
	"cullet/services/tax"
)

// house is what rooms are made with.
type house struct {
	Config
	Outside
	db    *pg.DB
	ring  *seal.Ring
	pages *rpc.Pager
	line  *pipeline.Pipeline
}

func newHouse(c Config, o Outside, db *pg.DB, ring *seal.Ring) *house {
	return &house{Config: c, Outside: o, db: db, ring: ring,
		pages: rpc.NewPager(ring.Derive("page tokens"), c.Now),
		line: pipeline.New(pipeline.Config{DB: db, Sealer: ring, Translator: o.Translator, Formats: o.Formats,
			Channels: o.Channels, Sender: o.Sender, Now: c.Now, Log: c.Log})}
}

// shop reads the transaction's shop, for rooms that may not know the storage of access.
func (h *house) shop(ctx context.Context, tx *pg.Tx) (access.Shop, error) {
	return accesspg.GetShop(ctx, tx)
}

// jobs makes the room of repair records, for its calls and for its work.
func (h *house) jobs() *jobsrpc.Server {
	return jobsrpc.New(h.db, h.ring, h.pages, h.Now, h.Photos, h.PhotoQuota, h.shop, h.Copies, h.Intakes...)
}

// taxes gives the dated rates.
func (h *house) taxes() func() tax.Book {
	if h.Taxes == nil {
		return tax.Shipped
	}
	return h.Taxes
}

func checkFirst(shop access.Shop) []errs.Field { return rpc.Validate("shop", shop) }

// inbox is the Inbox over payers' routes and the pipeline.
type inbox struct{ *house }

// Secrets gives the webhook secret of the payer whose route it is.
func (i inbox) Secrets(ctx context.Context, route string) ([]string, error) {
	shop, payer, err := payerspg.ByRoute(ctx, i.db, route)
	if errs.Is(err, errs.NotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var credentials payers.Credentials
	err = pg.Read(ctx, i.db, shop, func(ctx context.Context, tx *pg.Tx) (err error) {
		credentials, err = payerspg.Credentials(ctx, tx, i.ring, payer)
		return err
	})
	if err != nil || credentials.WebhookSecret == "" {
		return nil, err
	}
	return []string{credentials.WebhookSecret}, nil
}

// Store keeps a message in the pipeline's inbox.
func (i inbox) Store(ctx context.Context, route, externalID string, header http.Header, body []byte) (bool, error) {
	headers := make(map[string]string, len(header))
	for name, values := range header {
		headers[name] = strings.Join(values, ", ")
	}
	return i.line.ReceiveOn(ctx, route, externalID, headers, body)
}
