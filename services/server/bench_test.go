package server_test

import (
	"context"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"cullet/adapters"
	"cullet/adapters/payload"
	"cullet/adapters/photostore"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/client"
	"cullet/services/internal/pg/pgtest"
	"cullet/services/server"
	"cullet/services/server/servertest"
	"cullet/services/tax"
)

// benchDay is a quarter of an hour after the invented record was finished.
var benchDay = time.Date(2026, 10, 20, 19, 0, 0, 0, time.UTC)

// benchWorld is a server over TLS on a PostgreSQL that syncs to disk, with one payer and one photo.
type benchWorld struct {
	*servertest.World
	Client *client.Client
	photo  string
	// exchange is the folder in which the channel folder has one of each payer.
	exchange string
	roots    *tls.Config
	served   *tls.Config
}

func startBench(b *testing.B, o servertest.Options) *benchWorld {
	b.Helper()
	folder := b.TempDir()
	certFile, keyFile := filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem")
	roots := x509.NewCertPool()
	roots.AddCert(writeCertificate(b, certFile, keyFile, 1))
	served, err := server.TLSFromFiles(certFile, keyFile)
	if err != nil {
		b.Fatal(err)
	}
	photos, err := photostore.Open(b.TempDir(), servertest.Sealer(b))
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = photos.Close() })
	exchange := b.TempDir()
	o.Database, o.TLS, o.Now = pgtest.DurableWorld(b), served, func() time.Time { return benchDay }
	o.Outside = server.Outside{Photos: photos, Formats: adapters.Formats(), Translator: payload.Translator{Book: tax.Shipped()},
		Channels: adapters.Channels(adapters.ChannelOptions{Folders: exchange})}
	w := &benchWorld{exchange: exchange, World: servertest.Start(b, o), served: served, roots: &tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS12}}
	w.Client = w.dial(b, w.Addresses.GRPC)
	w.payer(b, "lantern-mutual")
	w.photo = w.upload(b)
	return w
}

func (w *benchWorld) dial(b *testing.B, address string) *client.Client {
	b.Helper()
	c, err := client.Dial(b.Context(), client.Config{Address: address, Key: w.OwnerKey, TLS: w.roots})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = c.Close() })
	return c
}

// payer makes one that takes everything, into a folder.
func (w *benchWorld) payer(b *testing.B, code string) string {
	b.Helper()
	if err := os.Mkdir(filepath.Join(w.exchange, code), 0o700); err != nil {
		b.Fatal(err)
	}
	usd := func(minor int64) *payersv1.PriceAgreement {
		return &payersv1.PriceAgreement{Key: "List 2026", ValidFrom: "2026-01-01", FirstRepair: dollars(minor), FurtherRepair: dollars(1500)}
	}
	made, err := w.Client.Payers.CreatePayer(b.Context(), &payersv1.CreatePayerRequest{Code: code, Name: code + " (invented)",
		Kind: payersv1.PayerKind_PAYER_KIND_INSURER, Profile: &payersv1.PayerProfile{Format: "json", Channel: "folder",
			Address: code, IsMobileWorkPaid: true, IsDeductibleWaivedForRepair: true, AnswerDays: 14, PaymentDays: 30, PriceAgreements: []*payersv1.PriceAgreement{usd(7995)}}})
	if err != nil {
		b.Fatal(err)
	}
	return made.GetPayer().GetPayerId()
}

func (w *benchWorld) upload(b *testing.B) string {
	b.Helper()
	names, err := filepath.Glob("../../testdata/photos/*.jpg")
	if err != nil || len(names) == 0 {
		b.Fatalf("no photos: %v", err)
	}
	content, err := os.ReadFile(names[0])
	if err != nil {
		b.Fatal(err)
	}
	stream, err := w.Client.Jobs.UploadPhoto(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	sum := sha256.Sum256(content)
	for _, piece := range []*jobsv1.UploadPhotoRequest{
		{Piece: &jobsv1.UploadPhotoRequest_Description{Description: &jobsv1.PhotoDescription{PhotoHash: hex.EncodeToString(sum[:])}}},
		{Piece: &jobsv1.UploadPhotoRequest_Chunk{Chunk: content}},
	} {
		if err := stream.Send(piece); err != nil {
			b.Fatal(err)
		}
	}
	answer, err := stream.CloseAndRecv()
	if err != nil {
		b.Fatal(err)
	}
	return answer.GetPhoto().GetPhotoHash()
}

// record is the invented record with its photo.
func (w *benchWorld) record(b *testing.B, reference string) *jobsv1.RepairRecord {
	b.Helper()
	m := benchRecord(b, reference)
	m.Photos = []*jobsv1.PhotoReference{{PhotoHash: w.photo, Kind: jobsv1.PhotoKind_PHOTO_KIND_BEFORE, DamageNumber: 1}}
	return m
}

// benchRecord is the invented record under a reference of its own.
func benchRecord(b *testing.B, reference string) *jobsv1.RepairRecord {
	b.Helper()
	text, err := os.ReadFile("../jobs/testdata/record.json")
	if err != nil {
		b.Fatal(err)
	}
	m := &jobsv1.RepairRecord{}
	if err := protojson.Unmarshal(text, m); err != nil {
		b.Fatal(err)
	}
	m.ExternalReference = reference
	return m
}

// took is how long the work lasted, by the clock.
func took(ctx context.Context, b *testing.B, work func(context.Context) error) time.Duration {
	b.Helper()
	begin := time.Now()
	if err := work(ctx); err != nil {
		b.Fatal(err)
	}
	return time.Since(begin)
}

func median[T int64 | float64 | time.Duration](of []T) T {
	sorted := slices.Clone(of)
	slices.Sort(sorted)
	return sorted[len(sorted)/2]
}

// percentile gives the value that the share of all, in hundredths, does not exceed.
func percentile(of []time.Duration, share int) time.Duration {
	sorted := slices.Clone(of)
	slices.Sort(sorted)
	return sorted[len(sorted)*share/100]
}

func size(m proto.Message) float64 { return float64(proto.Size(m)) }
