package rpc

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	"cullet/services/errs"
)

func TestStatusRestoresTheError(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		given *errs.Error
		code  codes.Code
	}{
		{errs.New(errs.Invalid, "BAD", "bad"), codes.InvalidArgument},
		{errs.New(errs.NotFound, "NOT_FOUND", "gone"), codes.NotFound},
		{errs.New(errs.Conflict, "TAKEN", "taken").With("differs", "vin"), codes.AlreadyExists},
		{errs.New(errs.Stale, "ETAG_STALE", "old").With(errs.DetailEtag, "v7"), codes.Aborted},
		{errs.New(errs.State, "RELEASED", "released").With(errs.DetailName, "c1"), codes.FailedPrecondition},
		{errs.New(errs.Unauthenticated, "KEY_MISSING", "no key"), codes.Unauthenticated},
		{errs.New(errs.Forbidden, "RIGHT_MISSING", "may not"), codes.PermissionDenied},
		{errs.New(errs.Exhausted, "QUOTA", "full"), codes.ResourceExhausted},
		{errs.New(errs.Unavailable, "RETRY", "later"), codes.Unavailable},
	} {
		t.Run(test.given.Reason, func(t *testing.T) {
			t.Parallel()
			s := ToStatus(fmt.Errorf("insert claim: %w", test.given), "")
			if s.Code() != test.code {
				t.Errorf("code = %s, want %s", s.Code(), test.code)
			}
			var got *errs.Error
			if !errors.As(FromStatus(s.Err()), &got) {
				t.Fatalf("FromStatus gave %v, want an *errs.Error", FromStatus(s.Err()))
			}
			if got.Kind != test.given.Kind || got.Reason != test.given.Reason || got.Message != test.given.Message {
				t.Errorf("restored %v %s %q, want %v %s %q", got.Kind, got.Reason, got.Message,
					test.given.Kind, test.given.Reason, test.given.Message)
			}
			for key, want := range test.given.Detail {
				if got.Detail[key] != want {
					t.Errorf("detail %s = %q, want %q", key, got.Detail[key], want)
				}
			}
		})
	}
}

func TestEveryKindHasItsOwnCode(t *testing.T) {
	t.Parallel()
	seen := map[codes.Code]errs.Kind{}
	for kind := errs.Internal; kind <= errs.Unavailable; kind++ {
		code, ok := codeOf[kind]
		if !ok {
			t.Errorf("kind %d has no code", kind)
		}
		if other, taken := seen[code]; taken {
			t.Errorf("kinds %d and %d are both %s", kind, other, code)
		}
		seen[code] = kind
	}
}

func TestUnknownErrorsSayNothing(t *testing.T) {
	t.Parallel()
	s := ToStatus(errors.New("pq: password of Jane Example at 10.0.0.7 is wrong"), "id-1")
	if s.Code() != codes.Internal {
		t.Fatalf("code = %s, want Internal", s.Code())
	}
	text := s.Proto().String()
	if strings.Contains(text, "Jane") || strings.Contains(text, "10.0.0.7") {
		t.Errorf("the status tells what it must not: %s", text)
	}
	if !strings.Contains(s.Message(), "id-1") {
		t.Errorf("message %q does not name the error id", s.Message())
	}
}

func TestEndedContexts(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		given error
		code  codes.Code
	}{
		{fmt.Errorf("read: %w", context.DeadlineExceeded), codes.DeadlineExceeded},
		{fmt.Errorf("read: %w", context.Canceled), codes.Canceled},
	} {
		s := ToStatus(test.given, "")
		if s.Code() != test.code {
			t.Errorf("code = %s, want %s", s.Code(), test.code)
		}
		if restored := FromStatus(s.Err()); !errors.Is(restored, errors.Unwrap(test.given)) {
			t.Errorf("restored %v does not wrap %v", restored, errors.Unwrap(test.given))
		}
	}
}

// The cap comes from foreign clients: with about 6 KB of details the C client of Debian 12 showed
// INTERNAL, and grpc-js waited for ever with 1,000 violations.
func TestDetailsStaySmall(t *testing.T) {
	t.Parallel()
	for _, n := range []int{1, 2, 10, 55, 100, 1000, 10_000} {
		for _, size := range []int{1, 40, 2000} {
			fields := make([]errs.Field, n)
			for i := range fields {
				fields[i] = errs.Field{Path: fmt.Sprintf("damages[%d].body_diameter_mm", i), Reason: "TOO_SMALL",
					Message: strings.Repeat("ü", size)}
			}
			s := ToStatus(errs.InvalidFields("INVALID_REQUEST", fields), "")
			if got := proto.Size(s.Proto()); got > maxStatusBytes {
				t.Errorf("%d faults of %d characters: status of %d bytes, want at most %d", n, size, got, maxStatusBytes)
			}
			var restored *errs.Error
			if !errors.As(FromStatus(s.Err()), &restored) {
				t.Fatalf("no *errs.Error")
			}
			if got := restored.Detail[DetailCount]; got != fmt.Sprint(n) {
				t.Errorf("%d faults: %s = %q", n, DetailCount, got)
			}
			if len(restored.Fields) == 0 || restored.Fields[0].Path != fields[0].Path {
				t.Errorf("%d faults of %d characters: %d fields shown, the first must be", n, size, len(restored.Fields))
			}
			if n == 1 && size == 1 && len(restored.Fields) != 1 {
				t.Errorf("one small fault: %d fields shown", len(restored.Fields))
			}
		}
	}
}

func TestDetailsOfManyKeysStaySmall(t *testing.T) {
	t.Parallel()
	known := errs.New(errs.Conflict, "OTHER_RECORD", strings.Repeat("long ", 2000))
	for i := range 500 {
		known = known.With(fmt.Sprintf("field_%03d", i), strings.Repeat("x", i))
	}
	s := ToStatus(known, "")
	if got := proto.Size(s.Proto()); got > maxStatusBytes {
		t.Errorf("status of %d bytes, want at most %d", got, maxStatusBytes)
	}
}

func TestCompanionsOfKinds(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name  string
		given error
		want  proto.Message
	}{
		{"retry", errs.New(errs.Unavailable, "RETRY", "later"), &errdetails.RetryInfo{}},
		{"resource", errs.Missing("payer", "p1"), &errdetails.ResourceInfo{}},
		{"precondition", errs.New(errs.State, "RELEASED", "released"), &errdetails.PreconditionFailure{}},
		{"fields", errs.InvalidFields("INVALID_REQUEST", []errs.Field{{Path: "vin", Reason: "LENGTH"}}), &errdetails.BadRequest{}},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			var got []string
			for _, detail := range ToStatus(test.given, "").Details() {
				got = append(got, string(detail.(proto.Message).ProtoReflect().Descriptor().Name()))
			}
			want := []string{"ErrorInfo", string(test.want.ProtoReflect().Descriptor().Name())}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("details (-want +got):\n%s", diff)
			}
		})
	}
}

func TestRedactLeavesValuesOut(t *testing.T) {
	t.Parallel()
	err := fmt.Errorf("read job %s: %w", `"Jane Example"`, errors.New("policy 'PX-99' of 1FTMW1T88MFA00001 or 4155550123456"))
	got := Redact(err)
	for _, secret := range []string{"Jane", "PX-99", "4155550123456"} {
		if strings.Contains(got, secret) {
			t.Errorf("%q holds %q", got, secret)
		}
	}
}

func TestShortenKeepsCharactersWhole(t *testing.T) {
	t.Parallel()
	for limit := 4; limit < 12; limit++ {
		got := shorten("äöüßäöüß", limit)
		if len(got) > limit || strings.ContainsRune(got, '\uFFFD') {
			t.Errorf("shorten to %d bytes = %q", limit, got)
		}
	}
	if got := shorten("a\xffb", 10); got != "a\uFFFDb" {
		t.Errorf("shorten of what is not UTF-8 = %q", got)
	}
}
