package wholetest_test

import (
	"iter"
	"maps"
	"math/rand/v2"
	"regexp"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"seamshare.example/services/command"
)

// commandsOf are the rpcs that record something.
func commandsOf() []rpc {
	return slices.DeleteFunc(rpcs(), func(r rpc) bool { return !r.changes() || r.Input().Fields().ByName("request_id") == nil })
}

// known are the ids that anybody has seen, by the name of the field that holds them, and
// the amounts and masses that went by.
type known struct {
	ids       map[string][]string
	seen      map[string]bool // kind and id
	protected map[string]bool // ids of those without whom the walk would end
	values    map[protoreflect.FullName][]proto.Message
	found     []found // by the last learn
}

type found struct {
	kind, id string
	fresh    bool
}

func newKnown() known {
	return known{
		ids: map[string][]string{}, seen: map[string]bool{}, protected: map[string]bool{}, values: map[protoreflect.FullName][]proto.Message{},
	}
}

func (k *known) protect(ids ...string) {
	for _, id := range ids {
		k.protected[id] = true
		for _, kind := range []string{"member_id", "person_id"} {
			k.ids[kind] = slices.DeleteFunc(k.ids[kind], func(known string) bool { return known == id })
		}
	}
}

// maxKnown is how many values of a kind are kept.
const maxKnown = 400

// kept are the types whose values are drawn again.
var kept = map[protoreflect.FullName]bool{
	"google.type.Money": true, "seamshare.type.v1.Weighing": true, "seamshare.type.v1.Size": true, "seamshare.type.v1.Agreement": true,
	"seamshare.type.v1.Grade": true, "seamshare.type.v1.Photo": true,
}

// learn takes ids and values from an answer.
func (k *known) learn(answer proto.Message, random *rand.Rand) {
	k.found = k.found[:0]
	k.learnIn(answer.ProtoReflect(), random)
}

func (k *known) learnIn(m protoreflect.Message, random *rand.Rand) {
	name := m.Descriptor().FullName()
	if kept[name] {
		vs := k.values[name]
		if len(vs) < maxKnown {
			k.values[name] = append(vs, m.Interface())
		} else {
			vs[random.IntN(maxKnown)] = m.Interface()
		}
	}
	for f, v := range setFields(m) {
		switch {
		case f.Message() != nil && f.IsList():
			for i := range v.List().Len() {
				k.learnIn(v.List().Get(i).Message(), random)
			}
		case f.Message() != nil && !f.IsMap():
			k.learnIn(v.Message(), random)
		case f.Kind() == protoreflect.StringKind && f.IsList():
			for i := range v.List().Len() {
				k.note(kindOf(m.Descriptor(), f), v.List().Get(i).String(), random)
			}
		case f.Kind() == protoreflect.StringKind:
			k.note(kindOf(m.Descriptor(), f), v.String(), random)
		}
	}
}

// setFields are the fields of a message that are set, always in the same order, so that a
// walk goes the same way again.
func setFields(m protoreflect.Message) iter.Seq2[protoreflect.FieldDescriptor, protoreflect.Value] {
	return func(yield func(protoreflect.FieldDescriptor, protoreflect.Value) bool) {
		for i := range m.Descriptor().Fields().Len() {
			f := m.Descriptor().Fields().Get(i)
			if m.Has(f) && !yield(f, m.Get(f)) {
				return
			}
		}
	}
}

func (k *known) note(kind, value string, random *rand.Rand) {
	if kind == "" || value == "" {
		return
	}
	name := kind + "\x00" + value
	fresh := !k.seen[name]
	k.found = append(k.found, found{kind, value, fresh})
	if !fresh {
		return
	}
	k.seen[name] = true
	if k.protected[value] && (kind == "member_id" || kind == "person_id") {
		return
	}
	if ids := k.ids[kind]; len(ids) < maxKnown {
		k.ids[kind] = append(ids, value)
	} else {
		ids[random.IntN(maxKnown)] = value
	}
}

var words = regexp.MustCompile("([a-z])([A-Z])")

// kindOf is the kind of id that a field holds: "parcel_id" for Parcel.id and for any
// parcel_id; empty where it holds none.
func kindOf(m protoreflect.MessageDescriptor, f protoreflect.FieldDescriptor) string {
	name := string(f.Name())
	switch {
	case name == "id":
		return strings.ToLower(words.ReplaceAllString(string(m.Name()), "${1}_$2")) + "_id"
	case name == "request_id":
		return ""
	case name == "etag":
		return "etag"
	case name == "part" || name == "name" && m.Name() == "PiecePart":
		return "part"
	case strings.HasSuffix(name, "_ids"):
		name = strings.TrimSuffix(name, "s")
	case !strings.HasSuffix(name, "_id"):
		return ""
	}
	for _, who := range []string{"seller_id", "buyer_id", "cutter_id", "jeweller_id", "viewer_id", "holder_id", "custody_id", "title_id"} {
		if name == who {
			return "member_id"
		}
	}
	return name
}

// draw is a known id of a kind; not always.
func (k *known) draw(kind string, random *rand.Rand) string {
	switch ids := k.ids[kind]; {
	case random.IntN(25) == 0, len(ids) == 0:
		return "nothing-of-that-name"
	case random.IntN(2) == 0 && len(ids) > 20:
		return ids[len(ids)-1-random.IntN(20)] // new things have more of their life before them
	default:
		return ids[random.IntN(len(ids))]
	}
}

// all are the known ids of a kind, protected ones too.
func (k *known) all(kind string) (ids []string) {
	ids = append(ids, k.ids[kind]...)
	if kind == "member_id" || kind == "person_id" {
		ids = append(ids, slices.Sorted(maps.Keys(k.protected))...)
	}
	return ids
}

// vary changes a good request here and there.
func (k *known) vary(req proto.Message, random *rand.Rand) {
	k.varyIn(req.ProtoReflect(), random, 4)
}

// varyIn changes one in so many of the fields that are set.
func (k *known) varyIn(m protoreflect.Message, random *rand.Rand, rare int) {
	for f, v := range setFields(m) {
		if f.IsMap() {
			continue
		}
		change := random.IntN(rare) == 0
		switch kind := kindOf(m.Descriptor(), f); {
		case f.Name() == "request_id" || f.Name() == "min_position":
		case f.IsList():
			list := v.List()
			if change && list.Len() > 0 && random.IntN(6) == 0 {
				list.Truncate(list.Len() - 1)
			}
			for i := range list.Len() {
				switch {
				case f.Message() != nil:
					k.varyIn(list.Get(i).Message(), random, rare*2)
				case kind != "" && random.IntN(rare) == 0:
					list.Set(i, protoreflect.ValueOfString(k.draw(kind, random)))
				}
			}
		case kind == "etag":
			if change {
				m.Clear(f)
			}
		case kind != "":
			// Of what the request is about the half, so that old requests meet new things.
			if random.IntN(2) == 0 {
				m.Set(f, protoreflect.ValueOfString(k.draw(kind, random)))
			}
		case f.Message() != nil:
			if values := k.values[f.Message().FullName()]; change && len(values) > 0 {
				m.Set(f, protoreflect.ValueOfMessage(proto.Clone(values[random.IntN(len(values))]).ProtoReflect()))
			} else {
				k.varyIn(v.Message(), random, rare*2)
			}
		case change && random.IntN(3) == 0:
			m.Set(f, k.some(f, random))
		}
	}
}

// invent fills an empty request with anything.
func (k *known) invent(req proto.Message, random *rand.Rand) {
	k.inventIn(req.ProtoReflect(), random, 0)
}

func (k *known) inventIn(m protoreflect.Message, random *rand.Rand, depth int) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		kind := kindOf(m.Descriptor(), f)
		switch {
		case f.Name() == "request_id" || f.Name() == "min_position" || f.IsMap() || random.IntN(8) == 0:
		case f.ContainingOneof() != nil && random.IntN(f.ContainingOneof().Fields().Len()) > 0:
		case f.IsList():
			list := m.Mutable(f).List()
			for range random.IntN(3) {
				switch {
				case f.Message() != nil && depth < 4:
					k.inventIn(list.AppendMutable().Message(), random, depth+1)
				case f.Message() != nil:
				case kind != "":
					list.Append(protoreflect.ValueOfString(k.draw(kind, random)))
				default:
					list.Append(k.some(f, random))
				}
			}
		case kind == "etag":
		case kind != "":
			m.Set(f, protoreflect.ValueOfString(k.draw(kind, random)))
		case f.Message() != nil:
			if values := k.values[f.Message().FullName()]; len(values) > 0 && random.IntN(8) > 0 {
				m.Set(f, protoreflect.ValueOfMessage(proto.Clone(values[random.IntN(len(values))]).ProtoReflect()))
			} else if depth < 4 {
				k.inventIn(m.Mutable(f).Message(), random, depth+1)
			}
		default:
			m.Set(f, k.some(f, random))
		}
	}
}

// some is a value of a simple field.
func (k *known) some(f protoreflect.FieldDescriptor, random *rand.Rand) protoreflect.Value {
	number := int64(random.IntN(1 << (1 + random.IntN(30))))
	switch f.Kind() {
	case protoreflect.StringKind:
		texts := []string{"", "one", "freight", "miner", "cutter", "1A", "green, pinfire", "2026-03-01", "2026-03-01T10:00:00Z"}
		return protoreflect.ValueOfString(texts[random.IntN(len(texts))])
	case protoreflect.BytesKind:
		b := make([]byte, 32)
		for i := range b {
			b[i] = byte(random.Uint32())
		}
		return protoreflect.ValueOfBytes(b)
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(random.IntN(2) == 0)
	case protoreflect.EnumKind:
		values := f.Enum().Values()
		return protoreflect.ValueOfEnum(values.Get(random.IntN(values.Len())).Number())
	case protoreflect.Int32Kind, protoreflect.Sint32Kind, protoreflect.Sfixed32Kind:
		return protoreflect.ValueOfInt32(int32(number))
	case protoreflect.Int64Kind, protoreflect.Sint64Kind, protoreflect.Sfixed64Kind:
		return protoreflect.ValueOfInt64(number)
	case protoreflect.Uint32Kind, protoreflect.Fixed32Kind:
		return protoreflect.ValueOfUint32(uint32(number))
	case protoreflect.Uint64Kind, protoreflect.Fixed64Kind:
		return protoreflect.ValueOfUint64(uint64(number))
	case protoreflect.FloatKind:
		return protoreflect.ValueOfFloat32(float32(number))
	default:
		return protoreflect.ValueOfFloat64(float64(number))
	}
}

// requestID gives a request an id of its own.
func requestID(req proto.Message) {
	m := req.ProtoReflect()
	m.Set(m.Descriptor().Fields().ByName("request_id"), protoreflect.ValueOfString(command.NewID()))
}
