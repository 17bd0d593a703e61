package main

import (
	"context"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"os"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"

	"seamshare.example/cmd/seamshare/internal/signin"
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

// command changes something on the server, once, however often it is repeated with the same request id.
func command[T any](ctx context.Context, s *session, do func(q call) (T, error)) (T, error) {
	return onServer(ctx, s, func(q call) (T, error) {
		answer, err := do(q)
		if err != nil {
			return answer, maybeDone(err, q.requestID)
		}
		return answer, nil
	})
}

func onServer[T any](ctx context.Context, s *session, f func(q call) (T, error)) (_ T, err error) {
	var none T
	if s.timeout <= 0 || s.timeout > time.Minute {
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
	return f(call{ctx, conn, id})
}

// dial opens a connection that signs in by itself.
func dial(p profile) (*grpc.ClientConn, error) {
	key, err := signin.ReadKey(p.Key)
	if errors.Is(err, signin.ErrKeyFile) {
		return nil, &failure{Exit: exitUsage, Reason: "WRONG_INPUT", Field: "--key", Message: err.Error(), Hint: "seamshare key new FILE makes one", Err: err}
	}
	if err != nil {
		return nil, err
	}
	transport, err := transportFor(p)
	if err != nil {
		return nil, err
	}
	who := signin.Identity{CoopID: p.CoopID, PersonID: p.Person, MemberID: p.Member, Key: key}
	conn, err := grpc.NewClient("dns:///"+p.Server, append(signin.DialOptions(who), grpc.WithTransportCredentials(transport))...)
	if err != nil {
		return nil, wrongUsage("--server", "give it as host:port", "%q can't be an address: %v", p.Server, err)
	}
	return conn, nil
}

// transportFor is TLS, but for a node on this very machine that no certificate was named for.
func transportFor(p profile) (credentials.TransportCredentials, error) {
	host, _, err := net.SplitHostPort(p.Server)
	if err != nil {
		return nil, wrongUsage("--server", "give it as host:port, such as localhost:7700", "%q has no host and port", p.Server)
	}
	if p.CA == "" {
		if ip := net.ParseIP(host); host == "localhost" || ip != nil && ip.IsLoopback() {
			return insecure.NewCredentials(), nil
		}
		return credentials.NewTLS(&tls.Config{MinVersion: tls.VersionTLS13}), nil
	}
	pem, err := os.ReadFile(p.CA)
	if err != nil {
		return nil, fmt.Errorf("couldn't read the certificate: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(pem) {
		return nil, wrongInput("--ca", "ask whoever runs the node for its certificate", "%s holds no PEM certificate", p.CA)
	}
	return credentials.NewTLS(&tls.Config{RootCAs: pool, MinVersion: tls.VersionTLS13}), nil
}
