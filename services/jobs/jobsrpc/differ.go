package jobsrpc

import (
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/reflect/protoreflect"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
)

// The caps of a conflict: how many differing fields it names, and how many bytes their names take in
// its details.
const (
	maxDiffering      = 20
	maxDifferingBytes = 390
)

// differing gives a field for each place in which two records differ, in the order of the contract,
// with what is stored and what was given.
func differing(stored, given *jobsv1.RepairRecord) []errs.Field {
	var d differ
	d.message("record", stored.ProtoReflect(), given.ProtoReflect())
	return d.fields
}

// named lists the paths of differing fields, as many as are shown.
func named(fields []errs.Field) string {
	var b strings.Builder
	for i, f := range fields {
		if i == maxDiffering || b.Len()+1+len(f.Path) > maxDifferingBytes {
			break
		}
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString(f.Path)
	}
	return b.String()
}

// differ walks two messages of one type side by side.
type differ struct{ fields []errs.Field }

func (d *differ) add(path, stored, given string) {
	d.fields = append(d.fields, errs.Field{Path: path, Reason: "DIFFERS",
		Message: fmt.Sprintf("%s is stored and %s was given", stored, given)})
}

func (d *differ) message(path string, stored, given protoreflect.Message) {
	fields := stored.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		here := path + "." + string(fd.Name())
		hasStored, hasGiven := stored.Has(fd), given.Has(fd)
		switch {
		case !hasStored && !hasGiven:
		case fd.IsList():
			d.list(here, fd, stored.Get(fd).List(), given.Get(fd).List())
		case hasStored && hasGiven:
			d.value(here, fd, stored.Get(fd), given.Get(fd))
		case hasStored:
			d.add(here, show(fd, stored.Get(fd)), "nothing")
		default:
			d.add(here, "nothing", show(fd, given.Get(fd)))
		}
	}
}

func (d *differ) list(path string, fd protoreflect.FieldDescriptor, stored, given protoreflect.List) {
	if stored.Len() != given.Len() {
		d.add(path, fmt.Sprintf("a list of %d", stored.Len()), fmt.Sprintf("one of %d", given.Len()))
	}
	for i := range min(stored.Len(), given.Len()) {
		d.value(fmt.Sprintf("%s[%d]", path, i), fd, stored.Get(i), given.Get(i))
	}
}

func (d *differ) value(path string, fd protoreflect.FieldDescriptor, stored, given protoreflect.Value) {
	switch {
	case stored.Equal(given):
	case fd.Message() != nil && fd.Message().ParentFile().Package() != "google.protobuf":
		d.message(path, stored.Message(), given.Message())
	default:
		d.add(path, show(fd, stored), show(fd, given))
	}
}

// show writes a value for a person, cut short.
func show(fd protoreflect.FieldDescriptor, v protoreflect.Value) string {
	switch m := v.Interface().(type) {
	case protoreflect.EnumNumber:
		return string(fd.Enum().Values().ByNumber(m).Name())
	case string:
		return fmt.Sprintf("%.60q", m)
	case protoreflect.Message:
		if at, ok := m.Interface().(interface{ AsTime() time.Time }); ok {
			return at.AsTime().Format(time.RFC3339Nano)
		}
		return "something"
	}
	return v.String()
}
