package main

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	"seamshare.example/services/access"
)

// call is one call on the way: its connection, its deadline, and the name under which a command may be repeated.
type call struct {
	ctx       context.Context
	conn      grpc.ClientConnInterface
	requestID string
}

// query asks the server and changes nothing.
func query[T any](ctx context.Context, s *session, ask func(q call) (T, error)) (T, error) {
	return onServer(ctx, s, func(q call) (T, error) {
		answer, err := ask(q)
		if err != nil {
			return answer, asFailure(err)
		}
		return answer, nil
	})
}

// command changes something on the server, once, however often it is repeated with the same request id. It signs in
// first, so that a server that can't be reached, or takes no key, is known before anything is sent that changes something.
func command[T any](ctx context.Context, s *session, do func(q call) (T, error)) (T, error) {
	return onServer(ctx, s, func(q call) (T, error) {
		if _, err := coopv1.NewAccessServiceClient(q.conn).WhoAmI(q.ctx, &coopv1.WhoAmIRequest{}); err != nil {
			var none T
			return none, asFailure(err)
		}
		answer, err := do(q)
		if err != nil {
			return answer, maybeDone(err, q.requestID)
		}
		return answer, nil
	})
}

// longestCall is how long an answer is waited for at most.
const longestCall = time.Minute

func onServer[T any](ctx context.Context, s *session, f func(q call) (T, error)) (_ T, err error) {
	var none T
	if s.timeout <= 0 || s.timeout > longestCall {
		return none, wrongUsage("--timeout", "give a time such as 30s", "%v is not above zero and at most a minute", s.timeout)
	}
	p, err := s.signer()
	if err != nil {
		return none, err
	}
	conn, err := dial(p)
	if err != nil {
		return none, err
	}
	defer func() { err = errors.Join(err, conn.Close()) }()
	ctx, cancel := context.WithTimeout(ctx, s.timeout)
	defer cancel()
	id := s.requestID
	if id == "" {
		id = "cli-" + strings.ToLower(rand.Text())
	}
	q := call{ctx, conn, id}
	answer, err := f(q)
	if err == nil {
		s.forPeople(q, answer)
	}
	if wrong, ok := errors.AsType[*failure](err); ok {
		s.noAnswer(wrong, p.Server)
	}
	return answer, err
}

// noAnswer says in plain words that a server wasn't there or took too long. What the server itself said stays.
func (s *session) noAnswer(f *failure, server string) {
	st, ok := status.FromError(f.Err)
	if !ok || len(st.Details()) > 0 {
		return
	}
	var plainly, hint string
	switch st.Code() {
	case codes.Unavailable:
		// gRPC's text ends with the cause: … dial tcp 127.0.0.1:7400: connect: connection refused"
		cause := strings.TrimRight(st.Message(), `"`)
		cause = cause[strings.LastIndex(cause, ": ")+1:]
		plainly = "the node can't be reached at " + server + " (" + strings.TrimSpace(cause) + ")"
		hint = "is seamshare serve running there? Start it, or name the right node with --server"
	case codes.DeadlineExceeded:
		plainly = fmt.Sprintf("the node at %s gave no answer within %v", server, s.timeout)
	default:
		return
	}
	f.Message = strings.Replace(f.Message, st.Message(), plainly, 1)
	if f.Exit == exitUnreachable { // else the hint is how to repeat it
		f.Field = "--server"
		f.Hint = cmp.Or(hint, f.Hint)
	}
}

// dial opens a connection that signs in by itself.
func dial(p profile) (*grpc.ClientConn, error) {
	key, err := access.ReadKey(p.Key)
	if err != nil {
		return nil, keyFailure("--key", err)
	}
	transport, err := transportFor(p)
	if err != nil {
		return nil, err
	}
	as := access.SignIn{Key: key, Person: p.Person, Member: p.Member, Coop: p.CoopID}
	conn, err := access.Dial("dns:///"+p.Server, as, grpc.WithTransportCredentials(transport))
	if err != nil {
		return nil, wrongUsage("--server", "give it as host:port", "%q can't be an address: %v", p.Server, err)
	}
	return conn, nil
}

// transportFor is TLS, but for a node on this very machine that no certificate was named for.
func transportFor(p profile) (credentials.TransportCredentials, error) {
	host, _, err := net.SplitHostPort(p.Server)
	if err != nil {
		return nil, wrongUsage("--server", "give it as host:port, such as localhost:7400", "%q has no host and port", p.Server)
	}
	if ip := net.ParseIP(host); p.CA == "" && (host == "localhost" || ip != nil && ip.IsLoopback()) {
		return insecure.NewCredentials(), nil
	}
	config, err := access.ClientTLS(p.CA)
	if err != nil {
		return nil, wrongInput("--ca", "ask whoever runs the node for its certificate", "%v", err)
	}
	return credentials.NewTLS(config), nil
}
