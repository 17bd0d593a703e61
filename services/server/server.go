// Package server puts the gRPC services of one node behind one door: transport,
// limits, access, validation and the answers to errors, in that order, for every
// method alike.
//
// A unary call passes: answer (errors become statuses, panics are caught) →
// deadline → rate by address → access → rate by member → validation → handler.
package server

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"slices"
	"sync"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"
	"google.golang.org/grpc/test/bufconn"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/photo"
)

const (
	maxRequest = 1 << 20
	// maxAnswer leaves room around a commit of a whole MiB in ReadLog's answer.
	maxAnswer      = 2 << 20
	maxStreams     = 100
	maxHeaderBytes = 16 << 10
	pipeBytes      = 1 << 20
)

// Config is what a server needs. Register and Guard are required.
type Config struct {
	// Register registers the services. Each method must have an access rule.
	Register func(grpc.ServiceRegistrar)
	// Guard lets callers in.
	Guard *access.Guard
	// Trouble says why the node refuses to work, as eventstore.Node does; nil, or an
	// answer of nil: it works.
	Trouble func() *eventstore.TroubleError
	// TLS is used on every listener. Without it only loopback is served.
	TLS *tls.Config
	// Photos are held against the pictures that requests name; nil: none are kept here.
	Photos *photo.Store
	// Limits bound what one member and one address may ask; zero values are the defaults.
	Limits Limits
	// Log hears of mistakes in this program; nil: slog.Default.
	Log *slog.Logger
}

// Server serves gRPC on any number of listeners. Stop it.
type Server struct {
	grpc   *grpc.Server
	tls    *tls.Config
	health *healthService
	watch  context.CancelFunc
	done   sync.WaitGroup // the health watcher and in-process listener
}

// New assembles a server. It refuses, naming each, methods without an access rule.
func New(c Config) (*Server, error) {
	if c.Register == nil || c.Guard == nil {
		return nil, errors.New("a server needs services and a guard")
	}
	validator, err := protovalidate.New()
	if err != nil {
		return nil, fmt.Errorf("couldn't set up the validation of requests: %w", err)
	}
	if c.Log == nil {
		c.Log = slog.Default()
	}
	answers := answers{log: c.Log}
	valid := validation{validator, c.Photos}
	rates := newRates(c.Limits)
	g := grpc.NewServer(
		grpc.ForceServerCodecV2(newCodec()),
		grpc.MaxRecvMsgSize(maxRequest),
		grpc.MaxSendMsgSize(maxAnswer),
		grpc.MaxConcurrentStreams(maxStreams),
		grpc.MaxHeaderListSize(maxHeaderBytes),
		grpc.ConnectionTimeout(20*time.Second),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 30 * time.Second, PermitWithoutStream: true}),
		grpc.KeepaliveParams(keepalive.ServerParameters{MaxConnectionIdle: 15 * time.Minute, Time: 2 * time.Minute, Timeout: 20 * time.Second}),
		grpc.ChainUnaryInterceptor(answers.unary, deadline, rates.addressUnary, c.Guard.Unary, rates.memberUnary, valid.unary),
		grpc.ChainStreamInterceptor(answers.stream, rates.addressStream, c.Guard.Stream, rates.memberStream, valid.stream),
	)
	s := &Server{grpc: g, tls: c.TLS, health: newHealth(c.Trouble)}
	c.Register(g)
	s.health.register(g, g.GetServiceInfo())
	reflection.Register(g)
	if err := c.Guard.Take(g.GetServiceInfo()); err != nil {
		return nil, err
	}
	ctx, cancel := context.WithCancel(context.Background())
	s.watch = cancel
	s.done.Go(func() { s.health.run(ctx) })
	return s, nil
}

// Serve takes calls from l until Stop, and closes it. It refuses a listener on
// which tokens would travel in plaintext.
func (s *Server) Serve(l net.Listener) error {
	if err := access.CheckListen(l.Addr().String(), s.tls != nil); err != nil {
		return errors.Join(err, l.Close())
	}
	if s.tls != nil {
		c := s.tls.Clone()
		if !slices.Contains(c.NextProtos, "h2") {
			c.NextProtos = append([]string{"h2"}, c.NextProtos...)
		}
		l = tls.NewListener(l, c)
	}
	if err := s.grpc.Serve(l); err != nil && !errors.Is(err, grpc.ErrServerStopped) {
		return fmt.Errorf("couldn't serve on %s: %w", l.Addr(), err)
	}
	return nil
}

// InProcess is a connection to this server that never leaves the process, as the
// gateway uses. Its calls pass everything that others pass. Close it.
func (s *Server) InProcess(options ...grpc.DialOption) (*grpc.ClientConn, error) {
	target, dial := s.pipe()
	conn, err := grpc.NewClient(target, append([]grpc.DialOption{dial, grpc.WithTransportCredentials(insecure.NewCredentials())}, options...)...)
	if err != nil {
		return nil, fmt.Errorf("couldn't connect to the server in process: %w", err)
	}
	return conn, nil
}

// SignedIn is InProcess as a person.
func (s *Server) SignedIn(as access.SignIn, options ...grpc.DialOption) (*grpc.ClientConn, error) {
	target, dial := s.pipe()
	as.InProcess = true
	return access.Dial(target, as, append([]grpc.DialOption{dial, grpc.WithTransportCredentials(insecure.NewCredentials())}, options...)...)
}

func (s *Server) pipe() (target string, dial grpc.DialOption) {
	l := bufconn.Listen(pipeBytes)
	// Serve returns when the server stops, which closes l.
	s.done.Go(func() { _ = s.grpc.Serve(l) })
	return "passthrough:///gateway", grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return l.DialContext(ctx) })
}

// Stop lets the calls under way end, until ctx does, and then cuts them off. All
// listeners are closed when it returns.
func (s *Server) Stop(ctx context.Context) {
	s.watch()
	s.health.stop()
	ended := make(chan struct{})
	go func() {
		s.grpc.GracefulStop()
		close(ended)
	}()
	select {
	case <-ended:
	case <-ctx.Done():
		s.grpc.Stop()
		<-ended
	}
	s.done.Wait()
}
