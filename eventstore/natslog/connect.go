package natslog

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
)

// Config says where the log of a co-op is and how to get there.
type Config struct {
	// Server is the server in this process. Where it is nil, URL is used.
	Server *Server
	// URL is that of another server, or several with commas between:
	// "tls://nats-1:4222,tls://nats-2:4222". Off loopback the link must be
	// encrypted: by the scheme tls, or by CAFile.
	URL string
	// CAFile holds the certificates (PEM) that the servers' ones are checked
	// with, instead of the machine's.
	CAFile string
	// CertFile and KeyFile (PEM), both or none, are this client's certificate.
	CertFile, KeyFile string
	// CredentialsFile holds a user's JWT and its nkey seed.
	CredentialsFile string
	// NKeySeedFile holds an nkey seed.
	NKeySeedFile string

	// Coop is the co-op's id: [a-z0-9_-]{1,64}.
	Coop string
	// Replicas is how many servers hold the log; 0 means 1.
	Replicas int
	// Logger hears of lost connections and the like; nil means nobody does.
	Logger *slog.Logger
}

// checked returns the config with its defaults, or what is wrong with it.
func (c Config) checked() (Config, error) {
	if c.Logger == nil {
		c.Logger = slog.New(slog.DiscardHandler)
	}
	if c.Replicas == 0 {
		c.Replicas = 1
	}
	var faults []error
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }
	if !coopID.MatchString(c.Coop) {
		fault("co-op id %q: must be 1 to 64 of a-z, 0-9, _ and -", c.Coop)
	}
	if c.Replicas < 0 || c.Replicas > 5 {
		fault("replicas %d: must be 1 to 5", c.Replicas)
	}
	if c.Server != nil && c.Replicas > 1 {
		fault("replicas %d: the server in this process can only hold 1", c.Replicas)
	}
	if (c.Server == nil) == (c.URL == "") {
		fault("give either a server in this process or the URL of another")
	}
	if (c.CertFile == "") != (c.KeyFile == "") {
		fault("client certificate %q and key %q: give both or neither", c.CertFile, c.KeyFile)
	}
	if c.CredentialsFile != "" && c.NKeySeedFile != "" {
		fault("give either a credentials file or an nkey seed file, not both")
	}
	if c.URL != "" && c.CAFile == "" {
		for _, one := range strings.Split(c.URL, ",") {
			if err := checkEncrypted(strings.TrimSpace(one)); err != nil {
				fault("%w", err)
			}
		}
	}
	return c, errors.Join(faults...)
}

// checkEncrypted refuses a URL over which commits would travel in plaintext.
func checkEncrypted(raw string) error {
	u, err := url.Parse(raw)
	if err != nil || u.Host == "" {
		return fmt.Errorf("NATS URL %q: must be like tls://host:4222", raw)
	}
	if u.Scheme == "tls" || u.Hostname() == "localhost" {
		return nil
	}
	if ip := net.ParseIP(u.Hostname()); ip != nil && ip.IsLoopback() {
		return nil
	}
	return fmt.Errorf("NATS URL %q: the link would not be encrypted; use tls:// or name a CA file", u.Redacted())
}

// connect dials once, so that a wrong address shows at start, and from then on
// holds the connection for ever. The caller closes it.
func connect(cfg Config, link *link) (*nats.Conn, error) {
	logger := cfg.Logger.With("coop", cfg.Coop)
	opts := []nats.Option{
		nats.Name("seamshare " + cfg.Coop),
		nats.Timeout(5 * time.Second),
		nats.MaxReconnects(-1),
		nats.ReconnectWait(200 * time.Millisecond),
		nats.ReconnectJitter(100*time.Millisecond, 200*time.Millisecond),
		// Servers that restart may refuse for a while. That must not end us.
		nats.IgnoreAuthErrorAbort(),
		nats.PingInterval(5 * time.Second),
		nats.MaxPingsOutstanding(2),
		nats.ConnectHandler(func(*nats.Conn) { link.set(true) }),
		nats.DisconnectErrHandler(func(_ *nats.Conn, err error) {
			link.set(false)
			if err != nil {
				logger.Warn("lost the connection to the log", "error", err)
			}
		}),
		nats.ReconnectHandler(func(*nats.Conn) {
			link.set(true)
			logger.Info("connected to the log again")
		}),
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
			logger.Warn("NATS reports", "error", err)
		}),
	}
	if cfg.Server != nil {
		opts = append(opts, nats.InProcessServer(cfg.Server.ns))
	}
	if cfg.CAFile != "" {
		opts = append(opts, nats.RootCAs(cfg.CAFile))
	}
	if cfg.CertFile != "" {
		opts = append(opts, nats.ClientCert(cfg.CertFile, cfg.KeyFile))
	}
	if cfg.CredentialsFile != "" {
		opts = append(opts, nats.UserCredentials(cfg.CredentialsFile))
	}
	if cfg.NKeySeedFile != "" {
		opt, err := nats.NkeyOptionFromSeed(cfg.NKeySeedFile)
		if err != nil {
			return nil, fmt.Errorf("couldn't read the nkey seed file %q: %w", cfg.NKeySeedFile, err)
		}
		opts = append(opts, opt)
	}
	conn, err := nats.Connect(cfg.URL, opts...)
	if err != nil {
		return nil, fmt.Errorf("couldn't connect to the log's server: %w", err)
	}
	return conn, nil
}

// link is the state of the connection, for those who wait for it to go or come.
type link struct {
	// onReturn is called after each return but the first connection. Set it
	// before connecting.
	onReturn func()

	mu   sync.Mutex
	up   bool
	been bool          // it was up before
	gone chan struct{} // closed when the link goes, then made anew
	back chan struct{} // closed while the link is up
}

func newLink() *link {
	return &link{gone: make(chan struct{}), back: make(chan struct{})}
}

func (k *link) set(up bool) {
	k.mu.Lock()
	changed, returned := k.up != up, up && k.been
	if changed && up {
		k.been = true
		close(k.back)
	}
	if changed && !up {
		close(k.gone)
		k.gone = make(chan struct{})
		k.back = make(chan struct{})
	}
	k.up = up
	k.mu.Unlock()
	if returned && k.onReturn != nil {
		k.onReturn()
	}
}

// lost returns a channel that is closed the next time the link goes.
func (k *link) lost() <-chan struct{} {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.gone
}

// wait returns when the link is up, with ctx's error when ctx ends first, and
// with ErrClosed when closed does.
func (k *link) wait(ctx context.Context, closed <-chan struct{}) error {
	k.mu.Lock()
	back := k.back
	k.mu.Unlock()
	select {
	case <-back:
		return nil
	case <-closed:
		return ErrClosed
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (k *link) isUp() bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.up
}
