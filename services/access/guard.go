package access

import (
	"context"
	"fmt"
	"strings"
	"sync/atomic"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"

	"seamshare.example/eventstore"
	"seamshare.example/services/fault"
)

// Look opens a read of the node's present state for one look-up.
type Look func(ctx context.Context, read func(eventstore.Loader) error) error

// At looks at a node.
func At(node *eventstore.Node) Look {
	return func(ctx context.Context, read func(eventstore.Loader) error) error {
		q, err := node.Query(ctx, 0)
		if err != nil {
			return err
		}
		defer q.Close()
		return read(q)
	}
}

// Guard stands before every method: it turns away who has no token, and early,
// by the state at the call, who has not the role. Until Take has given it the
// rules it lets nobody in.
type Guard struct {
	issuer *Issuer
	look   Look
	rules  atomic.Pointer[Rules]
}

// NewGuard reads tokens with the issuer and persons through look.
func NewGuard(issuer *Issuer, look Look) *Guard {
	return &Guard{issuer: issuer, look: look}
}

// Take gives the guard the rules of all registered methods; an error names each
// method that has none.
func (g *Guard) Take(services map[string]grpc.ServiceInfo) error {
	rules, err := RulesOf(services)
	if err != nil {
		return err
	}
	g.rules.Store(&rules)
	return nil
}

// Unary is the guard as an interceptor; it goes before validation. It clears from
// answers what the rpc doesn't show.
func (g *Guard) Unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	ctx, err := g.admit(ctx, info.FullMethod)
	if err != nil {
		return nil, err
	}
	answer, err := handler(ctx, req)
	if m, ok := answer.(proto.Message); ok && err == nil {
		who := Caller(ctx)
		who.rule.Cover(m, who.roles)
	}
	return answer, err
}

// Stream is the guard as an interceptor; it goes before validation.
func (g *Guard) Stream(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	ctx, err := g.admit(stream.Context(), info.FullMethod)
	if err != nil {
		return err
	}
	return handler(srv, &streamFor{ServerStream: stream, ctx: ctx})
}

// streamFor is a stream whose context knows the caller.
type streamFor struct {
	grpc.ServerStream
	ctx context.Context
}

// SendMsg clears what the rpc doesn't show.
func (s *streamFor) SendMsg(answer any) error {
	if m, ok := answer.(proto.Message); ok {
		who := Caller(s.ctx)
		who.rule.Cover(m, who.roles)
	}
	return s.ServerStream.SendMsg(answer)
}

func (s *streamFor) Context() context.Context { return s.ctx }

func (g *Guard) admit(ctx context.Context, method string) (context.Context, error) {
	rule, ok := Rule{}, false
	if rules := g.rules.Load(); rules != nil {
		rule, ok = (*rules)[method]
	}
	if !ok {
		return nil, fault.New(fault.MethodClosed, "nobody may call %s", method)
	}
	if rule.Open {
		return withCaller(ctx, Identity{rule: rule}), nil
	}
	token, err := bearer(ctx)
	if err != nil {
		return nil, err
	}
	who, err := g.issuer.Read(token)
	if err != nil {
		return nil, err
	}
	who.rule = rule
	var refusal error
	if err := g.look(ctx, func(l eventstore.Loader) error {
		p, m, err := standing(l, who)
		if err != nil {
			refusal = err
			return nil
		}
		who.roles = p.In(m)
		refusal = rule.admits(p, m, who)
		return nil
	}); err != nil {
		return nil, fmt.Errorf("couldn't look up the caller: %w", err)
	}
	if refusal != nil {
		return nil, refusal
	}
	return withCaller(ctx, who), nil
}

// bearer takes the token from the call's one authorization header (RFC 6750,
// section 2.1).
func bearer(ctx context.Context) (string, error) {
	md, _ := metadata.FromIncomingContext(ctx)
	switch headers := md.Get("authorization"); len(headers) {
	case 0:
		return "", fault.New(fault.TokenMissing, "this call needs a bearer token in the authorization header; get one with IssueToken")
	case 1:
		scheme, token, found := strings.Cut(headers[0], " ")
		if !found || !strings.EqualFold(scheme, "Bearer") || token == "" {
			return "", fault.New(fault.TokenMissing, `the authorization header must read "Bearer" and the token; get one with IssueToken`)
		}
		return token, nil
	default:
		return "", fault.New(fault.TokenInvalid, "the call has %d authorization headers; send one", len(headers))
	}
}
