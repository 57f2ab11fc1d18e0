package jobsrpc_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"cullet/adapters"
	"cullet/adapters/document"
	"cullet/adapters/photostore"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/client"
	"cullet/services/errs"
	"cullet/services/server"
	"cullet/services/server/servertest"
)

// now is a quarter of an hour after the invented record was finished.
var now = time.Date(2026, 10, 20, 19, 0, 0, 0, time.UTC)

// world is a whole server with one payer and a place for photos.
type world struct {
	*servertest.World
	t     testing.TB
	store *photostore.Store
}

func start(t testing.TB) world {
	t.Helper()
	return startWithin(t, 0)
}

// startWithin starts a server with a quota of photos; 0 takes the usual one.
func startWithin(t testing.TB, quota int64) world {
	t.Helper()
	store, err := photostore.Open(t.TempDir(), servertest.Sealer(t))
	if err != nil {
		t.Fatal(err)
	}
	w := world{servertest.Start(t, servertest.Options{IsWithoutWorkers: true, PhotoQuota: quota, Now: func() time.Time { return now },
		Outside: server.Outside{Photos: store, Intakes: adapters.Intakes(), Copies: document.Printer{}, Formats: adapters.Formats(),
			Channels: adapters.Channels(adapters.ChannelOptions{})}}), t, store}
	t.Cleanup(func() { _ = store.Close() })
	_, err = w.Payers.CreatePayer(t.Context(), &payersv1.CreatePayerRequest{Code: "lantern-mutual",
		Name: "Lantern Mutual (invented)", Kind: payersv1.PayerKind_PAYER_KIND_INSURER, Profile: &payersv1.PayerProfile{Format: "json", Channel: "https", Address: "https://lantern.example/claims"}})
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// record is the invented record of services/jobs/testdata under a reference of its own.
func record(t testing.TB, reference string) *jobsv1.RepairRecord {
	t.Helper()
	text, err := os.ReadFile("../testdata/record.json")
	if err != nil {
		t.Fatal(err)
	}
	m := &jobsv1.RepairRecord{}
	if err := protojson.Unmarshal(text, m); err != nil {
		t.Fatal(err)
	}
	m.ExternalReference = reference
	return m
}

// with changes a copy.
func with(m *jobsv1.RepairRecord, change func(*jobsv1.RepairRecord)) *jobsv1.RepairRecord {
	changed, _ := proto.Clone(m).(*jobsv1.RepairRecord)
	change(changed)
	return changed
}

func (w world) record(m *jobsv1.RepairRecord) *jobsv1.Job {
	w.t.Helper()
	answer, err := w.Jobs.RecordJob(w.t.Context(), &jobsv1.RecordJobRequest{Record: m})
	if err != nil {
		w.t.Fatal(err)
	}
	return answer.GetJob()
}

// rows counts everything that a record leaves behind.
func (w world) rows() string {
	w.t.Helper()
	var all []string
	for _, table := range []string{"jobs", "job_photos", "photos", "requests", "events", "work", "audit_entries", "claims"} {
		all = append(all, fmt.Sprintf("%s %d", table, w.Count(table)))
	}
	return strings.Join(all, ", ")
}

// faults gives "path REASON" of every field of an Invalid error.
func faults(t testing.TB, err error) []string {
	t.Helper()
	var known *errs.Error
	if !errors.As(err, &known) || known.Kind != errs.Invalid {
		t.Fatalf("error = %v, want Invalid", err)
	}
	all := []string{}
	for _, f := range known.Fields {
		all = append(all, f.Path+" "+f.Reason)
		if len(f.Message) < 25 {
			t.Errorf("%s says only %q", f.Path, f.Message)
		}
	}
	return all
}

// file reads a drawn photo.
func file(t testing.TB, name string) []byte {
	t.Helper()
	content, err := os.ReadFile(filepath.Join("../../../testdata/photos", name))
	if err != nil {
		t.Fatal(err)
	}
	return content
}

// upload sends a photo in pieces of at most size bytes.
func upload(ctx context.Context, c *client.Client, said *jobsv1.PhotoDescription, content []byte, size int) (*jobsv1.Photo, error) {
	stream, err := c.Jobs.UploadPhoto(ctx)
	if err != nil {
		return nil, err
	}
	// What goes wrong while sending is told by CloseAndRecv.
	if said != nil {
		_ = stream.Send(&jobsv1.UploadPhotoRequest{Piece: &jobsv1.UploadPhotoRequest_Description{Description: said}})
	}
	for len(content) > 0 {
		piece := content[:min(size, len(content))]
		content = content[len(piece):]
		if stream.Send(&jobsv1.UploadPhotoRequest{Piece: &jobsv1.UploadPhotoRequest_Chunk{Chunk: piece}}) != nil {
			break
		}
	}
	answer, err := stream.CloseAndRecv()
	return answer.GetPhoto(), err
}

func (w world) upload(name string) *jobsv1.Photo {
	w.t.Helper()
	photo, err := upload(w.t.Context(), w.Client, &jobsv1.PhotoDescription{}, file(w.t, name), 64<<10)
	if err != nil {
		w.t.Fatal(err)
	}
	return photo
}

func hash(digit string) string { return strings.Repeat(digit, 64) }

func named(hash string, damage int32) *jobsv1.PhotoReference {
	return &jobsv1.PhotoReference{PhotoHash: hash, Kind: jobsv1.PhotoKind_PHOTO_KIND_BEFORE, DamageNumber: damage}
}
