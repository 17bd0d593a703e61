package photo

import (
	"fmt"
	"sync"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"seamshare.example/services/domain/rule"
)

// Check refuses a request that names a picture which isn't kept here: what a record
// names can then be looked at for as long as the record stands. A nil Store keeps none
// and checks nothing: another node of the co-op keeps the pictures.
func (s *Store) Check(req proto.Message) error {
	if s == nil {
		return nil
	}
	var broken rule.All
	Named(req, func(field string, sum Sum) {
		if !s.Has(sum) {
			broken.Add(rule.Broken{
				Reason: rule.PhotoNotThere, Field: field + ".sha256", Value: sum.String(),
				Rule: "a record names only pictures that are kept", Hint: "add the picture first (AddPhoto), and name it as that answers",
			})
		}
	})
	return broken.Err()
}

// Named gives the pictures that a message of the API or an event names: those of each
// message of type Photo or Underlay in it, with its path.
func Named(m proto.Message, fn func(field string, sum Sum)) { named(m.ProtoReflect(), "", fn) }

func named(m protoreflect.Message, at string, fn func(string, Sum)) {
	if !mayName(m.Descriptor()) {
		return
	}
	if names(m.Descriptor()) {
		if sum, ok := SumOf(m.Get(m.Descriptor().Fields().ByName("sha256")).Bytes()); ok {
			fn(at, sum)
		}
		return
	}
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		path := string(f.Name())
		if at != "" {
			path = at + "." + path
		}
		switch {
		case f.Message() == nil || f.IsMap():
		case f.IsList():
			for i := range v.List().Len() {
				named(v.List().Get(i).Message(), fmt.Sprintf("%s[%d]", path, i), fn)
			}
		default:
			named(v.Message(), path, fn)
		}
		return true
	})
}

// names tells whether a type is of those that name a picture: a photo, or one that lies under a drawing.
func names(d protoreflect.MessageDescriptor) bool {
	return (d.Name() == "Photo" || d.Name() == "Underlay") && d.Fields().ByName("sha256") != nil
}

// may remembers which types can name a picture: few do, and requests are many.
var may sync.Map // protoreflect.FullName → bool

func mayName(d protoreflect.MessageDescriptor) bool {
	if known, ok := may.Load(d.FullName()); ok {
		return known == true
	}
	found := reaches(d, map[protoreflect.FullName]bool{})
	may.Store(d.FullName(), found)
	return found
}

func reaches(d protoreflect.MessageDescriptor, seen map[protoreflect.FullName]bool) bool {
	if names(d) {
		return true
	}
	if seen[d.FullName()] {
		return false
	}
	seen[d.FullName()] = true
	for i := range d.Fields().Len() {
		if inner := d.Fields().Get(i).Message(); inner != nil && reaches(inner, seen) {
			return true
		}
	}
	return false
}
