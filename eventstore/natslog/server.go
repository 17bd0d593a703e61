package natslog

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/nats-io/nats-server/v2/server"
)

// maxPayload bounds one message. A commit is at most 1 MiB; the rest is room.
const maxPayload = 8 << 20

// ErrInUse: another process has a server on the same directory.
var ErrInUse = errors.New("the directory is in use by another process")

// Options of a server in this process.
type Options struct {
	// StoreDir holds all the server keeps. It is made where it is missing. One
	// process at a time may use it; another gets ErrInUse.
	StoreDir string
	// Listen is a loopback address ("127.0.0.1:0" lets the system choose the
	// port) on which other processes may connect; empty means that only this
	// process can reach the server. Nothing guards it: for tests and trials.
	Listen string
	// MaxStore bounds what the server keeps, in bytes; beyond it a publish gets
	// ErrNoSpace. 0 lets the server take three quarters of the disk.
	MaxStore int64
	// Logger hears the server's warnings and errors; nil means nobody does.
	Logger *slog.Logger
}

// Server is a NATS server in this process that syncs each message to disk before
// it answers.
type Server struct {
	ns     *server.Server
	logger *serverLogger
	lock   *os.File // held while the process has the directory
	url    string   // empty without a listener

	logs    atomic.Int32 // how many Logs are open on it
	closing atomic.Bool
	once    sync.Once
}

// StartServer starts a server and returns when it has read what it keeps, which
// takes a while for a big log after a crash. It returns an error where the
// running server does not sync always.
func StartServer(o Options) (*Server, error) {
	if o.StoreDir == "" {
		return nil, errors.New("store directory: must be named")
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	opts := &server.Options{
		ServerName:             "seamshare",
		DontListen:             true,
		JetStream:              true,
		StoreDir:               o.StoreDir,
		JetStreamMaxStore:      o.MaxStore,
		SyncAlways:             true,
		MaxPayload:             maxPayload,
		NoSigs:                 true,
		DisableJetStreamBanner: true,
	}
	if o.Listen != "" {
		addr, err := loopback(o.Listen)
		if err != nil {
			return nil, err
		}
		opts.DontListen = false
		opts.Host, opts.Port = addr.IP.String(), addr.Port
		if addr.Port == 0 {
			opts.Port = server.RANDOM_PORT
		}
	}

	lock, err := lockDir(o.StoreDir)
	if err != nil {
		return nil, err
	}
	ns, err := server.NewServer(opts)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("couldn't set up the NATS server: %w", err), lock.Close())
	}
	s := &Server{ns: ns, logger: newServerLogger(o.Logger), lock: lock}
	ns.SetLoggerV2(s.logger, false, false, false)
	if err := s.start(o.Listen != ""); err != nil {
		s.Close()
		return nil, fmt.Errorf("couldn't start the NATS server on %q: %w", o.StoreDir, err)
	}
	return s, nil
}

// start runs the server and checks that it is what was asked for.
func (s *Server) start(listen bool) error {
	// Start returns only after the server has recovered all streams, or has
	// given up with a fatal error, which our logger keeps instead of exiting.
	// With a listener it goes on in the background from there.
	s.ns.Start()
	if err := s.logger.fatal(); err != nil {
		return err
	}
	if !s.ns.ReadyForConnections(10 * time.Second) {
		return errors.New("it did not become ready")
	}
	if err := checkSyncs(s.ns.JetStreamConfig()); err != nil {
		return err
	}
	if listen {
		s.url = s.ns.ClientURL()
	}
	return nil
}

// checkSyncs refuses a server that would answer before a message is on disk: a
// power cut would take acknowledged commits with it.
func checkSyncs(running *server.JetStreamConfig) error {
	if running == nil {
		return errors.New("JetStream is not running")
	}
	if !running.SyncAlways {
		return fmt.Errorf("it syncs every %s, must sync always", running.SyncInterval)
	}
	return nil
}

// ClientURL is where others can connect; empty without a listener.
func (s *Server) ClientURL() string { return s.url }

// Close stops the server and returns when all is on disk and the directory is
// free. Only the first call does anything. Close the logs on it first.
func (s *Server) Close() {
	s.once.Do(func() {
		s.closing.Store(true)
		s.ns.Shutdown()
		s.ns.WaitForShutdown()
		// The lock goes with the file; an error leaves nothing to do.
		_ = s.lock.Close()
	})
}

// streamFailure says why the server can't write a stream, or "". A stream that
// isn't there has not failed.
func (s *Server) streamFailure(stream string) string {
	health := s.ns.Healthz(&server.HealthzOptions{
		Account: server.DEFAULT_GLOBAL_ACCOUNT,
		Stream:  stream,
		Details: true,
	})
	// A server on its way down is not healthy either.
	if s.closing.Load() || health.StatusCode == http.StatusNotFound || len(health.Errors) == 0 {
		return ""
	}
	return health.Errors[0].Error
}

// loopback resolves an address to listen on, and refuses one that others than
// this machine could reach.
func loopback(address string) (*net.TCPAddr, error) {
	addr, err := net.ResolveTCPAddr("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("listen address %q: %w", address, err)
	}
	if !addr.IP.IsLoopback() {
		return nil, fmt.Errorf("listen address %q: must be a loopback address, nothing guards it", address)
	}
	return addr, nil
}

// lockDir makes dir and takes it for this process. The lock ends with the file
// or the process.
func lockDir(dir string) (*os.File, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("couldn't make the store directory: %w", err)
	}
	f, err := os.OpenFile(filepath.Join(dir, "lock"), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("couldn't open the lock of the store directory: %w", err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		return nil, errors.Join(fmt.Errorf("store directory %q: %w (%w)", dir, ErrInUse, err), f.Close())
	}
	return f, nil
}
