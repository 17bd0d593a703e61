package access

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// Rule is who may call an rpc. The zero Rule lets nobody in.
type Rule struct {
	Open     bool            // anyone, without a token
	SignedIn bool            // any person who stands
	Roles    []memberv1.Role // a person with one of these
	// Shows are the classes of fields that its answers may carry.
	Shows Classes

	screen    *screen
	moneyless *screen // the same for those whom money doesn't concern
}

// Cover clears from an answer what the rpc doesn't show to a caller with these roles.
func (r Rule) Cover(answer proto.Message, roles []memberv1.Role) {
	r.screen.cover(answer.ProtoReflect())
	if moneyless(roles) {
		r.moneyless.cover(answer.ProtoReflect())
	}
}

// Rules are the rules of all methods, by full name as gRPC writes it:
// "/seamshare.coop.v1.NodeService/GetStatus". A method without one is closed.
type Rules map[string]Rule

// withoutOption are the methods that can't have our option as they aren't ours,
// and that tell nothing but what the open API is and whether the node works.
var withoutOption = map[string]Rule{
	"/grpc.health.v1.Health/Check":                                   {Open: true},
	"/grpc.health.v1.Health/List":                                    {Open: true},
	"/grpc.health.v1.Health/Watch":                                   {Open: true},
	"/grpc.reflection.v1.ServerReflection/ServerReflectionInfo":      {Open: true},
	"/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo": {Open: true},
}

// RulesOf reads the rules of all registered methods from their descriptors. It
// refuses when any method has none, or one that can be read in two ways, and
// names all of those.
func RulesOf(services map[string]grpc.ServiceInfo) (Rules, error) {
	rules := Rules{}
	var wrong []error
	for service, info := range services {
		for _, m := range info.Methods {
			full := "/" + service + "/" + m.Name
			if r, ok := withoutOption[full]; ok {
				rules[full] = r
				continue
			}
			r, err := ruleOf(protoreflect.FullName(service), protoreflect.Name(m.Name))
			if err != nil {
				wrong = append(wrong, fmt.Errorf("%s: %w", full, err))
				continue
			}
			rules[full] = r
		}
	}
	if len(wrong) > 0 {
		slices.SortFunc(wrong, func(a, b error) int { return strings.Compare(a.Error(), b.Error()) })
		return nil, fmt.Errorf("the server can't start while methods have no clear access rule: %w", errors.Join(wrong...))
	}
	return rules, nil
}

func ruleOf(service protoreflect.FullName, method protoreflect.Name) (Rule, error) {
	d, err := protoregistry.GlobalFiles.FindDescriptorByName(service)
	if err != nil {
		return Rule{}, fmt.Errorf("couldn't find the descriptor of its service: %w", err)
	}
	sd, ok := d.(protoreflect.ServiceDescriptor)
	if !ok {
		return Rule{}, fmt.Errorf("%s is not a service", service)
	}
	md := sd.Methods().ByName(method)
	if md == nil {
		return Rule{}, errors.New("its service's descriptor doesn't have it")
	}
	return RuleOf(md)
}

// RuleOf reads the access option of one method.
func RuleOf(m protoreflect.MethodDescriptor) (Rule, error) {
	options := m.Options()
	if !proto.HasExtension(options, typev1.E_Access) {
		return Rule{}, errors.New("it has no option (seamshare.type.v1.access)")
	}
	option, _ := proto.GetExtension(options, typev1.E_Access).(*typev1.Access)
	r := Rule{Open: option.GetOpen(), SignedIn: option.GetSignedIn(), Shows: shownBy(m)}
	r.screen = newScreen(m.Output(), r.Shows)
	r.moneyless = newScreen(m.Output(), r.Shows.Without(typev1.Class_CLASS_PRICE))
	forms := 0
	for _, set := range []bool{r.Open, r.SignedIn, len(option.GetRoles()) > 0} {
		if set {
			forms++
		}
	}
	if forms != 1 {
		return Rule{}, errors.New("its access option needs exactly one of roles, signed_in and open")
	}
	for _, role := range option.GetRoles() {
		if _, known := memberv1.Role_name[int32(role)]; !known || role == typev1.Role_ROLE_UNSPECIFIED {
			return Rule{}, fmt.Errorf("its access option names role %v, which nobody can have", role)
		}
		r.Roles = append(r.Roles, stored(role))
	}
	return r, nil
}

// stored is the stored form of a role. Both enums have the same names and
// numbers; a test holds them to it.
func stored(r typev1.Role) memberv1.Role { return memberv1.Role(r) }
