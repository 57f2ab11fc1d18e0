package rpc

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/ident"
)

// calling gives the context of a call of a method by a shop.
func calling(ctx context.Context, shop ident.Shop, method string) context.Context {
	return context.WithValue(ctx, callKey{}, &call{method: method, caller: access.Caller{Shop: shop}})
}

func TestPageTokens(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 11, 25, 21, 0, 0, 0, time.UTC)
	pager := NewPager([]byte("key"), func() time.Time { return now })
	mine := calling(t.Context(), "shop-a", "/x.X/List")
	request := func(filter, token string) *jobsv1.ListJobsRequest {
		return &jobsv1.ListJobsRequest{PageSize: 10, Filter: filter, PageToken: token}
	}
	first, err := pager.Open(mine, request("state = A", ""), Usual)
	if err != nil {
		t.Fatal(err)
	}
	token, err := first.Next(true, "Müller & Co", "id-9")
	if err != nil {
		t.Fatal(err)
	}

	t.Run("gives back what was put in", func(t *testing.T) {
		t.Parallel()
		larger := request("state = A", token)
		larger.PageSize = 77
		page, err := pager.Open(mine, larger, Usual)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff([]string{"Müller & Co", "id-9"}, page.After); diff != "" {
			t.Errorf("after (-want +got):\n%s", diff)
		}
		if page.Before() != "id-9" || page.Size != 77 {
			t.Errorf("before %q, size %d", page.Before(), page.Size)
		}
	})
	for _, test := range []struct {
		name string
		ctx  context.Context
		req  *jobsv1.ListJobsRequest
		by   *Pager
	}{
		{"of another shop", calling(t.Context(), "shop-b", "/x.X/List"), request("state = A", token), pager},
		{"of another method", calling(t.Context(), "shop-a", "/x.X/Other"), request("state = A", token), pager},
		{"of another filter", mine, request("state = B", token), pager},
		{"of another server's key", mine, request("state = A", token), NewPager([]byte("other"), pager.now)},
		{"cut", mine, request("state = A", token[:len(token)-4]), pager},
		{"no token", mine, request("state = A", "x"), pager},
		{"no base64", mine, request("state = A", strings.Repeat("%", 80)), pager},
		{"a day old", mine, request("state = A", token),
			NewPager([]byte("key"), func() time.Time { return now.Add(tokenLife + time.Second) })},
	} {
		t.Run("refuses one "+test.name, func(t *testing.T) {
			t.Parallel()
			_, err := test.by.Open(test.ctx, test.req, Usual)
			if !errs.Is(err, errs.Invalid) {
				t.Errorf("error = %v, want Invalid", err)
			}
		})
	}
	t.Run("refuses every changed character", func(t *testing.T) {
		t.Parallel()
		for i := range token {
			other := byte('A')
			if token[i] == 'A' {
				other = 'B'
			}
			changed := token[:i] + string(other) + token[i+1:]
			if _, err := pager.Open(mine, request("state = A", changed), Usual); !errs.Is(err, errs.Invalid) {
				t.Errorf("changed at %d: error = %v, want Invalid", i, err)
			}
		}
	})
	t.Run("is good for its whole day", func(t *testing.T) {
		t.Parallel()
		late := NewPager([]byte("key"), func() time.Time { return now.Add(tokenLife) })
		if _, err := late.Open(mine, request("state = A", token), Usual); err != nil {
			t.Error(err)
		}
	})
}

func TestPageSizes(t *testing.T) {
	t.Parallel()
	pager := NewPager([]byte("key"), time.Now)
	ctx := calling(t.Context(), "shop", "/x.X/List")
	for _, test := range []struct {
		given int32
		want  int
	}{{0, 50}, {1, 1}, {200, 200}, {201, 200}, {1 << 30, 200}} {
		page, err := pager.Open(ctx, &jobsv1.ListJobsRequest{PageSize: test.given}, Usual)
		if err != nil || page.Size != test.want {
			t.Errorf("page_size %d: size %d, error %v; want %d", test.given, page.Size, err, test.want)
		}
	}
	if _, err := pager.Open(ctx, &jobsv1.ListJobsRequest{PageSize: -1}, Usual); !errs.Is(err, errs.Invalid) {
		t.Errorf("page_size -1: error = %v, want Invalid", err)
	}
	page, err := pager.Open(ctx, &jobsv1.ListJobsRequest{PageSize: 2}, Usual)
	if err != nil {
		t.Fatal(err)
	}
	if shown, hasMore := Cut([]int{1, 2, 3}, page); len(shown) != 2 || !hasMore {
		t.Errorf("Cut of three = %v %v", shown, hasMore)
	}
	if shown, hasMore := Cut([]int{1, 2}, page); len(shown) != 2 || hasMore {
		t.Errorf("Cut of two = %v %v", shown, hasMore)
	}
	if token, err := page.Next(false, "x"); token != "" || err != nil {
		t.Errorf("token at the end = %q, %v", token, err)
	}
}

func TestEtags(t *testing.T) {
	t.Parallel()
	for _, version := range []int{1, 7, 123456} {
		if got, faults := ParseEtag("etag", Etag(version)); got != version || len(faults) != 0 {
			t.Errorf("ParseEtag(Etag(%d)) = %d, %v", version, got, faults)
		}
	}
	for _, bad := range []string{"", "v", "v0", "v-1", "v01", "7", "v1x", `"v1"`, "v99999999999999999999"} {
		if _, faults := ParseEtag("shop.etag", bad); len(faults) != 1 || faults[0].Path != "shop.etag" {
			t.Errorf("ParseEtag(%q): %v, want one fault", bad, faults)
		}
	}
	if err := CheckVersion(3, 3); err != nil {
		t.Error(err)
	}
	if err := CheckVersion(3, 4); !errs.Is(err, errs.Stale) {
		t.Errorf("CheckVersion(3, 4) = %v, want Stale", err)
	}
}

func TestRefuseKeepsOneFaultAPath(t *testing.T) {
	t.Parallel()
	ctx := context.WithValue(t.Context(), callKey{}, &call{faults: []errs.Field{{Path: "name", Reason: "REQUIRED"}}})
	err := Refuse(ctx, []errs.Field{{Path: "name", Reason: "TOO_SMALL"}, {Path: "role", Reason: "REQUIRED"}})
	var known *errs.Error
	if !asError(err, &known) {
		t.Fatalf("error = %v", err)
	}
	if diff := cmp.Diff([]string{"name REQUIRED", "role REQUIRED"}, reasons(known.Fields)); diff != "" {
		t.Errorf("faults (-want +got):\n%s", diff)
	}
	if err := Refuse(t.Context(), nil); err != nil {
		t.Errorf("nothing wrong: %v", err)
	}
}
