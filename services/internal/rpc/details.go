package rpc

import (
	"maps"
	"slices"
	"strconv"
	"time"
	"unicode/utf8"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	"cullet/services/errs"
)

// Caps of one status. Details travel in the trailers, in base64: a trailer of more than about
// 6 KB made the C client of Debian 12 (gRPC core 1.51) show INTERNAL without details, and
// grpc-js wait for ever. The message travels twice, the second time percent-encoded.
const (
	maxStatusBytes  = 4096
	maxMessageBytes = 600
	maxFieldBytes   = 400
	maxPathBytes    = 200
	maxDetailBytes  = 1200
	maxDetailKeys   = 30
)

// retryAfter is what RetryInfo says.
var retryAfter = map[errs.Kind]time.Duration{
	errs.Unavailable: time.Second,
	errs.Exhausted:   2 * time.Second,
	errs.Stale:       100 * time.Millisecond,
}

// DetailCount is the key of ErrorInfo's metadata that tells how many fields are wrong, also those
// that did not fit.
const DetailCount = "violation_count"

// fit makes the status and leaves out as many field violations as the cap asks for.
func fit(code codes.Code, e *errs.Error) *status.Status {
	bare := status.New(code, shorten(e.Message, maxMessageBytes))
	info := &errdetails.ErrorInfo{Reason: e.Reason, Domain: Domain, Metadata: metadataOf(e)}
	rest := companions(e)
	fields := violations(e.Fields)
	for {
		details := append([]protoadapt.MessageV1{info}, rest...)
		if len(fields) > 0 {
			details = append(details, &errdetails.BadRequest{FieldViolations: fields})
		}
		full, err := bare.WithDetails(details...)
		if err != nil {
			return bare
		}
		over := proto.Size(full.Proto()) - maxStatusBytes
		if over <= 0 || len(fields) == 0 {
			return full
		}
		fields = fields[:len(fields)-dropFor(over, fields)]
	}
}

// dropFor tells how many of the last violations must go to save over bytes; at least one.
func dropFor(over int, fields []*errdetails.BadRequest_FieldViolation) int {
	n := 0
	for saved := 0; saved < over && n < len(fields); n++ {
		saved += proto.Size(fields[len(fields)-1-n])
	}
	return max(n, 1)
}

// violations shortens what is shown and takes no more than could ever fit.
func violations(fields []errs.Field) []*errdetails.BadRequest_FieldViolation {
	shown := make([]*errdetails.BadRequest_FieldViolation, 0, min(len(fields), maxStatusBytes/8))
	for _, f := range fields {
		if len(shown) == cap(shown) {
			break
		}
		shown = append(shown, &errdetails.BadRequest_FieldViolation{
			Field:       shorten(f.Path, maxPathBytes),
			Reason:      shorten(f.Reason, maxPathBytes),
			Description: shorten(f.Message, maxFieldBytes),
		})
	}
	return shown
}

func metadataOf(e *errs.Error) map[string]string {
	metadata := map[string]string{}
	left := maxDetailBytes
	for _, key := range slices.Sorted(maps.Keys(e.Detail)) {
		value := shorten(e.Detail[key], maxFieldBytes)
		if left -= len(key) + len(value); left < 0 || len(metadata) == maxDetailKeys {
			metadata["is_shortened"] = "true"
			break
		}
		metadata[key] = value
	}
	if len(e.Fields) > 0 {
		metadata[DetailCount] = strconv.Itoa(len(e.Fields))
	}
	return metadata
}

// companions are the details that go with a kind.
func companions(e *errs.Error) []protoadapt.MessageV1 {
	if wait, ok := retryAfter[e.Kind]; ok && e.Reason != reasonCancelled {
		return []protoadapt.MessageV1{&errdetails.RetryInfo{RetryDelay: durationpb.New(wait)}}
	}
	switch e.Kind {
	case errs.NotFound:
		if e.Detail[errs.DetailType] != "" {
			return []protoadapt.MessageV1{&errdetails.ResourceInfo{
				ResourceType: shorten(e.Detail[errs.DetailType], maxPathBytes),
				ResourceName: shorten(e.Detail[errs.DetailName], maxPathBytes),
				Description:  shorten(e.Message, maxPathBytes),
			}}
		}
	case errs.State:
		return []protoadapt.MessageV1{&errdetails.PreconditionFailure{
			Violations: []*errdetails.PreconditionFailure_Violation{{
				Type:        e.Reason,
				Subject:     shorten(e.Detail[errs.DetailName], maxPathBytes),
				Description: shorten(e.Message, maxFieldBytes),
			}},
		}}
	}
	return nil
}

// shorten cuts text to at most limit bytes, between characters, and shows that it did. What is
// not UTF-8 is replaced: a status with such bytes cannot be sent.
func shorten(text string, limit int) string {
	if !utf8.ValidString(text) {
		text = string([]rune(text))
	}
	if len(text) <= limit {
		return text
	}
	const mark = "…"
	cut := limit - len(mark)
	for cut > 0 && !utf8.RuneStart(text[cut]) {
		cut--
	}
	return text[:cut] + mark
}
