package rpc

import (
	"fmt"
	"strconv"
	"unicode/utf8"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/encoding"
	_ "google.golang.org/grpc/encoding/proto" // registers the codec that ours stands before
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"cullet/services/errs"
)

// codec is gRPC's own codec, but for requests that cannot be read. gRPC answers those with
// INTERNAL before any interceptor sees them; this codec finds out what is wrong, by path, and hands
// a message with the faults in it to the guard, which refuses it as INVALID_ARGUMENT: with all that can be
// read where only texts are no UTF-8, else empty.
type codec struct{}

// Faults travel to the guard as an unknown field of the request itself, with one of the two largest
// numbers that a field may have. Whoever sends such a field himself can only get his own request
// refused.
const (
	// unreadable carries what made a request unreadable: the rest of the message is empty.
	unreadable protowire.Number = protowire.MaxValidNumber
	// leftOut carries what could not be read and was left out, by the JSON gateway or here: the rest is as
	// it was sent.
	leftOut protowire.Number = protowire.MaxValidNumber - 1
)

func (codec) Name() string { return "proto" }

func (codec) Marshal(v any) (mem.BufferSlice, error) { return encoding.GetCodecV2("proto").Marshal(v) }

func (codec) Unmarshal(data mem.BufferSlice, v any) error {
	err := encoding.GetCodecV2("proto").Unmarshal(data, v)
	if err == nil {
		return nil
	}
	message, ok := v.(proto.Message)
	if !ok {
		return err
	}
	proto.Reset(message)
	md := message.ProtoReflect().Descriptor()
	r := &repair{}
	readable := r.message(data.Materialize(), md, nil)
	if len(r.faults) > 0 && !r.isBroken && proto.Unmarshal(readable, message) == nil {
		return carry(message, leftOut, r.faults)
	}
	proto.Reset(message)
	if len(r.faults) == 0 {
		r.faults = []errs.Field{malformed(nil, md)}
	}
	return carry(message, unreadable, r.faults)
}

// repair finds where bytes are no message of the type: strings that are not UTF-8, by path, and where
// the encoding breaks off.
type repair struct {
	faults []errs.Field
	// isBroken tells that the encoding breaks off somewhere.
	isBroken bool
}

// message gives the bytes with every string that is not UTF-8 empty, so that all else can be looked at.
func (r *repair) message(b []byte, md protoreflect.MessageDescriptor, at *place) (readable []byte) {
	counts := map[protowire.Number]int{}
	for len(b) > 0 {
		number, kind, n := protowire.ConsumeTag(b)
		size := -1
		if n >= 0 {
			size = protowire.ConsumeFieldValue(number, kind, b[n:])
		}
		if size < 0 {
			r.isBroken = true
			r.faults = append(r.faults, malformed(at, md))
			return readable
		}
		whole, value := b[:n+size], b[n:n+size]
		b = b[n+size:]
		fd := md.Fields().ByNumber(number)
		if fd == nil || kind != protowire.BytesType || fd.Kind() != protoreflect.StringKind && fd.Kind() != protoreflect.MessageKind {
			readable = append(readable, whole...)
			continue
		}
		here := at.field(&planned{name: string(fd.Name())})
		if fd.IsList() {
			here = here.item(counts[number])
			counts[number]++
		}
		inner, _ := protowire.ConsumeBytes(value)
		switch {
		case fd.Kind() == protoreflect.MessageKind:
			inner = r.message(inner, fd.Message(), here)
		case !utf8.Valid(inner):
			r.faults = append(r.faults, errs.Field{Path: here.String(), Reason: "NOT_UTF8",
				Message: "the bytes " + strconv.QuoteToASCII(string(around(inner))) +
					" are not UTF-8 text; convert the text to UTF-8 and send it again"})
			inner = nil
		}
		readable = protowire.AppendBytes(protowire.AppendTag(readable, number, protowire.BytesType), inner)
	}
	return readable
}

// around gives a piece of the bytes with the first that is not UTF-8 in it.
func around(b []byte) []byte {
	at := 0
	for at < len(b) {
		r, size := utf8.DecodeRune(b[at:])
		if r == utf8.RuneError && size == 1 {
			break
		}
		at += size
	}
	return b[max(0, at-20):min(len(b), at+20)]
}

func malformed(at *place, md protoreflect.MessageDescriptor) errs.Field {
	return errs.Field{Path: at.String(), Reason: "MALFORMED", Message: "the bytes are no message " +
		string(md.FullName()) + "; encode the request with the code generated from the contract"}
}

// Carry puts faults that were found before the guard, and whose fields were left out, into the
// request. The guard reports them together with its own.
func Carry(message proto.Message, faults []errs.Field) error {
	if len(faults) == 0 {
		return nil
	}
	return carry(message, leftOut, faults)
}

// maxTold is how many faults are handed on with their texts: no answer has room for more. Of those
// behind them the paths suffice, to count them and to know what only follows from them. A request with
// more than maxCarried has nothing else checked.
const (
	maxTold    = 200
	maxCarried = 2000
)

func carry(message proto.Message, as protowire.Number, faults []errs.Field) error {
	if n := len(faults); n > maxCarried {
		faults = append([]errs.Field{{Path: "request", Reason: "MORE_FAULTS", Message: fmt.Sprintf(
			"%d fields do not fit the contract, too many to look at the others; mend them and send the request again", n)}},
			faults[:maxCarried]...)
	}
	told := violations(faults[:min(len(faults), maxTold)])
	for _, f := range faults[len(told):] {
		told = append(told, &errdetails.BadRequest_FieldViolation{Field: shorten(f.Path, maxPathBytes), Reason: f.Reason})
	}
	encoded, err := proto.Marshal(&errdetails.BadRequest{FieldViolations: told})
	if err != nil {
		return fmt.Errorf("hand on %d faults: %w", len(faults), err)
	}
	unknown := append(protoreflect.RawFields(nil), message.ProtoReflect().GetUnknown()...)
	unknown = protowire.AppendTag(unknown, as, protowire.BytesType)
	message.ProtoReflect().SetUnknown(protowire.AppendBytes(unknown, encoded))
	return nil
}

// carried reads back what was put into a request, and gives the unknown fields without it. IsAll
// tells that there is nothing else to check.
func carried(raw protoreflect.RawFields) (faults []errs.Field, rest protoreflect.RawFields, isAll bool) {
	for len(raw) > 0 {
		number, kind, n := protowire.ConsumeField(raw)
		if n < 0 {
			break
		}
		if number >= leftOut && kind == protowire.BytesType {
			_, _, tag := protowire.ConsumeTag(raw)
			value, _ := protowire.ConsumeBytes(raw[tag:n])
			if found := readFaults(value); len(found) > 0 {
				faults = append(faults, found...)
				isAll = isAll || number == unreadable || found[0].Path == "request"
				raw = raw[n:]
				continue
			}
		}
		rest = append(rest, raw[:n]...)
		raw = raw[n:]
	}
	return faults, rest, isAll
}

func readFaults(encoded []byte) []errs.Field {
	var carried errdetails.BadRequest
	if proto.Unmarshal(encoded, &carried) != nil {
		return nil
	}
	faults := make([]errs.Field, 0, len(carried.GetFieldViolations()))
	for _, v := range carried.GetFieldViolations() {
		faults = append(faults, errs.Field{Path: v.GetField(), Reason: v.GetReason(), Message: v.GetDescription()})
	}
	return faults
}

// outside gives what was found neither at nor within a field that was refused: the rest only follows
// from that.
func outside(refused, found []errs.Field) (kept []errs.Field) {
	paths := make(map[string]bool, len(refused))
	for _, f := range refused {
		paths[f.Path] = true
	}
	for _, f := range found {
		isWithin := paths[f.Path]
		for i := range f.Path {
			isWithin = isWithin || (f.Path[i] == '.' || f.Path[i] == '[') && paths[f.Path[:i]]
		}
		if !isWithin {
			kept = append(kept, f)
		}
	}
	return kept
}
