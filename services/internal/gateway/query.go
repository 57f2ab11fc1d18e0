package gateway

import (
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strings"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"github.com/grpc-ecosystem/grpc-gateway/v2/utilities"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"cullet/services/errs"
	"cullet/services/internal/rpc"
)

// query reads query parameters as the gateway's own parser does, but one by one: that one passes over
// names that it does not know and stops at the first value that it cannot read.
type query struct{}

// Parse sets the fields of the message.
func (query) Parse(message proto.Message, values url.Values, filter *utilities.DoubleArray) error {
	var faults []errs.Field
	fault := func(path, reason, text string, args ...any) {
		faults = append(faults, errs.Field{Path: path, Reason: reason, Message: fmt.Sprintf(text, args...)})
	}
	parser := &runtime.DefaultQueryParser{}
	for _, name := range slices.Sorted(maps.Keys(values)) {
		fd := resolve(message.ProtoReflect().Descriptor(), name)
		if fd == nil {
			fault(shorten(name), "UNKNOWN_FIELD", "the contract of %s has no such field; allowed are %s",
				message.ProtoReflect().Descriptor().FullName(), names(message.ProtoReflect().Descriptor().Fields()))
			continue
		}
		if err := parser.Parse(message, url.Values{name: values[name]}, filter); err != nil {
			fault(string(fd.Name()), "WRONG_TYPE", "%q was given; give %s", shorten(strings.Join(values[name], ", ")), wanted(fd))
		}
	}
	return rpc.Carry(message, faults)
}

// resolve finds the field that a dotted name means; nil when there is none.
func resolve(md protoreflect.MessageDescriptor, name string) (fd protoreflect.FieldDescriptor) {
	for part := range strings.SplitSeq(name, ".") {
		if md == nil {
			return nil
		}
		if fd = md.Fields().ByTextName(part); fd == nil {
			fd = md.Fields().ByJSONName(part)
		}
		if fd == nil {
			return nil
		}
		md = fd.Message()
	}
	return fd
}
