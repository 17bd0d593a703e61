package main

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/access"
)

// forPeople writes into an answer that will be printed as text what people read in place of what programs do: a member's
// id becomes "Trading Name (id)", an opal field's its name, a moment the co-op's own time with the zone's name. What they
// are says the messages' descriptor, so that no command has to. Where names or zone can't be had, ids and moments stay.
func (s *session) forPeople(q call, answer any) {
	m, ok := answer.(proto.Message)
	if !ok || s.json || s.printID {
		return
	}
	switch m.(type) {
	case *coopv1.WhoAmIResponse, *coopv1.IssueTokenResponse:
		return // they are the way in, and go on to be used
	}
	var ids []string
	moments, places := false, false
	rewrite(m.ProtoReflect(), func(f protoreflect.FieldDescriptor, text string) string {
		switch {
		case isMember(f) && !slices.Contains(ids, text):
			ids = append(ids, text)
		case isMoment(f):
			moments = true
		case isField(f):
			places = true
		}
		return text
	})
	names, zone := map[string]string{}, time.UTC
	const most = 500 // that one call names
	for some := range slices.Chunk(ids, most) {
		if a, err := coopv1.NewCoopServiceClient(q.conn).NameMembers(q.ctx, &coopv1.NameMembersRequest{MemberIds: some}); err == nil {
			for _, named := range a.GetMembers() {
				names[named.GetMemberId()] = plain(named.GetTradingName()) + " (" + named.GetMemberId() + ")"
			}
		}
	}
	if moments {
		if a, err := coopv1.NewAccessServiceClient(q.conn).WhoAmI(q.ctx, &coopv1.WhoAmIRequest{}); err == nil {
			if at, err := time.LoadLocation(a.GetTimeZone()); err == nil {
				zone = at
			}
		}
	}
	var fields map[string]string
	if places {
		fields, _ = fieldNames(q) // without them the ids stay
	}
	rewrite(m.ProtoReflect(), func(f protoreflect.FieldDescriptor, text string) string {
		switch {
		case isMember(f) && names[text] != "":
			return names[text]
		case isField(f):
			return cmp.Or(plain(fields[text]), text)
		case isMoment(f):
			return localTime(text, zone)
		}
		return text
	})
}

// isMember tells fields that hold members' ids.
func isMember(f protoreflect.FieldDescriptor) bool {
	name := string(f.Name())
	return access.ClassOf(f) == typev1.Class_CLASS_PARTY && (strings.HasSuffix(name, "_id") || strings.HasSuffix(name, "_ids"))
}

// isField tells fields of messages that hold opal fields' ids.
func isField(f protoreflect.FieldDescriptor) bool {
	return f.Name() == "field_id" || strings.HasSuffix(string(f.Name()), "_field_ids")
}

// isMoment tells fields that may hold moments, RFC 3339. Those that end with _by may hold persons too: no moment is made of them.
func isMoment(f protoreflect.FieldDescriptor) bool {
	name := string(f.Name())
	return name == "at" || name == "due" || strings.HasSuffix(name, "_at") || strings.HasSuffix(name, "_by") || strings.HasSuffix(name, "_until")
}

// localTime is a moment as the clock on the co-op's wall shows it. Text that is none stays.
func localTime(rfc3339 string, zone *time.Location) string {
	at, err := time.Parse(time.RFC3339, rfc3339)
	if err != nil {
		return rfc3339
	}
	return at.In(zone).Format("2006-01-02 15:04 ") + zone.String()
}

// nameOnly is a member's name without the id, for columns.
func nameOnly(named string) string {
	name, _, _ := strings.Cut(named, " (")
	return name
}

// rewrite gives each text in a message to how, and puts what comes of it in its place.
func rewrite(m protoreflect.Message, how func(f protoreflect.FieldDescriptor, text string) string) {
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.IsMap():
		case f.IsList():
			list := v.List()
			for i := range list.Len() {
				switch f.Kind() {
				case protoreflect.MessageKind:
					rewrite(list.Get(i).Message(), how)
				case protoreflect.StringKind:
					list.Set(i, protoreflect.ValueOfString(how(f, list.Get(i).String())))
				}
			}
		case f.Kind() == protoreflect.MessageKind:
			rewrite(v.Message(), how)
		case f.Kind() == protoreflect.StringKind:
			m.Set(f, protoreflect.ValueOfString(how(f, v.String())))
		}
		return true
	})
}
