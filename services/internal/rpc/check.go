package rpc

import (
	"fmt"
	"math"
	"strings"
	"sync"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	"cullet/services/errs"
)

// maxItems is the most that any list of a request holds; rooms allow less where they say so.
const maxItems = 1000

// check walks a request and gives every fault that is a fault whatever the field means: text that
// is no text, fields and enum values that the contract does not know, numbers that are none, times
// that are none, lists without end, and required fields that are missing.
func check(message proto.Message, maxBytes int) []errs.Field {
	if maxBytes == 0 {
		maxBytes = defaultBytes
	}
	m := message.ProtoReflect()
	var handedOn []errs.Field
	w := walker{maxBytes: maxBytes}
	if unknown := m.GetUnknown(); len(unknown) > 0 {
		faults, rest, isAll := carried(unknown)
		if isAll {
			return faults
		}
		handedOn = faults
		m.SetUnknown(rest)
	}
	w.message(m, nil)
	if len(handedOn) == 0 {
		return w.faults
	}
	return append(handedOn, outside(handedOn, w.faults)...)
}

// place is where in a request something stands; as text only when it is needed.
type place struct {
	parent *place
	name   string
	index  int
}

func (p *place) field(fd *planned) *place {
	return &place{parent: p, name: fd.name, index: -1}
}

func (p *place) item(i int) *place { return &place{parent: p, index: i} }

// String gives the proto field path, "damages[2].note"; "request" for the request itself.
func (p *place) String() string {
	if p == nil {
		return "request"
	}
	var b strings.Builder
	p.write(&b)
	return b.String()
}

func (p *place) write(b *strings.Builder) {
	if p.parent != nil {
		p.parent.write(b)
	}
	switch {
	case p.name == "":
		fmt.Fprintf(b, "[%d]", p.index)
	case b.Len() > 0:
		b.WriteByte('.')
		fallthrough
	default:
		b.WriteString(p.name)
	}
}

// planned is what the walk needs of a field, read once from its descriptor.
type planned struct {
	protoreflect.FieldDescriptor
	name string
	kind protoreflect.Kind
	// values are those of an enum.
	values     protoreflect.EnumValueDescriptors
	isList     bool
	isRequired bool
	isLong     bool
	// isRequestID has a form of its own.
	isRequestID bool
}

// isLookedAt are the kinds whose values can be wrong in themselves; a whole number or a yes cannot.
var isLookedAt = map[protoreflect.Kind]bool{protoreflect.StringKind: true, protoreflect.BytesKind: true, protoreflect.EnumKind: true,
	protoreflect.FloatKind: true, protoreflect.DoubleKind: true, protoreflect.MessageKind: true, protoreflect.GroupKind: true}

// plans keeps the fields of each message type that was met, without those that nothing is asked of.
var plans sync.Map // protoreflect.MessageDescriptor -> []planned

func planOf(md protoreflect.MessageDescriptor) []planned {
	if known, ok := plans.Load(md); ok {
		return known.([]planned)
	}
	fields := md.Fields()
	plan := make([]planned, 0, fields.Len())
	for i := range fields.Len() {
		fd := fields.Get(i)
		p := planned{FieldDescriptor: fd, name: string(fd.Name()), kind: fd.Kind(), isList: fd.IsList(), isRequired: isRequired(fd),
			isLong: longTexts[fd.Name()], isRequestID: fd.Name() == "request_id"}
		if p.kind == protoreflect.EnumKind {
			p.values = fd.Enum().Values()
		}
		if p.isRequired || p.isList || isLookedAt[p.kind] {
			plan = append(plan, p)
		}
	}
	plans.Store(md, plan)
	return plan
}

func isRequired(fd protoreflect.FieldDescriptor) bool {
	behaviors, _ := proto.GetExtension(fd.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	for _, b := range behaviors {
		// A bool cannot be told from a missing one.
		if b == annotations.FieldBehavior_REQUIRED && fd.Kind() != protoreflect.BoolKind {
			return true
		}
	}
	return false
}

type walker struct {
	maxBytes int
	faults   []errs.Field
}

func (w *walker) fault(at *place, reason, message string, args ...any) {
	w.faults = append(w.faults, errs.Field{Path: at.String(), Reason: reason, Message: fmt.Sprintf(message, args...)})
}

func (w *walker) message(m protoreflect.Message, at *place) {
	if unknown := m.GetUnknown(); len(unknown) > 0 {
		w.unknown(unknown, m.Descriptor(), at)
	}
	plan := planOf(m.Descriptor())
	for i := range plan {
		fd := &plan[i]
		switch {
		case !m.Has(fd.FieldDescriptor):
			if fd.isRequired {
				w.missing(fd, at)
			}
		case fd.isList:
			w.list(m.Get(fd.FieldDescriptor).List(), fd, at.field(fd))
		default:
			w.value(m.Get(fd.FieldDescriptor), fd, at, -1)
		}
	}
}

func (w *walker) missing(fd *planned, at *place) {
	allowed := ""
	if fd.Enum() != nil {
		allowed = ": " + strings.Join(valueNames(fd.Enum()), ", ")
	}
	w.fault(at.field(fd), "REQUIRED", "nothing was given and the field is required; give a value%s", allowed)
}

func (w *walker) list(items protoreflect.List, fd *planned, at *place) {
	if items.Len() > maxItems {
		w.fault(at, "TOO_MANY", "%d items were given and at most %d are allowed; split the request",
			items.Len(), maxItems)
		return
	}
	for i := range items.Len() {
		w.value(items.Get(i), fd, at, i)
	}
}

// spot is a value before anybody wants to know its path.
type spot struct {
	at    *place
	fd    *planned
	index int
}

// place is the place of the value; at is that of its message, or of its list when index is not -1.
func (s spot) place() *place {
	if s.index >= 0 {
		return s.at.item(s.index)
	}
	return s.at.field(s.fd)
}

func (w *walker) value(v protoreflect.Value, fd *planned, at *place, index int) {
	here := spot{at, fd, index}
	switch fd.kind {
	case protoreflect.StringKind:
		w.text(v.String(), here)
	case protoreflect.BytesKind:
		if n := len(v.Bytes()); n > w.maxBytes {
			w.fault(here.place(), "TOO_LONG", "%d bytes were given and at most %d are allowed; send less at once", n, w.maxBytes)
		}
	case protoreflect.EnumKind:
		if fd.values.ByNumber(v.Enum()) == nil {
			w.fault(here.place(), "UNKNOWN_VALUE", "value %d is not in the contract; allowed are %s", v.Enum(),
				strings.Join(valueNames(fd.Enum()), ", "))
		}
	case protoreflect.FloatKind, protoreflect.DoubleKind:
		if f := v.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
			w.fault(here.place(), "NOT_A_NUMBER", "%v was given; give a finite number, or leave the field out", f)
		}
	case protoreflect.MessageKind:
		w.inner(v.Message(), here)
	}
}

func (w *walker) inner(m protoreflect.Message, here spot) {
	t, ok := m.Interface().(*timestamppb.Timestamp)
	if !ok {
		w.message(m, here.place())
		return
	}
	if err := t.CheckValid(); err != nil {
		w.fault(here.place(), "NOT_A_TIME", "seconds %d and nanos %d are no time; allowed are the years "+
			"1 to 9999 and nanos from 0 to 999999999; give a time of those", t.GetSeconds(), t.GetNanos())
	}
}

func (w *walker) unknown(raw protoreflect.RawFields, md protoreflect.MessageDescriptor, at *place) {
	seen := map[protowire.Number]bool{}
	for len(raw) > 0 {
		number, _, n := protowire.ConsumeField(raw)
		if n < 0 {
			return
		}
		raw = raw[n:]
		if seen[number] {
			continue
		}
		seen[number] = true
		here := &place{parent: at, name: fmt.Sprintf("#%d", number), index: -1}
		w.fault(here, "UNKNOWN_FIELD", "field number %d is not in the contract of %s, or is of another type "+
			"there; leave it out, or ask a newer server", number, md.FullName())
	}
}

// valueNames lists what an enum field may be set to.
func valueNames(ed protoreflect.EnumDescriptor) []string {
	var names []string
	for i := range ed.Values().Len() {
		if v := ed.Values().Get(i); v.Number() != 0 {
			names = append(names, string(v.Name()))
		}
	}
	return names
}
