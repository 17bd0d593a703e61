package access

import (
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// Classes is a set of classes of fields.
type Classes uint32

// classesOf makes a set.
func classesOf(shown *typev1.Shown) (set Classes) {
	for _, c := range shown.GetClasses() {
		set |= 1 << c
	}
	return set
}

// Has tells whether a class is in the set. What has no class is in every set.
func (s Classes) Has(c typev1.Class) bool {
	return c == typev1.Class_CLASS_UNSPECIFIED || s&(1<<c) != 0
}

// Without is the set without a class.
func (s Classes) Without(c typev1.Class) Classes { return s &^ (1 << c) }

// money is the type whose fields are prices without saying so.
const money protoreflect.FullName = "google.type.Money"

// ClassOf is the class of a field of an answer.
func ClassOf(f protoreflect.FieldDescriptor) typev1.Class {
	if c, _ := proto.GetExtension(f.Options(), typev1.E_Class).(typev1.Class); c != typev1.Class_CLASS_UNSPECIFIED {
		return c
	}
	if f.Message() != nil && f.Message().FullName() == money {
		return typev1.Class_CLASS_PRICE
	}
	return typev1.Class_CLASS_UNSPECIFIED
}

// shownBy is what a method's answers may show: what it says itself, or else its service.
func shownBy(m protoreflect.MethodDescriptor) Classes {
	option, _ := proto.GetExtension(m.Options(), typev1.E_Access).(*typev1.Access)
	if option.GetShows() != nil {
		return classesOf(option.GetShows())
	}
	shown, _ := proto.GetExtension(m.Parent().Options(), typev1.E_Shows).(*typev1.Shown)
	return classesOf(shown)
}

// screen clears, from messages of one type, the fields whose class isn't shown.
type screen struct {
	clear []protoreflect.FieldDescriptor
	below []below
}

type below struct {
	field protoreflect.FieldDescriptor
	*screen
}

// newScreen is nil where there is nothing to clear.
func newScreen(m protoreflect.MessageDescriptor, shown Classes) *screen {
	return screened(m, shown, map[protoreflect.FullName]*screen{})
}

// screened knows the types that it is in already, so that a type may hold itself.
func screened(m protoreflect.MessageDescriptor, shown Classes, known map[protoreflect.FullName]*screen) *screen {
	if s, ok := known[m.FullName()]; ok {
		return s
	}
	s := &screen{}
	known[m.FullName()] = s
	for i := range m.Fields().Len() {
		f := m.Fields().Get(i)
		if !shown.Has(ClassOf(f)) {
			s.clear = append(s.clear, f)
			continue
		}
		inner := f.Message()
		if f.IsMap() {
			inner = f.MapValue().Message()
		}
		if inner == nil {
			continue
		}
		if next := screened(inner, shown, known); next != nil {
			s.below = append(s.below, below{f, next})
		}
	}
	if len(s.clear) == 0 && len(s.below) == 0 {
		known[m.FullName()] = nil
		return nil
	}
	return s
}

func (s *screen) cover(m protoreflect.Message) {
	if s == nil {
		return
	}
	for _, f := range s.clear {
		m.Clear(f)
	}
	for _, b := range s.below {
		if !m.Has(b.field) {
			continue
		}
		switch {
		case b.field.IsMap():
			m.Get(b.field).Map().Range(func(_ protoreflect.MapKey, v protoreflect.Value) bool {
				b.cover(v.Message())
				return true
			})
		case b.field.IsList():
			for list, i := m.Get(b.field).List(), 0; i < list.Len(); i++ {
				b.cover(list.Get(i).Message())
			}
		default:
			b.cover(m.Mutable(b.field).Message())
		}
	}
}
