package server

import (
	"context"
	"net"
	"net/netip"
	"strings"
	"time"

	lru "github.com/hashicorp/golang-lru/v2"
	"golang.org/x/time/rate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"

	"seamshare.example/services/access"
	"seamshare.example/services/fault"
)

// Rate is a token bucket: PerSecond calls, of which Burst may come at once.
type Rate struct {
	PerSecond float64
	Burst     int
}

// Unlimited is no limit, for load tests.
var Unlimited = Rate{PerSecond: float64(rate.Inf)}

// Limits bound how often one caller may call. Zero values are the defaults.
type Limits struct {
	Member  Rate // all persons of a member together; default 1000/s, 2000 at once
	Address Rate // an IPv4 address or an IPv6 /64; default 1000/s, 2000 at once
	// Remember is how many members, and addresses, are told apart; of more, the
	// one that called longest ago is forgotten. Default 10 000.
	Remember int
}

var defaultRate = Rate{PerSecond: 1000, Burst: 2000}

type rates struct {
	member, address buckets
}

func newRates(l Limits) rates {
	if l.Remember <= 0 {
		l.Remember = 10_000
	}
	return rates{member: newBuckets(l.Member, l.Remember), address: newBuckets(l.Address, l.Remember)}
}

// buckets is a bounded number of token buckets by name.
type buckets struct {
	rate Rate
	kept *lru.Cache[string, *rate.Limiter] // safe for concurrent use
}

func newBuckets(r Rate, remember int) buckets {
	if r == (Rate{}) {
		r = defaultRate
	}
	kept, err := lru.New[string, *rate.Limiter](remember)
	if err != nil {
		panic(err) // only for a size below one, which newRates rules out
	}
	return buckets{rate: r, kept: kept}
}

// take counts one call of name.
func (b buckets) take(what, name string) error {
	bucket, ok := b.kept.Get(name)
	if !ok {
		bucket = rate.NewLimiter(rate.Limit(b.rate.PerSecond), b.rate.Burst)
		if before, there, _ := b.kept.PeekOrAdd(name, bucket); there {
			bucket = before
		}
	}
	if bucket.Allow() {
		return nil
	}
	wait := time.Duration(float64(time.Second) / b.rate.PerSecond)
	return fault.New(fault.TooManyRequests, "this %s calls more than %g times a second; wait a moment", what, b.rate.PerSecond).
		RetryIn(max(wait, 100*time.Millisecond))
}

func (r rates) byAddress(ctx context.Context) error {
	address, counted := addressOf(ctx)
	if !counted {
		return nil
	}
	return r.address.take("address", address)
}

func (r rates) byMember(ctx context.Context) error {
	who := access.Caller(ctx)
	if who.Member == "" {
		return nil // an open method: the address was counted
	}
	return r.member.take("member", who.Member)
}

// addressOf is where a call comes from. Calls through the gateway, which sits in
// this process, carry the address that it saw, last in x-forwarded-for; nobody
// else is believed about that. Callers on this machine are not counted.
func addressOf(ctx context.Context) (address string, counted bool) {
	p, ok := peer.FromContext(ctx)
	if !ok {
		return "", false
	}
	text := p.Addr.String()
	if p.Addr.Network() == "bufconn" {
		md, _ := metadata.FromIncomingContext(ctx)
		forwarded := strings.Join(md.Get("x-forwarded-for"), ",")
		text = strings.TrimSpace(forwarded[strings.LastIndex(forwarded, ",")+1:])
	}
	if host, _, err := net.SplitHostPort(text); err == nil {
		text = host
	}
	ip, err := netip.ParseAddr(text)
	if err != nil || ip.Unmap().IsLoopback() {
		return "", false
	}
	if ip = ip.Unmap(); ip.Is6() {
		block, err := ip.WithZone("").Prefix(64)
		if err != nil {
			return "", false
		}
		return block.String(), true
	}
	return ip.String(), true
}

func (r rates) addressUnary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if err := r.byAddress(ctx); err != nil {
		return nil, err
	}
	return handler(ctx, req)
}

func (r rates) memberUnary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if err := r.byMember(ctx); err != nil {
		return nil, err
	}
	return handler(ctx, req)
}

func (r rates) addressStream(srv any, stream grpc.ServerStream, _ *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	if err := r.byAddress(stream.Context()); err != nil {
		return err
	}
	return handler(srv, stream)
}

func (r rates) memberStream(srv any, stream grpc.ServerStream, _ *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	if err := r.byMember(stream.Context()); err != nil {
		return err
	}
	return handler(srv, stream)
}
