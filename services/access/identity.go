package access

import (
	"context"
	"crypto/sha256"
	"slices"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"seamshare.example/eventstore"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
)

// Identity is who calls, as the token says, and the rule of the rpc they called.
// It says nothing of what the person may do at this moment; Recheck does.
type Identity struct {
	Person string
	Member string // the member they act for
	Key    string // the id of the key they signed in with; empty where that isn't known
	rule   Rule
	roles  []memberv1.Role // that the person had when the call came in
}

// moneyless are who keeps stock or the register and nothing else: money isn't theirs to
// see, whatever the rpc shows others.
func moneyless(roles []memberv1.Role) bool {
	return len(roles) > 0 && !slices.ContainsFunc(roles, func(r memberv1.Role) bool {
		return r != memberv1.Role_ROLE_STOCK_KEEPER && r != memberv1.Role_ROLE_REGISTRAR
	})
}

type identityKey struct{}

// Caller is who calls; the zero Identity in an open rpc, where nobody is known.
func Caller(ctx context.Context) Identity {
	who, _ := ctx.Value(identityKey{}).(Identity)
	return who
}

func withCaller(ctx context.Context, who Identity) context.Context {
	return context.WithValue(ctx, identityKey{}, who)
}

// command is what every mutation's request has.
type command interface {
	proto.Message
	GetRequestId() string
	GetMinPosition() uint64
}

// Request is the event store's request for the command that is being handled:
// the caller, the rpc and the fingerprint that tells a repeat from a mistake.
// The fingerprint leaves out request_id, which it is looked up by, and
// min_position, which may be another at each try.
func Request(ctx context.Context, c command) eventstore.Request {
	who := Caller(ctx)
	rpc, _ := grpc.Method(ctx)
	return eventstore.Request{
		ID: c.GetRequestId(), Member: who.Member, Person: who.Person, RPC: rpc,
		Fingerprint: fingerprint(rpc, c), MinPosition: eventstore.Position(c.GetMinPosition()),
	}
}

func fingerprint(rpc string, c command) [sha256.Size]byte {
	m := proto.CloneOf(proto.Message(c)).ProtoReflect()
	for _, name := range []string{"request_id", "min_position"} {
		m.Clear(m.Descriptor().Fields().ByTextName(name))
	}
	// A message that was just received always marshals.
	data, _ := proto.MarshalOptions{Deterministic: true}.Marshal(m.Interface())
	h := sha256.New()
	h.Write([]byte(rpc))
	h.Write([]byte{0})
	h.Write(data)
	return [sha256.Size]byte(h.Sum(nil))
}
