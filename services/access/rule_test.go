package access_test

import (
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/descriptorpb"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/access"
)

// method is an rpc with this access option, or none.
func method(t *testing.T, option *typev1.Access) protoreflect.MethodDescriptor {
	t.Helper()
	options := &descriptorpb.MethodOptions{}
	if option != nil {
		proto.SetExtension(options, typev1.E_Access, option)
	}
	file, err := protodesc.NewFile(&descriptorpb.FileDescriptorProto{
		Name: proto.String("t.proto"), Package: proto.String("t"), Syntax: proto.String("proto3"),
		MessageType: []*descriptorpb.DescriptorProto{{Name: proto.String("M")}},
		Service: []*descriptorpb.ServiceDescriptorProto{{Name: proto.String("S"), Method: []*descriptorpb.MethodDescriptorProto{
			{Name: proto.String("Call"), InputType: proto.String(".t.M"), OutputType: proto.String(".t.M"), Options: options},
		}}},
	}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return file.Services().Get(0).Methods().Get(0)
}

func TestRuleOf(t *testing.T) {
	miner := []typev1.Role{typev1.Role_ROLE_MINER}
	for _, c := range []struct {
		name   string
		option *typev1.Access
		ok     bool
	}{
		{"OK: roles", &typev1.Access{Roles: miner}, true},
		{"OK: signed in", &typev1.Access{SignedIn: true}, true},
		{"OK: open", &typev1.Access{Open: true}, true},
		{"refused: no option", nil, false},
		{"refused: an empty option", &typev1.Access{}, false},
		{"refused: roles and open", &typev1.Access{Roles: miner, Open: true}, false},
		{"refused: signed in and open", &typev1.Access{SignedIn: true, Open: true}, false},
		{"refused: roles and signed in", &typev1.Access{Roles: miner, SignedIn: true}, false},
		{"refused: the role nobody has", &typev1.Access{Roles: []typev1.Role{0}}, false},
		{"refused: a role that isn't known", &typev1.Access{Roles: []typev1.Role{99}}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, err := access.RuleOf(method(t, c.option)); (err == nil) != c.ok {
				t.Fatalf("got %v", err)
			}
		})
	}
}

// The API and the stored events name roles by the same words and numbers.
func TestRolesAgree(t *testing.T) {
	for number, name := range typev1.Role_name {
		if memberv1.Role_name[number] != name {
			t.Errorf("role %d is %s in the API and %q in events", number, name, memberv1.Role_name[number])
		}
	}
	if len(typev1.Role_name) != len(memberv1.Role_name) {
		t.Errorf("%d roles in the API, %d in events", len(typev1.Role_name), len(memberv1.Role_name))
	}
}
