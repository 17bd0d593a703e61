package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"time"

	"golang.org/x/time/rate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/cutter"
	"seamshare.example/services/page"
	"seamshare.example/services/server"
)

// callersPerConnection stays below the server's limit of streams on one connection, and
// is how many members' programs might share a gateway.
const callersPerConnection = 64

// services are the node's gRPC services behind the program's own server, on loopback.
type services struct {
	node   *node
	trade  *trade
	cutter cutterv1.CutterServiceServer
	server *server.Server
	issuer *access.Issuer
	guard  *access.Guard
	addr   string
	served chan error
}

func serve(n *node, t *trade) (*services, error) {
	tokenKey, err := access.NewKey()
	if err != nil {
		return nil, err
	}
	tokens, err := page.NewToken(tokenKey.Seed())
	if err != nil {
		return nil, err
	}
	s := &services{node: n, trade: t, cutter: cutter.New(n.Node, tokens), served: make(chan error, 1)}
	s.issuer = access.NewIssuer(coopID, tokenKey, time.Now)
	s.guard = access.NewGuard(s.issuer, access.At(n.Node))
	unlimited := server.Rate{PerSecond: float64(rate.Inf), Burst: 1}
	s.server, err = server.New(server.Config{
		Register: func(r grpc.ServiceRegistrar) {
			cutterv1.RegisterCutterServiceServer(r, s.cutter)
		},
		Guard: s.guard, Trouble: n.Trouble, Limits: server.Limits{Member: unlimited, Address: unlimited},
	})
	if err != nil {
		return nil, err
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, errors.Join(fmt.Errorf("couldn't listen on loopback: %w", err), s.stop())
	}
	s.addr = l.Addr().String()
	go func() { s.served <- s.server.Serve(l) }()
	return s, nil
}

func (s *services) stop() error {
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	s.server.Stop(ctx)
	if s.addr == "" {
		return nil
	}
	return <-s.served
}

// step is the next command of a caller, and settles what is left of its piece.
func (s *services) step(w *workpiece, call func(*cutterv1.WorkPartRequest) (*cutterv1.WorkPartResponse, error)) error {
	left := w.massUg.Load() - stepUg
	_, err := call(&cutterv1.WorkPartRequest{
		RequestId: command.NewID(), PieceId: w.id, Part: w.part, Step: typev1.Step_STEP_GRIND,
		PartsOut: []*cutterv1.PartOut{{Name: w.part, Weighing: &typev1.Weighing{MassUg: left, DivisionUg: divisionUg}}},
		Reason:   typev1.Reason_REASON_GROUND_OFF, How: how,
	})
	if err != nil {
		return fmt.Errorf("couldn't work piece %s: %w", w.id, err)
	}
	w.massUg.Store(left)
	return nil
}

// signIn gets the cutter's person a bearer token.
func (s *services) signIn(ctx context.Context) (string, error) {
	assertion, err := access.SignAssertion(s.trade.key, s.trade.person, s.trade.cutter, coopID, time.Now())
	if err != nil {
		return "", fmt.Errorf("couldn't sign in: %w", err)
	}
	q, err := s.node.Query(ctx, 0)
	if err != nil {
		return "", fmt.Errorf("couldn't sign in: %w", err)
	}
	defer q.Close()
	grant, err := s.issuer.Issue(q, assertion)
	if err != nil {
		return "", fmt.Errorf("couldn't sign in: %w", err)
	}
	return grant.Token, nil
}

// inProcess calls the service's handler as the person, whom the guard let in once: no
// transport, no token to check at each call, just as the peer has none.
func (s *services) inProcess(ctx context.Context, callers int) (do, error) {
	token, err := s.signIn(ctx)
	if err != nil {
		return nil, err
	}
	method := cutterv1.CutterService_WorkPart_FullMethodName
	ctx = metadata.NewIncomingContext(ctx, metadata.Pairs("authorization", "Bearer "+token))
	ctx = grpc.NewContextWithServerTransportStream(ctx, calling(method))
	_, err = s.guard.Unary(ctx, nil, &grpc.UnaryServerInfo{FullMethod: method}, func(admitted context.Context, _ any) (any, error) {
		ctx = admitted
		return nil, nil
	})
	if err != nil {
		return nil, fmt.Errorf("couldn't sign in: %w", err)
	}
	counts := make([]int, callers)
	return func(_ context.Context, caller int) error {
		w := s.trade.piece(caller, callers, counts[caller])
		counts[caller]++
		return s.step(w, func(r *cutterv1.WorkPartRequest) (*cutterv1.WorkPartResponse, error) {
			return s.cutter.WorkPart(ctx, r)
		})
	}, nil
}

// calling tells a handler which method it is called as.
type calling string

func (c calling) Method() string             { return string(c) }
func (calling) SetHeader(metadata.MD) error  { return nil }
func (calling) SendHeader(metadata.MD) error { return nil }
func (calling) SetTrailer(metadata.MD) error { return nil }

// overGRPC calls through TCP, with all that a member's call passes: token, rates,
// deadline and validation at each.
func (s *services) overGRPC(ctx context.Context, callers int) (call do, connections int, done func() error, err error) {
	token, err := s.signIn(ctx)
	if err != nil {
		return nil, 0, nil, err
	}
	connections = (callers + callersPerConnection - 1) / callersPerConnection
	clients := make([]cutterv1.CutterServiceClient, connections)
	var conns []*grpc.ClientConn
	done = func() (err error) {
		for _, c := range conns {
			err = errors.Join(err, c.Close())
		}
		return err
	}
	for i := range clients {
		conn, err := grpc.NewClient(s.addr, grpc.WithTransportCredentials(insecure.NewCredentials()), grpc.WithPerRPCCredentials(bearer(token)))
		if err != nil {
			return nil, 0, nil, errors.Join(fmt.Errorf("couldn't connect to the server: %w", err), done())
		}
		conns = append(conns, conn)
		clients[i] = cutterv1.NewCutterServiceClient(conn)
	}
	counts := make([]int, callers)
	return func(ctx context.Context, caller int) error {
		w := s.trade.piece(caller, callers, counts[caller])
		counts[caller]++
		return s.step(w, func(r *cutterv1.WorkPartRequest) (*cutterv1.WorkPartResponse, error) {
			return clients[caller%connections].WorkPart(ctx, r)
		})
	}, connections, done, nil
}

// bearer sends a token with each call.
type bearer string

func (b bearer) GetRequestMetadata(context.Context, ...string) (map[string]string, error) {
	return map[string]string{"authorization": "Bearer " + string(b)}, nil
}

// RequireTransportSecurity implements credentials.PerRPCCredentials: loopback needs none.
func (bearer) RequireTransportSecurity() bool { return false }
