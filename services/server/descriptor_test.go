package server_test

import (
	"fmt"
	"regexp/syntax"
	"strings"
	"testing"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/descriptorpb"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	"seamshare.example/services/access"
)

// methods are all rpcs of ours.
func methods() (all []protoreflect.MethodDescriptor) {
	for _, file := range []protoreflect.FileDescriptor{
		coopv1.File_seamshare_coop_v1_access_service_proto,
		coopv1.File_seamshare_coop_v1_coop_service_proto,
		coopv1.File_seamshare_coop_v1_node_service_proto,
		minerv1.File_seamshare_miner_v1_miner_service_proto,
		cutterv1.File_seamshare_cutter_v1_cutter_service_proto,
		jewellerv1.File_seamshare_jeweller_v1_jeweller_service_proto,
	} {
		for i := range file.Services().Len() {
			s := file.Services().Get(i)
			for j := range s.Methods().Len() {
				all = append(all, s.Methods().Get(j))
			}
		}
	}
	return all
}

func TestEveryMethod(t *testing.T) {
	if len(methods()) < 40 {
		t.Fatalf("only %d methods found", len(methods()))
	}
	for _, m := range methods() {
		t.Run(string(m.FullName()), func(t *testing.T) {
			if _, err := access.RuleOf(m); err != nil {
				t.Errorf("no clear access rule: %v", err)
			}
			if m.IsStreamingClient() {
				t.Error("the client streams; that has no single moment to check")
			}
			for _, problem := range unbounded(m.Input(), map[protoreflect.FullName]bool{}) {
				t.Error(problem)
			}
			in, out := m.Input().Fields(), m.Output().Fields()
			switch {
			case m.FullName() == "seamshare.coop.v1.AccessService.IssueToken", m.IsStreamingServer():
				return // a token is no record; a stream of the log is its own position
			case m.Input().ParentFile().Path() == "seamshare/cutter/v1/estimate.proto":
				if mutation(m) || in.ByName("request_id") != nil {
					t.Error("an estimate changes something")
				}
				return // reckoned from the request alone, at no position
			case mutation(m):
				id := in.ByName("request_id")
				if id == nil || rulesOf(id).GetString().GetPattern() == "" {
					t.Error("a mutation has no request_id with a form")
				}
				if !position(out.ByName("position")) {
					t.Error("a mutation's answer has no position")
				}
			default:
				if in.ByName("request_id") != nil {
					t.Error("a query has a request_id")
				}
				if !position(out.ByName("position")) && !position(inside(out.ByName("statement"), "position")) {
					t.Error("a query's answer has no position")
				}
			}
			if !position(in.ByName("min_position")) {
				t.Error("the request has no min_position")
			}
			if page := in.ByName("page_token"); page != nil && (in.ByName("page_size") == nil || out.ByName("next_page_token") == nil) {
				t.Error("a list has page_token but not page_size and next_page_token")
			}
		})
	}
}

// mutation: what HTTP calls by another verb than GET, but for what says that it has no side effects.
func mutation(m protoreflect.MethodDescriptor) bool {
	http, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
	options, _ := m.Options().(*descriptorpb.MethodOptions)
	return http.GetGet() == "" && options.GetIdempotencyLevel() != descriptorpb.MethodOptions_NO_SIDE_EFFECTS
}

func position(f protoreflect.FieldDescriptor) bool {
	return f != nil && f.Kind() == protoreflect.Uint64Kind && !f.IsList()
}

func inside(f protoreflect.FieldDescriptor, name protoreflect.Name) protoreflect.FieldDescriptor {
	if f == nil || f.Message() == nil {
		return nil
	}
	return f.Message().Fields().ByName(name)
}

func rulesOf(f protoreflect.FieldDescriptor) *validate.FieldRules {
	rules, _ := proto.GetExtension(f.Options(), validate.E_Field).(*validate.FieldRules)
	return rules
}

// elsewhere are fields of messages that aren't ours, with who bounds them.
var elsewhere = map[protoreflect.FullName]string{
	"google.type.Money.currency_code": "the conversion takes codes of ISO 4217 only",
}

// unbounded names each field below m whose size has no upper bound.
func unbounded(m protoreflect.MessageDescriptor, seen map[protoreflect.FullName]bool) (problems []string) {
	if seen[m.FullName()] {
		return nil
	}
	seen[m.FullName()] = true
	for i := range m.Fields().Len() {
		f := m.Fields().Get(i)
		rules := rulesOf(f)
		element := rules
		switch {
		case f.IsMap():
			if rules.GetMap().MaxPairs == nil {
				problems = append(problems, fmt.Sprintf("%s: a map without max_pairs", f.FullName()))
			}
			continue
		case f.IsList():
			if rules.GetRepeated() == nil || rules.GetRepeated().MaxItems == nil {
				problems = append(problems, fmt.Sprintf("%s: repeated without max_items", f.FullName()))
			}
			element = rules.GetRepeated().GetItems()
		}
		switch {
		case f.Message() != nil:
			problems = append(problems, unbounded(f.Message(), seen)...)
		case elsewhere[f.FullName()] != "":
		case f.Kind() == protoreflect.StringKind && !boundedString(element.GetString()):
			problems = append(problems, fmt.Sprintf("%s: a string without an upper bound", f.FullName()))
		case f.Kind() == protoreflect.BytesKind && (element.GetBytes() == nil || element.GetBytes().Len == nil && element.GetBytes().MaxLen == nil):
			problems = append(problems, fmt.Sprintf("%s: bytes without an upper bound", f.FullName()))
		}
	}
	return problems
}

func boundedString(r *validate.StringRules) bool {
	return r != nil && (r.MaxLen != nil || r.Len != nil || r.MaxBytes != nil || r.LenBytes != nil || boundedPattern(r.GetPattern()))
}

// boundedPattern: it must match from begin to end, and can't match without limit.
func boundedPattern(pattern string) bool {
	if !strings.HasPrefix(pattern, "^") || !strings.HasSuffix(pattern, "$") {
		return false
	}
	re, err := syntax.Parse(pattern, syntax.Perl)
	return err == nil && bounded(re)
}

func bounded(re *syntax.Regexp) bool {
	switch {
	case re.Op == syntax.OpStar, re.Op == syntax.OpPlus, re.Op == syntax.OpRepeat && re.Max < 0, re.Op == syntax.OpAlternate:
		return false // an alternative may lack an anchor
	}
	for _, sub := range re.Sub {
		if !bounded(sub) {
			return false
		}
	}
	return true
}

func TestBoundedPattern(t *testing.T) {
	for pattern, want := range map[string]bool{
		"^[a-z0-9_-]{1,64}$":              true,
		"^([0-9]{4}-[0-9]{2}-[0-9]{2})?$": true,
		"^[a-z]*$":                        false,
		"^[a-z]+$":                        false,
		"^[a-z]{1,}$":                     false,
		"[a-z]{1,64}":                     false,
		"^a|b$":                           false,
		"":                                false,
	} {
		if got := boundedPattern(pattern); got != want {
			t.Errorf("%q bounded: %v", pattern, got)
		}
	}
}
