package rpc

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"time"

	"google.golang.org/protobuf/proto"

	"cullet/services/errs"
)

// tokenLife is how long a page token is good.
const tokenLife = 24 * time.Hour

// Sizes is how many things a page of a method holds.
type Sizes struct{ Default, Max int }

// Usual are the sizes of most methods.
var Usual = Sizes{Default: 50, Max: 200}

// ListRequest is a request for a page.
type ListRequest interface {
	proto.Message
	GetPageSize() int32
	GetPageToken() string
}

// Pager opens and makes page tokens. A token is good for the shop, the method and the other fields
// of the request that it was made for, and for a day. It is safe for concurrent use.
type Pager struct {
	key []byte
	now func() time.Time
}

// NewPager makes a pager. All servers over one database need the same key.
func NewPager(key []byte, now func() time.Time) *Pager { return &Pager{key: key, now: now} }

// Page is one page that is asked for.
type Page struct {
	// Size is how many things it holds at most; ask the database for one more to know whether
	// there is another page, and give all of them to Cut.
	Size int
	// After is where the page before ended, as it was given to Next; nil on the first page. Its
	// values are unchanged, so their number is what the method itself gave.
	After []string

	pager *Pager
	bound []byte
}

// Open reads size and token of a request. A negative size, and a token that was changed, is too
// old, or was made for another shop, method or filter, is an Invalid error. A size above the
// largest is taken as the largest, as AIP-158 has it.
func (p *Pager) Open(ctx context.Context, req ListRequest, sizes Sizes) (Page, error) {
	page := Page{Size: int(req.GetPageSize()), pager: p}
	if page.Size < 0 {
		return page, Refuse(ctx, []errs.Field{{Path: "page_size", Reason: "OUT_OF_RANGE",
			Message: "a negative number was given; give 1 or more, or 0 for the default"}})
	}
	if page.Size == 0 {
		page.Size = sizes.Default
	}
	page.Size = min(page.Size, sizes.Max)
	var err error
	if page.bound, err = bind(ctx, req); err != nil {
		return page, err
	}
	if token := req.GetPageToken(); token != "" {
		if page.After, err = page.read(token); err != nil {
			return page, Refuse(ctx, []errs.Field{{Path: "page_token", Reason: "PAGE_TOKEN", Message: err.Error()}})
		}
	}
	return page, nil
}

// bind gives what a token is bound to: caller's shop, method, and the request without its page.
func bind(ctx context.Context, req ListRequest) ([]byte, error) {
	bare := proto.Clone(req).ProtoReflect()
	for _, name := range []string{"page_size", "page_token"} {
		if fd := bare.Descriptor().Fields().ByTextName(name); fd != nil {
			bare.Clear(fd)
		}
	}
	rest, err := proto.MarshalOptions{Deterministic: true}.Marshal(bare.Interface())
	if err != nil {
		return nil, err
	}
	bound := append([]byte(CallerFrom(ctx).Shop), 0)
	bound = append(append(bound, MethodFrom(ctx)...), 0)
	return append(bound, rest...), nil
}

// Before is the identifier behind which a list that is sorted by identifiers, newest first, goes on;
// the largest UUID on the first page.
func (p Page) Before() string {
	if len(p.After) == 0 {
		return "ffffffff-ffff-ffff-ffff-ffffffffffff"
	}
	return p.After[len(p.After)-1]
}

// Next makes the token of the page behind the thing whose sort values are given; empty when there
// is no more.
func (p Page) Next(hasMore bool, after ...string) (string, error) {
	if !hasMore {
		return "", nil
	}
	values, err := json.Marshal(after)
	if err != nil {
		return "", err
	}
	body := binary.BigEndian.AppendUint64(nil, uint64(p.pager.now().Add(tokenLife).Unix()))
	body = append(body, values...)
	return base64.RawURLEncoding.EncodeToString(append(p.sign(body), body...)), nil
}

const signatureBytes = 16

func (p Page) sign(body []byte) []byte {
	mac := hmac.New(sha256.New, p.pager.key)
	mac.Write(p.bound)
	mac.Write([]byte{0})
	mac.Write(body)
	return mac.Sum(nil)[:signatureBytes]
}

func (p Page) read(token string) ([]string, error) {
	refused := errs.New(errs.Invalid, "PAGE_TOKEN", "this token was not given out for this list; send the "+
		"next_page_token of the page before with all other fields unchanged, or leave it out to begin anew")
	raw, err := base64.RawURLEncoding.Strict().DecodeString(token)
	if err != nil || len(raw) < signatureBytes+8 {
		return nil, refused
	}
	signature, body := raw[:signatureBytes], raw[signatureBytes:]
	if !hmac.Equal(signature, p.sign(body)) {
		return nil, refused
	}
	if until := time.Unix(int64(binary.BigEndian.Uint64(body)), 0); p.pager.now().After(until) {
		return nil, errs.New(errs.Invalid, "PAGE_TOKEN",
			"this token is older than a day; leave it out to begin the list anew")
	}
	var after []string
	if err := json.Unmarshal(body[8:], &after); err != nil {
		return nil, refused
	}
	return after, nil
}

// Cut takes the one row too many off and tells whether there was one.
func Cut[T any](rows []T, page Page) (shown []T, hasMore bool) {
	if len(rows) > page.Size {
		return rows[:page.Size], true
	}
	return rows, false
}
