package wholetest_test

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/access"
)

// plain are names of text fields in answers that hold no secret from who gets the answer,
// with the reason. What isn't here needs a class.
var plain = map[string][]protoreflect.Name{
	"the id of a thing; it tells nothing to who can't open the thing": {
		"id", "thing", "within", "from", "opened_from", "stone_ids", "set_stone_ids", "may_be_of_field_ids", "missing", "strange",
	},
	"the id of a person, whose name is sealed": {"asked_by", "closed_by", "decided_by", "edited_by", "erased_by", "prepared_by", "proposed_by", "not_them"},
	"a moment or a day":                        {"at", "asked", "answered", "due", "mined", "pay_by", "split"},
	"what a thing is, which who gets the thing sees anyway": {
		"label", "name", "class", "classes", "colours", "judged_under", "remarks", "seen", "like", "market", "carat", "part", "origin_part",
		"light", "media_type", "sha256", "country", "waits_for", "steps", "kind", "kinds", "cost_kinds", "currency", "event",
	},
	"a cutter's own drawing and plan, which that cutter alone is shown": {
		"expected", "blade", "left", "right", "stone", "zone", "bar", "drawing_name", "plan_name", "picture",
	},
	"a caution of the program's own": {"caution"},
	"where a thing stands":           {"stage", "standing", "how", "outcome", "tray", "dop"},
	"words of who acts, to those whom the thing concerns; the canaries hold them to it": {
		"note", "text", "why", "reason", "words", "what", "about", "damage_words", "return_why", "answer", "carrier", "reference",
	},
	"of the node and its proofs, open to check": {
		"checkpoint", "consistency", "root", "verifier_key", "file", "trouble", "coop_name", "time_zone", "difference", "silica_limit", "silica_limit_source",
	},
	"the caller's own":                           {"token", "next_page_token", "etag"},
	"an auditor reads all, personal data sealed": {"chunk", "data", "public_json", "private_json"},
}

// plainByEnd are ends of such names.
var plainByEnd = map[string]string{
	"_id":    "the id of a thing or a person",
	"_at":    "a moment",
	"_until": "a moment",
	"_label": "what a thing is called, which who gets the thing sees anyway",
}

func isPlain(name protoreflect.Name) bool {
	for end := range plainByEnd {
		if strings.HasSuffix(string(name), end) {
			return true
		}
	}
	for _, names := range plain {
		if slices.Contains(names, name) {
			return true
		}
	}
	return false
}

// TestEveryFieldHasAClass: text and money in answers is of a class, or plain for a reason.
func TestEveryFieldHasAClass(t *testing.T) {
	used := map[protoreflect.Name]bool{}
	seen := map[protoreflect.FullName]bool{}
	var walk func(protoreflect.MessageDescriptor)
	walk = func(m protoreflect.MessageDescriptor) {
		if seen[m.FullName()] || m.FullName().Parent() == "google.type" {
			return
		}
		seen[m.FullName()] = true
		for i := range m.Fields().Len() {
			f := m.Fields().Get(i)
			if f.Message() != nil {
				walk(f.Message())
			}
			if f.Kind() != protoreflect.StringKind && f.Kind() != protoreflect.BytesKind {
				continue
			}
			if access.ClassOf(f) == typev1.Class_CLASS_UNSPECIFIED {
				used[f.Name()] = true
				if !isPlain(f.Name()) {
					t.Errorf("%s has no class; give it one, or add %q to the plain ones with the reason", f.FullName(), f.Name())
				}
			}
		}
	}
	for _, r := range rpcs() {
		walk(r.Output())
	}
	for _, names := range plain {
		for _, name := range names {
			if !used[name] {
				t.Errorf("%q is listed as plain, but no answer has it without a class", name)
			}
		}
	}
}

// TestWhoShowsWhat: the rules that hold for whole services.
func TestWhoShowsWhat(t *testing.T) {
	personal := map[string]bool{"CoopService/GetPersonal": true, "CoopService/GetBankDetails": true}
	for _, r := range rpcs() {
		rule, err := access.RuleOf(r)
		if err != nil {
			t.Fatal(err)
		}
		if shows := rule.Shows.Has(typev1.Class_CLASS_PERSONAL); shows != personal[r.name()] {
			t.Errorf("%s shows personal fields: %v, want %v", r.name(), shows, personal[r.name()])
		}
		if r.Parent().Name() == "JewellerService" && rule.Shows.Has(typev1.Class_CLASS_PLACE) {
			t.Errorf("%s shows a jeweller places", r.name())
		}
		if rule.Open && rule.Shows.Without(typev1.Class_CLASS_PARTY) != 0 {
			t.Errorf("%s shows strangers more than parties", r.name())
		}
	}
}

// TestCover: of an answer with every field set, what is shown stays and the rest goes.
func TestCover(t *testing.T) {
	callers := map[string][]memberv1.Role{
		"a miner":                           {memberv1.Role_ROLE_MINER},
		"a stock keeper":                    {memberv1.Role_ROLE_STOCK_KEEPER},
		"a registrar":                       {memberv1.Role_ROLE_REGISTRAR},
		"a stock keeper who keeps books":    {memberv1.Role_ROLE_STOCK_KEEPER, memberv1.Role_ROLE_BOOKKEEPER},
		"a caller whose roles aren't known": nil,
	}
	moneyless := []string{"a stock keeper", "a registrar"}
	for _, r := range rpcs() {
		rule, err := access.RuleOf(r)
		if err != nil {
			t.Fatal(err)
		}
		for who, roles := range callers {
			shows := rule.Shows
			if slices.Contains(moneyless, who) {
				shows = shows.Without(typev1.Class_CLASS_PRICE)
			}
			answer := r.answer()
			fill(answer.ProtoReflect(), 0)
			rule.Cover(answer, roles)
			compare(t, r.name()+" to "+who, answer.ProtoReflect(), 0, shows)
		}
	}
}

// deep is deeper than any answer is nested.
const deep = 7

// fill sets every field; of a oneof, the last.
func fill(m protoreflect.Message, depth int) {
	for i := range m.Descriptor().Fields().Len() {
		f := m.Descriptor().Fields().Get(i)
		if f.Message() != nil && depth == deep {
			continue
		}
		switch {
		case f.IsMap():
			panic("an answer has a map: teach this test maps")
		case f.IsList() && f.Message() != nil:
			fill(m.Mutable(f).List().AppendMutable().Message(), depth+1)
		case f.IsList():
			m.Mutable(f).List().Append(some(f))
		case f.Message() != nil:
			fill(m.Mutable(f).Message(), depth+1)
		default:
			m.Set(f, some(f))
		}
	}
}

// some is a value that isn't the zero one.
func some(f protoreflect.FieldDescriptor) protoreflect.Value {
	switch f.Kind() {
	case protoreflect.StringKind:
		return protoreflect.ValueOfString("x")
	case protoreflect.BytesKind:
		return protoreflect.ValueOfBytes([]byte("x"))
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(true)
	case protoreflect.EnumKind:
		return protoreflect.ValueOfEnum(1)
	case protoreflect.Int32Kind, protoreflect.Sint32Kind, protoreflect.Sfixed32Kind:
		return protoreflect.ValueOfInt32(1)
	case protoreflect.Int64Kind, protoreflect.Sint64Kind, protoreflect.Sfixed64Kind:
		return protoreflect.ValueOfInt64(1)
	case protoreflect.Uint32Kind, protoreflect.Fixed32Kind:
		return protoreflect.ValueOfUint32(1)
	case protoreflect.Uint64Kind, protoreflect.Fixed64Kind:
		return protoreflect.ValueOfUint64(1)
	case protoreflect.FloatKind:
		return protoreflect.ValueOfFloat32(1)
	default:
		return protoreflect.ValueOfFloat64(1)
	}
}

// compare holds an answer that was filled and then covered against what is shown.
func compare(t *testing.T, where string, m protoreflect.Message, depth int, shows access.Classes) {
	t.Helper()
	for i := range m.Descriptor().Fields().Len() {
		f := m.Descriptor().Fields().Get(i)
		if f.Message() != nil && depth == deep {
			continue
		}
		if shown := shows.Has(access.ClassOf(f)); m.Has(f) != shown && (m.Has(f) || f.ContainingOneof() == nil) {
			t.Errorf("%s: %s is shown: %v, want %v", where, f.FullName(), m.Has(f), shown)
		}
		if f.Message() == nil || !m.Has(f) {
			continue
		}
		inner := m.Get(f)
		if f.IsList() {
			inner = inner.List().Get(0)
		}
		compare(t, where, inner.Message(), depth+1, shows)
	}
}
