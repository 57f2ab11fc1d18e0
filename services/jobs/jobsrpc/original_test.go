package jobsrpc_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"

	accessv1 "cullet/proto/cullet/access/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/access"
	"cullet/services/client"
	"cullet/services/errs"
)

func original(ctx context.Context, c *client.Client, hash, reason string) (content []byte, err error) {
	stream, err := c.Jobs.GetOriginalPhoto(ctx, &jobsv1.GetOriginalPhotoRequest{PhotoHash: hash, Reason: reason})
	for err == nil {
		var piece *jobsv1.GetOriginalPhotoResponse
		if piece, err = stream.Recv(); errors.Is(err, io.EOF) {
			return content, nil
		}
		content = append(content, piece.GetChunk()...)
	}
	return nil, err
}

// openings are the audit entries about originals, newest first.
func (w world) openings() (all []map[string]string) {
	w.t.Helper()
	list, err := w.Access.ListAuditEntries(w.t.Context(), &accessv1.ListAuditEntriesRequest{PageSize: 200})
	if err != nil {
		w.t.Fatal(err)
	}
	for _, e := range list.GetAuditEntries() {
		if e.GetAction() == "photo.original_opened" {
			all = append(all, map[string]string{"actor": e.GetActor(), "kind": e.GetSubjectKind(), "reason": e.GetDetails()["reason"],
				"photo": e.GetDetails()["photo_hash"], "at": e.GetOccurTime().AsTime().Format("2006-01-02T15:04")})
		}
	}
	return all
}

// TestEveryOpeningOfAnOriginalIsWrittenDown: the very bytes, with what the camera wrote into them, and
// who asked for them, when and why.
func TestEveryOpeningOfAnOriginalIsWrittenDown(t *testing.T) {
	t.Parallel()
	w := start(t)
	content := file(t, before)
	photo := w.upload(before)
	if _, err := w.show(t.Context(), photo.GetPhotoHash(), 0); err != nil {
		t.Fatal(err)
	}
	if got := w.openings(); len(got) > 0 {
		t.Errorf("uploading and showing a photo wrote down %v", got)
	}
	clerk := w.Dial(w.Key(access.Clerk))
	for _, c := range []*client.Client{w.Client, clerk} {
		got, err := original(t.Context(), c, photo.GetPhotoHash(), " the payer asks\nfor the evidence ")
		if err != nil || !bytes.Equal(got, content) {
			t.Errorf("the original came as %d bytes of %d: %v", len(got), len(content), err)
		}
	}
	entry := map[string]string{"kind": "photo", "reason": "the payer asks\nfor the evidence", "photo": photo.GetPhotoHash(), "at": "2026-10-20T19:00"}
	want := []map[string]string{andAlso(entry, "actor", "test CLERK"), andAlso(entry, "actor", "owner")}
	if diff := cmp.Diff(want, w.openings()); diff != "" {
		t.Errorf("openings (-want +got):\n%s", diff)
	}
}

func andAlso(m map[string]string, key, value string) map[string]string {
	changed := map[string]string{key: value}
	for k, v := range m {
		changed[k] = v
	}
	return changed
}

func TestOriginalRefused(t *testing.T) {
	t.Parallel()
	w := start(t)
	photo := w.upload(before).GetPhotoHash()
	for _, role := range []access.Role{access.System, access.Reader} {
		if _, err := original(t.Context(), w.Dial(w.Key(role)), photo, "curiosity"); !errs.Is(err, errs.Forbidden) {
			t.Errorf("a key of role %s: %v, want Forbidden", role, err)
		}
	}
	for _, reason := range []string{"ab", "  a  ", strings.Repeat("ä", 501)} {
		_, err := original(t.Context(), w.Client, photo, reason)
		if got := faults(t, err); len(got) != 1 || got[0] != "reason OUT_OF_RANGE" {
			t.Errorf("%d characters of reason: %v", len(reason), got)
		}
	}
	_, err := original(t.Context(), w.Client, photo, "")
	if got := faults(t, err); len(got) != 1 || got[0] != "reason REQUIRED" {
		t.Errorf("no reason: %v", got)
	}
	_, other := w.OtherShop()
	for name, c := range map[string]struct {
		client *client.Client
		hash   string
	}{"of another shop": {other, photo}, "missing": {w.Client, hash("a")}, "malformed": {w.Client, "x"}} {
		var known *errs.Error
		if _, err := original(t.Context(), c.client, c.hash, "evidence"); !errors.As(err, &known) || known.Kind != errs.NotFound || known.Reason != "NOT_FOUND" {
			t.Errorf("a photo %s: %v, want NotFound", name, err)
		}
	}
	if got := w.openings(); len(got) > 0 {
		t.Errorf("what was refused is written down as opened: %v", got)
	}
}

// TestOfTimeAndPlaceOnlyTheDistanceIsTold: nothing that a reader gets holds where a photo was taken.
func TestOfTimeAndPlaceOnlyTheDistanceIsTold(t *testing.T) {
	t.Parallel()
	w := start(t)
	photo := w.upload(before)
	if !photo.GetHasPlace() || photo.GetTakeTime() == nil || photo.DistanceM != nil {
		t.Errorf("uploaded as %v, want that it knows its place and time and no distance", photo)
	}
	if photo.GetSharpness() < 1000 || photo.GetBrightness() == 0 || photo.BlownPercent == nil {
		t.Errorf("uploaded as %v, want that it was measured", photo)
	}
	// The drawn photo says 39.961176, -82.998794; a thousandth of a degree north are 111 m.
	m := with(record(t, "V-1"), func(m *jobsv1.RepairRecord) {
		m.Photos = []*jobsv1.PhotoReference{named(photo.GetPhotoHash(), 1)}
		m.PlaceOfRepair.LatitudeDegrees, m.PlaceOfRepair.LongitudeDegrees = proto.Float64(39.962176), proto.Float64(-82.998794)
	})
	job := w.record(m)
	got, err := w.Jobs.GetJob(t.Context(), &jobsv1.GetJobRequest{JobId: job.GetJobId()})
	if err != nil {
		t.Fatal(err)
	}
	if p := got.GetPhotos()[0]; p.GetDistanceM() != 111 || p.GetSharpness() != photo.GetSharpness() {
		t.Errorf("with its job it is told of as %v, want 111 m and the same measures", p)
	}
	for _, text := range []string{got.GetPhotos()[0].String(), photo.String()} {
		if strings.Contains(text, "39.96") || strings.Contains(text, "39961") || strings.Contains(text, "82.99") {
			t.Errorf("the place is told: %s", text)
		}
	}
	shown, err := w.show(t.Context(), photo.GetPhotoHash(), 0)
	if err != nil || bytes.Contains(shown, []byte("Exif")) {
		t.Errorf("what is shown carries metadata (%v)", err)
	}
}
