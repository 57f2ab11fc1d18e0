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
// an empty message with the faults in it to the guard, which refuses it as INVALID_ARGUMENT.
type codec struct{}

// faultNumber is the number of the unknown field that carries the faults: the largest that a
// message may have. A caller who sends it himself gets it refused like any other unknown field.
const faultNumber protowire.Number = protowire.MaxValidNumber

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
	carried, err := carry(faults)
	if err != nil {
		return err
	}
	unknown := protowire.AppendTag(nil, faultNumber, protowire.BytesType)
	message.ProtoReflect().SetUnknown(protowire.AppendBytes(unknown, carried))
	return nil
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

// carriedFaults reads back what Unmarshal put into the message; nil when it was readable.
func carriedFaults(unknown protoreflect.RawFields) []errs.Field {
	number, kind, n := protowire.ConsumeTag(unknown)
	if number != faultNumber || kind != protowire.BytesType {
		return nil
	}
	value, size := protowire.ConsumeBytes(unknown[n:])
	if size < 0 {
		return nil
	}
	return readFaults(value)
}

// maxCarried is how many faults are handed on; more of them help nobody.
const maxCarried = 200

// carry encodes faults for the way from where they were found to the guard.
func carry(faults []errs.Field) ([]byte, error) {
	if more := len(faults) - maxCarried; more > 0 {
		faults = append(faults[:maxCarried:maxCarried], errs.Field{Path: "request", Reason: "MORE_FAULTS",
			Message: fmt.Sprintf("%d more fields are wrong; mend the first ones and send the request again", more)})
	}
	return proto.Marshal(&errdetails.BadRequest{FieldViolations: violations(faults)})
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
