package gateway

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"cullet/services/errs"
	"cullet/services/internal/rpc"
)

// strict reads JSON as protojson does, and where protojson gives up at the first fault, finds them
// all.
type strict struct{ *runtime.JSONPb }

// NewDecoder gives a decoder for one body.
func (strict) NewDecoder(r io.Reader) runtime.Decoder {
	return runtime.DecoderFunc(func(v any) error {
		message, ok := v.(proto.Message)
		if !ok {
			return fmt.Errorf("decode into %T", v)
		}
		return decode(r, message)
	})
}

func decode(r io.Reader, message proto.Message) error {
	body, err := io.ReadAll(io.LimitReader(r, MaxBody+1))
	switch {
	case err == nil && len(body) > MaxBody:
		_, _ = io.Copy(io.Discard, r) // ends at maxDrained; whoever sends more is cut off
		return rpc.Carry(message, whole("TOO_LARGE", "the body is larger than %d bytes, which is the most that is read; "+
			"send less at once, and photos by gRPC", MaxBody))
	case err != nil:
		return unreadable(err)
	case len(body) == 0:
		return nil
	case !utf8.Valid(body):
		return rpc.Carry(message, whole("NOT_UTF8", "%s; convert the text to UTF-8 and send it again", notUTF8(body)))
	}
	if protojson.Unmarshal(body, message) == nil {
		return nil
	}
	proto.Reset(message)
	tree, err := parse(body)
	if err != nil {
		return rpc.Carry(message, whole("NOT_JSON", "the body is no JSON: %v", err))
	}
	root, ok := tree.(object)
	if !ok {
		return rpc.Carry(message, whole("NOT_JSON", "%s was given; give a JSON object, {...}", describe(tree)))
	}
	var p pruner
	rest, err := json.Marshal(p.object(root, message.ProtoReflect(), ""))
	if err != nil {
		return err
	}
	if err := protojson.Unmarshal(rest, message); err != nil {
		proto.Reset(message)
		return rpc.Carry(message, whole("NOT_JSON", "the body does not fit the contract: %v", err))
	}
	return rpc.Carry(message, p.faults)
}

// notUTF8 shows the first bytes of a body that are no text, and where they stand.
func notUTF8(body []byte) string {
	start := 0
	for r, n := utf8.DecodeRune(body); r != utf8.RuneError || n != 1; r, n = utf8.DecodeRune(body[start:]) {
		start += n
	}
	line, column := position(body[:start])
	return fmt.Sprintf("the bytes %s at line %d, column %d of the body are not UTF-8 text",
		strconv.QuoteToASCII(string(body[start:min(start+8, len(body))])), line, column)
}

func whole(reason, message string, args ...any) []errs.Field {
	return []errs.Field{{Path: "request", Reason: reason, Message: fmt.Sprintf(message, args...)}}
}

// pruner leaves out of a body what does not fit the contract, and says what and why.
type pruner struct{ faults []errs.Field }

func (p *pruner) fault(path, reason, message string, args ...any) {
	p.faults = append(p.faults, errs.Field{Path: path, Reason: reason, Message: fmt.Sprintf(message, args...)})
}

// object gives what of an object fits the message, under the names of the contract.
func (p *pruner) object(from object, m protoreflect.Message, path string) map[string]any {
	kept := map[string]any{}
	for _, member := range from {
		fields := m.Descriptor().Fields()
		fd := fields.ByJSONName(member.name)
		if fd == nil {
			fd = fields.ByTextName(member.name)
		}
		if fd == nil {
			p.fault(rpc.Join(path, shorten(member.name)), "UNKNOWN_FIELD",
				"the contract of %s has no such field; allowed are %s", m.Descriptor().FullName(), names(fields))
			continue
		}
		here := rpc.Join(path, string(fd.Name()))
		if _, isTwice := kept[fd.JSONName()]; isTwice {
			p.fault(here, "REPEATED", "the field stands twice; leave one of them out")
			continue
		}
		if value, ok := p.value(member.value, fd, m, here); ok {
			kept[fd.JSONName()] = value
		}
	}
	return kept
}

// value gives what of a field's value fits; ok is false when nothing does.
func (p *pruner) value(v any, fd protoreflect.FieldDescriptor, m protoreflect.Message, path string) (any, bool) {
	if v == nil {
		return nil, false
	}
	if !fd.IsList() {
		return p.single(v, fd, m, path)
	}
	items, ok := v.([]any)
	if !ok {
		p.fault(path, "WRONG_TYPE", "%s was given; give a list, [...]", describe(v))
		return nil, false
	}
	kept := make([]any, len(items))
	for i, item := range items {
		// A faulty item is kept as an empty one, so that the others keep their numbers.
		if kept[i], ok = p.single(item, fd, m, fmt.Sprintf("%s[%d]", path, i)); !ok {
			kept[i] = empty(fd)
		}
	}
	return kept, true
}

func (p *pruner) single(v any, fd protoreflect.FieldDescriptor, m protoreflect.Message, path string) (any, bool) {
	if fd.Message() != nil && !isWellKnown(fd.Message()) {
		inner, ok := v.(object)
		if !ok {
			p.fault(path, "WRONG_TYPE", "%s was given; give an object, {...}", describe(v))
			return nil, false
		}
		return p.object(inner, newItem(m, fd), path), true
	}
	if !fits(v, fd, m) {
		p.fault(path, "WRONG_TYPE", "%s was given; give %s", describe(v), wanted(fd))
		return nil, false
	}
	return v, true
}

// fits asks protojson itself whether the one value can be read, so there is one rule for it.
func fits(v any, fd protoreflect.FieldDescriptor, m protoreflect.Message) bool {
	if _, isObject := v.(object); isObject {
		return false
	}
	if fd.IsList() {
		v = []any{v}
	}
	alone, err := json.Marshal(map[string]any{fd.JSONName(): v})
	return err == nil && protojson.Unmarshal(alone, m.New().Interface()) == nil
}

func newItem(m protoreflect.Message, fd protoreflect.FieldDescriptor) protoreflect.Message {
	if fd.IsList() {
		return m.NewField(fd).List().NewElement().Message()
	}
	return m.NewField(fd).Message()
}

func isWellKnown(md protoreflect.MessageDescriptor) bool {
	return md.ParentFile().Package() == "google.protobuf"
}

func empty(fd protoreflect.FieldDescriptor) any {
	switch fd.Kind() {
	case protoreflect.MessageKind:
		if isWellKnown(fd.Message()) {
			return "1970-01-01T00:00:00Z"
		}
		return map[string]any{}
	case protoreflect.StringKind, protoreflect.BytesKind:
		return ""
	case protoreflect.BoolKind:
		return false
	}
	return 0
}

func names(fields protoreflect.FieldDescriptors) string {
	all := make([]string, fields.Len())
	for i := range all {
		all[i] = fields.Get(i).JSONName()
	}
	return strings.Join(all, ", ")
}

// wanted says what a field takes.
func wanted(fd protoreflect.FieldDescriptor) string {
	switch fd.Kind() {
	case protoreflect.StringKind:
		return "text in quotes"
	case protoreflect.BoolKind:
		return "true or false"
	case protoreflect.FloatKind, protoreflect.DoubleKind:
		return "a number"
	case protoreflect.BytesKind:
		return "bytes in base64, in quotes: " + base64.StdEncoding.EncodeToString([]byte("for example"))
	case protoreflect.EnumKind:
		var all []string
		for i := range fd.Enum().Values().Len() {
			all = append(all, string(fd.Enum().Values().Get(i).Name()))
		}
		return "one of " + strings.Join(all[1:], ", ")
	case protoreflect.MessageKind:
		return `a time as text, "2026-10-20T14:05:00Z"`
	}
	return "a whole number without decimals, of " + fd.Kind().String() + "'s range"
}
