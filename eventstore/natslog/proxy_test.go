package natslog_test

import (
	"net"
	"strings"
	"sync"
	"testing"
)

// proxy stands between a client and a server and can hold what goes either way,
// cut all connections, and send new ones elsewhere. It loses nothing that it
// holds, unless it is cut.
type proxy struct {
	listener net.Listener
	running  sync.WaitGroup

	mu      sync.Mutex
	change  *sync.Cond
	target  string
	conns   map[net.Conn]struct{}
	refuse  bool    // new connections
	held    [2]bool // toServer, toClient
	closing bool
}

const (
	toServer = 0
	toClient = 1
)

func newProxy(t testing.TB, url string) *proxy {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &proxy{listener: listener, conns: make(map[net.Conn]struct{})}
	p.change = sync.NewCond(&p.mu)
	p.aim(url)
	p.running.Go(p.accept)
	t.Cleanup(func() {
		_ = listener.Close()
		p.mu.Lock()
		p.closing = true
		p.mu.Unlock()
		p.cut()
		p.running.Wait()
	})
	return p
}

func (p *proxy) url() string { return "nats://" + p.listener.Addr().String() }

// aim sends new connections to another server.
func (p *proxy) aim(url string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.target = strings.TrimPrefix(url, "nats://")
}

// hold stops, or lets go, what flows one way.
func (p *proxy) hold(way int, on bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.held[way] = on
	p.change.Broadcast()
}

// down cuts all connections and refuses new ones while on.
func (p *proxy) down(on bool) {
	p.mu.Lock()
	p.refuse = on
	p.mu.Unlock()
	if on {
		p.cut()
	}
}

// cut ends all connections, with what is held on them.
func (p *proxy) cut() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for c := range p.conns {
		_ = c.Close()
	}
	clear(p.conns)
	p.change.Broadcast()
}

func (p *proxy) accept() {
	for {
		client, err := p.listener.Accept()
		if err != nil {
			return
		}
		p.mu.Lock()
		target, refuse := p.target, p.refuse || p.closing
		p.mu.Unlock()
		if refuse {
			_ = client.Close()
			continue
		}
		server, err := net.Dial("tcp", target)
		if err != nil {
			_ = client.Close()
			continue
		}
		p.mu.Lock()
		p.conns[client], p.conns[server] = struct{}{}, struct{}{}
		p.mu.Unlock()
		p.running.Go(func() { p.pipe(client, server, toServer) })
		p.running.Go(func() { p.pipe(server, client, toClient) })
	}
}

func (p *proxy) pipe(from, to net.Conn, way int) {
	defer func() { _, _ = from.Close(), to.Close() }()
	buf := make([]byte, 64<<10)
	for {
		n, err := from.Read(buf)
		if err != nil {
			return
		}
		p.mu.Lock()
		for _, alive := p.conns[from]; p.held[way] && alive; _, alive = p.conns[from] {
			p.change.Wait()
		}
		p.mu.Unlock()
		if _, err := to.Write(buf[:n]); err != nil {
			return
		}
	}
}
