package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"syscall"
	"time"

	"google.golang.org/grpc"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/badgerstore"
	"seamshare.example/gateway"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	"seamshare.example/services"
	"seamshare.example/services/access"
	"seamshare.example/services/coop"
	"seamshare.example/services/server"
)

// nodeConfig is how a node is started.
type nodeConfig struct {
	dir      string
	listen   string // for gRPC; empty: only within the process
	http     string // for JSON over HTTP; empty: none
	tls      *tls.Config
	minFree  uint64
	limits   server.Limits
	logger   *slog.Logger
	fatal    func(error)
	progress func(done, total eventstore.Sequence)
	clock    func() time.Time // nil: time.Now
}

// runningNode is a node that serves.
type runningNode struct {
	node   *openNode
	server *server.Server
	socket *grpc.Server
	http   *http.Server
	toHTTP *grpc.ClientConn
	grpcAt string
	httpAt string
	// unfollow ends what destroys the keys of who was erased; nil: the keys are shut.
	unfollow func()
	stopped  chan error // what ended a listener that should have gone on
}

// startNode opens the folder's node and serves it. Close it.
func startNode(ctx context.Context, cfg nodeConfig) (_ *runningNode, err error) {
	if cfg.logger == nil {
		cfg.logger = slog.New(slog.DiscardHandler)
	}
	// Not a named result: that is nil for the goroutines when a later step fails.
	r := &runningNode{stopped: make(chan error, 3)}
	defer func() {
		if err != nil {
			err = errors.Join(err, r.Close())
		}
	}()
	if err := errors.Join(checkAddress("--listen", cfg.listen, cfg.tls != nil), checkAddress("--http", cfg.http, cfg.tls != nil)); err != nil {
		return nil, err
	}
	if _, err := readSettings(cfg.dir); err != nil {
		return nil, err
	}
	key, err := access.TokenKey(cfg.dir)
	if err != nil {
		return nil, fmt.Errorf("couldn't read the token key: %w", err)
	}
	r.node, err = openData(ctx, cfg.dir, nodeOptions{minFree: cfg.minFree, logger: cfg.logger, fatal: cfg.fatal, progress: cfg.progress, clock: cfg.clock})
	if err != nil {
		return nil, err
	}
	all, err := services.New(r.node.Node, key)
	if err != nil {
		return nil, err
	}
	if all.Personal, err = r.openPersonal(ctx, cfg.dir, cfg.logger); err != nil {
		return nil, err
	}
	all.Photos = r.node.photos
	r.server, err = server.New(server.Config{
		Register: all.Register, Guard: all.Guard, Photos: r.node.photos, Trouble: r.node.Trouble, TLS: cfg.tls, Limits: cfg.limits, Log: cfg.logger,
	})
	if err != nil {
		return nil, err
	}
	if cfg.listen != "" {
		l, err := listen("--listen", cfg.listen)
		if err != nil {
			return nil, err
		}
		r.grpcAt = l.Addr().String()
		go func() { r.stopped <- r.server.Serve(l) }()
	}
	if cfg.http != "" {
		if err := r.serveHTTP(cfg); err != nil {
			return nil, err
		}
	}
	if err := r.serveSocket(cfg.dir, cfg.logger); err != nil {
		return nil, err
	}
	return r, nil
}

// checkAddress refuses an address that is none, and one that others can reach without TLS. Empty: not wanted.
func checkAddress(flag, addr string, tls bool) error {
	if addr == "" {
		return nil
	}
	if _, _, err := net.SplitHostPort(addr); err != nil {
		return wrongInput(flag, "give it as host:port, such as "+defaultListen, "%q has no host and port", addr)
	}
	if err := access.CheckListen(addr, tls); err != nil {
		return wrongInput(flag, "give --tls-cert and --tls-key, or an address on 127.0.0.1", "%q can be reached from other machines, and without TLS sign-ins would travel in plain text", addr)
	}
	return nil
}

// listen blames the flag for an address that can't be listened on.
func listen(flag, addr string) (net.Listener, error) {
	l, err := net.Listen("tcp", addr)
	var f *failure
	switch {
	case err == nil:
		return l, nil
	case errors.Is(err, syscall.EADDRINUSE):
		f = wrongInput(flag, "stop the program that listens there, or give another port", "%s is taken by another program", addr)
	case errors.Is(err, syscall.EACCES):
		f = wrongInput(flag, "give a port of 1024 or more", "you may not listen on %s", addr)
	default:
		f = wrongInput(flag, "give an address of this machine as host:port, such as "+defaultListen, "%s can't be listened on: %v", addr, err)
	}
	f.Err = err
	return nil, f
}

// serveHTTP puts the gateway before the server.
func (r *runningNode) serveHTTP(cfg nodeConfig) (err error) {
	if r.toHTTP, err = r.server.InProcess(); err != nil {
		return err
	}
	handler, err := gateway.New(context.Background(), r.toHTTP)
	if err != nil {
		return err
	}
	l, err := listen("--http", cfg.http)
	if err != nil {
		return err
	}
	r.httpAt = l.Addr().String()
	if cfg.tls != nil {
		l = tls.NewListener(l, cfg.tls)
	}
	r.http = gateway.Server(handler)
	go func() {
		if err := r.http.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			r.stopped <- err
		}
	}()
	return nil
}

// maxSocketPath is what the kernel takes.
const maxSocketPath = 107

// serveSocket lets commands on this machine ask the node. Who may open the
// folder may read all that is in it, so the folder's mode is the guard.
func (r *runningNode) serveSocket(dir string, logger *slog.Logger) error {
	path := socketPath(dir)
	// One that is left from a killed node is in the way; the log's lock says
	// that no other node runs here.
	if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("couldn't take the old socket away: %w", err)
	}
	if len(path) > maxSocketPath {
		logger.Warn("the folder's name is too long for a socket in it: backup and log work only while the node is stopped", "path", path, "at_most", maxSocketPath)
		return nil
	}
	l, err := net.Listen("unix", path)
	if err != nil {
		return fmt.Errorf("couldn't listen on the folder's socket: %w", err)
	}
	if err := os.Chmod(path, 0o600); err != nil {
		return errors.Join(err, l.Close())
	}
	r.socket = grpc.NewServer(grpc.MaxSendMsgSize(4 << 20))
	coopv1.RegisterNodeServiceServer(r.socket, coop.NewNode(r.node.Node, r.node.photos))
	go func() { r.stopped <- r.socket.Serve(l) }()
	return nil
}

// Close stops serving, answers what is under way, and closes the node.
func (r *runningNode) Close() error {
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	var errs []error
	if r.http != nil {
		errs = append(errs, r.http.Shutdown(ctx))
	}
	if r.toHTTP != nil {
		errs = append(errs, r.toHTTP.Close())
	}
	if r.server != nil {
		r.server.Stop(ctx)
	}
	if r.socket != nil {
		r.socket.Stop()
	}
	if r.unfollow != nil {
		r.unfollow()
	}
	if r.node != nil {
		errs = append(errs, r.node.Close())
	}
	return errors.Join(errs...)
}

// setAside tells whether the store was not trusted and built anew.
func (r *runningNode) setAside() *badgerstore.Aside { return r.node.aside }
