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
}

// runningNode is a node that serves.
type runningNode struct {
	node    *openNode
	server  *server.Server
	socket  *grpc.Server
	http    *http.Server
	toHTTP  *grpc.ClientConn
	grpcAt  string
	httpAt  string
	stopped chan error // what ended a listener that should have gone on
}

// startNode opens the folder's node and serves it. Close it.
func startNode(ctx context.Context, cfg nodeConfig) (r *runningNode, err error) {
	if cfg.logger == nil {
		cfg.logger = slog.New(slog.DiscardHandler)
	}
	r = &runningNode{stopped: make(chan error, 3)}
	defer func(begun *runningNode) {
		if err != nil {
			err = errors.Join(err, begun.Close())
		}
	}(r)
	for _, addr := range []string{cfg.listen, cfg.http} {
		if addr == "" {
			continue
		}
		if err := access.CheckListen(addr, cfg.tls != nil); err != nil {
			return nil, wrongUsage("--listen", "give --tls-cert and --tls-key, or listen on 127.0.0.1", "%v", err)
		}
	}
	key, err := access.TokenKey(cfg.dir)
	if err != nil {
		return nil, fmt.Errorf("couldn't read the token key: %w", err)
	}
	r.node, err = openData(ctx, cfg.dir, nodeOptions{minFree: cfg.minFree, logger: cfg.logger, fatal: cfg.fatal, progress: cfg.progress})
	if err != nil {
		return nil, err
	}
	all, err := services.New(r.node.Node, key)
	if err != nil {
		return nil, err
	}
	r.server, err = server.New(server.Config{
		Register: all.Register, Guard: all.Guard, Trouble: r.node.Trouble, TLS: cfg.tls, Limits: cfg.limits, Log: cfg.logger,
	})
	if err != nil {
		return nil, err
	}
	if cfg.listen != "" {
		l, err := net.Listen("tcp", cfg.listen)
		if err != nil {
			return nil, fmt.Errorf("couldn't listen on %s: %w", cfg.listen, err)
		}
		r.grpcAt = l.Addr().String()
		go func() { r.stopped <- r.server.Serve(l) }()
	}
	if cfg.http != "" {
		if err := r.serveHTTP(cfg); err != nil {
			return nil, err
		}
	}
	return r, r.serveSocket(cfg.dir, cfg.logger)
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
	l, err := net.Listen("tcp", cfg.http)
	if err != nil {
		return fmt.Errorf("couldn't listen on %s: %w", cfg.http, err)
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
	coopv1.RegisterNodeServiceServer(r.socket, coop.NewNode(r.node.Node))
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
	if r.node != nil {
		errs = append(errs, r.node.Close())
	}
	return errors.Join(errs...)
}

// setAside tells whether the store was not trusted and built anew.
func (r *runningNode) setAside() *badgerstore.Aside { return r.node.aside }
