// Package tradetest runs services of a node in process, so that tests of a service
// call it as members do: through gRPC, with all that stands before it.
package tradetest

import (
	"context"
	"slices"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/storetest"
	"seamshare.example/services/access"
	"seamshare.example/services/access/accesstest"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/page"
	"seamshare.example/services/server"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
)

// House is a node with a founded co-op, and its services.
type House struct {
	Node   *eventstore.Node
	Tokens page.Token
	issuer *access.Issuer
}

// Open founds a co-op on a node in memory. Nothing may stay unexplained beyond 50 mg
// for each 100 g.
func Open(t testing.TB) *House {
	t.Helper()
	node := storetest.NewNode(t, eventstore.NewCodec(stream.Events()...), view.All()...)
	founded, err := member.Coop{}.Found(node.Coop(), "Two Fields Opal Co-operative", time.UTC, 50_000)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := node.Decide(t.Context(), eventstore.Request{}, func(tx *eventstore.Tx) error {
		tx.Record(stream.Coop.Stream(node.Coop()), founded)
		return nil
	}); err != nil {
		t.Fatalf("couldn't found the co-op: %v", err)
	}
	key, err := access.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	tokens, err := page.NewToken(key.Seed())
	if err != nil {
		t.Fatal(err)
	}
	return &House{Node: node, Tokens: tokens, issuer: access.NewIssuer(node.Coop(), key, time.Now)}
}

// Serve serves what register registers and gives a connection to it.
func (h *House) Serve(t testing.TB, register func(grpc.ServiceRegistrar)) *grpc.ClientConn {
	t.Helper()
	s, err := server.New(server.Config{Register: register, Guard: access.NewGuard(h.issuer, access.At(h.Node))})
	if err != nil {
		t.Fatal(err)
	}
	conn, err := s.InProcess()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := conn.Close(); err != nil {
			t.Error(err)
		}
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		s.Stop(ctx)
	})
	return conn
}

// Join admits a member with roles and gives a context whose calls are made by a person
// of it, who has them all.
func (h *House) Join(t testing.TB, id string, roles ...memberv1.Role) context.Context {
	t.Helper()
	return h.SignIn(t, accesstest.Join(t, h.Node, id, roles...))
}

// SignIn gives a context whose calls are made by a person.
func (h *House) SignIn(t testing.TB, as access.SignIn) context.Context {
	t.Helper()
	assertion, err := access.SignAssertion(as.Key, as.Person, as.Member, as.Coop, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	q, err := h.Node.Query(t.Context(), 0)
	if err != nil {
		t.Fatal(err)
	}
	defer q.Close()
	grant, err := h.issuer.Issue(q, assertion)
	if err != nil {
		t.Fatal(err)
	}
	return metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+grant.Token)
}

// Field records an opal field.
func (h *House) Field(t testing.TB, id, name string) {
	t.Helper()
	recorded, err := member.Field{}.Record(id, name, "ironstone country")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := h.Node.Decide(t.Context(), eventstore.Request{}, func(tx *eventstore.Tx) error {
		tx.Record(stream.Field.Stream(id), recorded)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
}

// Refused fails unless err is the refusal with this code and reason and, where
// fields are named, with a violation of each of them.
func Refused(t testing.TB, err error, code codes.Code, reason string, fields ...string) {
	t.Helper()
	st := status.Convert(err)
	if st.Code() != code {
		t.Fatalf("got %v (%s), want %v for %s", st.Code(), st.Message(), code, reason)
	}
	var got string
	var named []string
	for _, d := range st.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			got = d.GetReason()
		case *errdetails.BadRequest:
			for _, v := range d.GetFieldViolations() {
				named = append(named, v.GetField())
			}
		}
	}
	if got != reason {
		t.Fatalf("refused for %q (%s), want %s", got, st.Message(), reason)
	}
	for _, f := range fields {
		if !slices.Contains(named, f) {
			t.Errorf("no violation of %s among %q (%s)", f, named, st.Message())
		}
	}
}
