package rpc

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
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
// an empty message with the faults in it to the guard, which refuses it as INVALID_ARGUMENT.
type codec struct{}

// Faults travel to the guard as an unknown field of the request itself, with one of the two largest
// numbers that a field may have. Whoever sends such a field himself can only get his own request
// refused.
const (
	// unreadable carries what made a request unreadable: the rest of the message is empty.
	unreadable protowire.Number = protowire.MaxValidNumber
	// leftOut carries what the JSON gateway could not read and left out: the rest is as it was sent.
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
	faults := wireFaults(data.Materialize(), md, nil)
	if len(faults) == 0 {
		faults = []errs.Field{malformed(nil, md)}
	}
	return carry(message, unreadable, faults)
}

// wireFaults finds where bytes are no message of the type: strings that are not UTF-8, by path,
// and where the encoding breaks off.
func wireFaults(b []byte, md protoreflect.MessageDescriptor, at *place) (faults []errs.Field) {
	counts := map[protowire.Number]int{}
	for len(b) > 0 {
		number, kind, n := protowire.ConsumeTag(b)
		if n < 0 {
			return append(faults, malformed(at, md))
		}
		b = b[n:]
		size := protowire.ConsumeFieldValue(number, kind, b)
		if size < 0 {
			return append(faults, malformed(at, md))
		}
		value := b[:size]
		b = b[size:]
		fd := md.Fields().ByNumber(number)
		if fd == nil || kind != protowire.BytesType {
			continue
		}
		here := at.field(fd)
		if fd.IsList() {
			here = here.item(counts[number])
			counts[number]++
		}
		inner, _ := protowire.ConsumeBytes(value)
		switch fd.Kind() {
		case protoreflect.StringKind:
			if !utf8.Valid(inner) {
				faults = append(faults, errs.Field{Path: here.String(), Reason: "NOT_UTF8",
					Message: "the bytes " + strconv.QuoteToASCII(string(inner[:min(len(inner), 40)])) +
						" are not UTF-8 text; convert the text to UTF-8 and send it again"})
			}
		case protoreflect.MessageKind:
			faults = append(faults, wireFaults(inner, fd.Message(), here)...)
		}
	}
	return faults
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

// maxCarried is how many faults are handed on; more of them help nobody.
const maxCarried = 200

func carry(message proto.Message, as protowire.Number, faults []errs.Field) error {
	if more := len(faults) - maxCarried; more > 0 {
		faults = append(faults[:maxCarried:maxCarried], errs.Field{Path: "request", Reason: "MORE_FAULTS",
			Message: fmt.Sprintf("%d more fields are wrong; mend the first ones and send the request again", more)})
	}
	encoded, err := proto.Marshal(&errdetails.BadRequest{FieldViolations: violations(faults)})
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

// joinFaults puts the guard's faults behind those that were handed on, and leaves out what only
// follows from them: a field that was left out is missing by now.
func joinFaults(handedOn, own []errs.Field) []errs.Field {
	for _, f := range own {
		if !slices.ContainsFunc(handedOn, func(g errs.Field) bool { return isWithin(f.Path, g.Path) }) {
			handedOn = append(handedOn, f)
		}
	}
	return handedOn
}

func isWithin(path, outer string) bool {
	rest, ok := strings.CutPrefix(path, outer)
	return ok && (rest == "" || rest[0] == '.' || rest[0] == '[')
}
