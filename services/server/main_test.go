package server_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"sync/atomic"
	"testing"
	"time"

	"go.uber.org/goleak"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/storetest"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	"seamshare.example/services/access"
	"seamshare.example/services/access/accesstest"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/server"
	"seamshare.example/services/stream"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// desk is a small co-op desk: enough of the real services to go through every
// layer of the server, deciding on a real node.
type desk struct {
	coopv1.UnimplementedCoopServiceServer
	coopv1.UnimplementedAccessServiceServer
	node   *eventstore.Node
	issuer *access.Issuer
	// answers gives ListFields' error by the page token it is called with.
	answers map[string]error
	// before, if set, gives the next token, and then no more: as if the server's token
	// key were changed after it.
	before atomic.Pointer[access.Issuer]
}

func (d *desk) IssueToken(ctx context.Context, r *coopv1.IssueTokenRequest) (*coopv1.IssueTokenResponse, error) {
	q, err := d.node.Query(ctx, 0)
	if err != nil {
		return nil, err
	}
	defer q.Close()
	issuer := d.issuer
	if before := d.before.Swap(nil); before != nil {
		issuer = before
	}
	g, err := issuer.Issue(q, r.GetAssertion())
	if err != nil {
		return nil, err
	}
	return &coopv1.IssueTokenResponse{Token: g.Token, ExpiresAt: g.ExpiresAt.Format(time.RFC3339), MemberId: g.Member}, nil
}

// WhoAmI answers with who the interceptors let in.
func (d *desk) WhoAmI(ctx context.Context, _ *coopv1.WhoAmIRequest) (*coopv1.WhoAmIResponse, error) {
	who := access.Caller(ctx)
	return &coopv1.WhoAmIResponse{PersonId: who.Person, MemberId: who.Member, CoopId: d.node.Coop()}, nil
}

func (d *desk) RecordField(ctx context.Context, r *coopv1.RecordFieldRequest) (*coopv1.RecordFieldResponse, error) {
	out, err := d.node.Decide(ctx, access.Request(ctx, r), func(tx *eventstore.Tx) error {
		if err := access.Recheck(tx, access.Caller(ctx)); err != nil {
			return err
		}
		e, err := member.Field{}.Record("f-"+r.GetRequestId(), r.GetName(), r.GetCountry())
		if err != nil {
			return err
		}
		tx.Record(stream.Field.Stream("f-"+r.GetRequestId()), e)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.RecordFieldResponse{Position: uint64(out.Last)}, nil
}

func (d *desk) ListFields(_ context.Context, r *coopv1.ListFieldsRequest) (*coopv1.ListFieldsResponse, error) {
	if r.GetPageToken() == "panic" {
		panic("canary: a secret of the server's")
	}
	return &coopv1.ListFieldsResponse{}, d.answers[r.GetPageToken()]
}

func (d *desk) GetBalances(ctx context.Context, _ *coopv1.GetBalancesRequest) (*coopv1.GetBalancesResponse, error) {
	end, ok := ctx.Deadline()
	if !ok {
		return nil, errors.New("the call has no deadline")
	}
	return &coopv1.GetBalancesResponse{Position: uint64(time.Until(end) / time.Second)}, nil
}

func (d *desk) register(r grpc.ServiceRegistrar) {
	coopv1.RegisterCoopServiceServer(r, d)
	coopv1.RegisterAccessServiceServer(r, d)
}

// house is a served desk with people.
type house struct {
	*desk
	server                    *server.Server
	registrar, miner, auditor access.SignIn
}

func open(t testing.TB, change ...func(*server.Config)) *house {
	t.Helper()
	node := storetest.NewNode(t, eventstore.NewCodec(stream.Events()...))
	key, err := access.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	d := &desk{node: node, issuer: access.NewIssuer(node.Coop(), key, time.Now), answers: map[string]error{
		"store":  fmt.Errorf("canary: badger at /var/lib: %w", errors.New("disk on fire")),
		"rules":  rule.All{{Reason: rule.MassInvalid, Field: "a", Value: "-1", Rule: "a mass is positive"}, {Reason: rule.NotAnswered, Field: "b", Rule: "is always answered"}},
		"busy":   fmt.Errorf("couldn't decide: %w", eventstore.ErrBusy),
		"absent": rule.NotThere("stone_id", "stone"),
	}}
	h := &house{desk: d}
	h.registrar = accesstest.Join(t, node, "coop", memberv1.Role_ROLE_REGISTRAR)
	h.miner = accesstest.Join(t, node, "m1", memberv1.Role_ROLE_MINER)
	h.auditor = accesstest.Join(t, node, "a1", memberv1.Role_ROLE_AUDITOR)
	c := server.Config{
		Register: d.register,
		Guard:    access.NewGuard(d.issuer, access.At(node)),
		Trouble:  node.Trouble,
		Log:      slog.New(slog.NewTextHandler(t.Output(), nil)),
	}
	for _, f := range change {
		f(&c)
	}
	if h.server, err = server.New(c); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		h.server.Stop(ctx)
	})
	return h
}

// as is a connection that signs in.
func (h *house) as(t testing.TB, who access.SignIn) *grpc.ClientConn {
	t.Helper()
	conn, err := h.server.SignedIn(who)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return conn
}

// bare is a connection without a token.
func (h *house) bare(t testing.TB, options ...grpc.DialOption) *grpc.ClientConn {
	t.Helper()
	conn, err := h.server.InProcess(options...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return conn
}

// listen serves on loopback and gives the address.
func (h *house) listen(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	served := make(chan error, 1)
	go func() { served <- h.server.Serve(l) }()
	t.Cleanup(func() {
		h.server.Stop(t.Context())
		if err := <-served; err != nil {
			t.Errorf("serve: %v", err)
		}
	})
	return l.Addr().String()
}

var plain = grpc.WithTransportCredentials(insecure.NewCredentials())
