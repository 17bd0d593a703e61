package signin

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"fmt"
	"sync"
	"time"

	"github.com/golang-jwt/jwt/v5"
	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
)

const (
	// assertionLife is how long a signed assertion is good; the server takes two minutes at most, and clocks differ.
	assertionLife = 90 * time.Second
	// renewBefore is how long before its end a token is renewed, so that none ends under way.
	renewBefore = 30 * time.Second
)

// Identity is who calls, and for whom.
type Identity struct {
	CoopID   string
	PersonID string
	MemberID string
	Key      ed25519.PrivateKey
}

// RefusedError is why the server gave no token; the call that needed one was not sent.
type RefusedError struct{ Err error }

func (e *RefusedError) Error() string { return fmt.Sprintf("couldn't sign in: %v", e.Err) }

func (e *RefusedError) Unwrap() error { return e.Err }

// DialOptions make a connection sign in by itself: its first call fetches a token, and later ones renew it. The calls
// of AccessService.IssueToken go without one.
func DialOptions(who Identity) []grpc.DialOption {
	t := &tokens{who: who}
	return []grpc.DialOption{
		grpc.WithChainUnaryInterceptor(t.unary),
		grpc.WithChainStreamInterceptor(t.stream),
	}
}

// tokens holds the token of one connection. Safe from any goroutine.
type tokens struct {
	who Identity

	mu    sync.Mutex // held while a token is fetched, so that many callers fetch one
	token string     // under mu
	ends  time.Time  // under mu
}

func (t *tokens) unary(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
	if method == coopv1.AccessService_IssueToken_FullMethodName {
		return invoke(ctx, method, req, reply, cc, opts...)
	}
	ctx, err := t.signed(ctx, cc)
	if err != nil {
		return err
	}
	return invoke(ctx, method, req, reply, cc, opts...)
}

func (t *tokens) stream(ctx context.Context, desc *grpc.StreamDesc, cc *grpc.ClientConn, method string, streamer grpc.Streamer, opts ...grpc.CallOption) (grpc.ClientStream, error) {
	ctx, err := t.signed(ctx, cc)
	if err != nil {
		return nil, err
	}
	return streamer(ctx, desc, cc, method, opts...)
}

func (t *tokens) signed(ctx context.Context, cc *grpc.ClientConn) (context.Context, error) {
	token, err := t.current(ctx, cc)
	if err != nil {
		return nil, &RefusedError{err}
	}
	return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+token), nil
}

func (t *tokens) current(ctx context.Context, cc *grpc.ClientConn) (string, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.token != "" && time.Now().Add(renewBefore).Before(t.ends) {
		return t.token, nil
	}
	assertion, err := Assertion(t.who, time.Now())
	if err != nil {
		return "", err
	}
	answer, err := coopv1.NewAccessServiceClient(cc).IssueToken(ctx, &coopv1.IssueTokenRequest{Assertion: assertion})
	if err != nil {
		return "", err
	}
	ends, err := time.Parse(time.RFC3339, answer.GetExpiresAt())
	if err != nil {
		return "", fmt.Errorf("the server's token has an end that can't be read: %w", err)
	}
	t.token, t.ends = answer.GetToken(), ends
	return t.token, nil
}

// claims are those that AccessService.IssueToken asks for.
type claims struct {
	jwt.RegisteredClaims
	Member string `json:"member"`
}

// Assertion is the signed JWT with which the identity asks for a token.
func Assertion(who Identity, now time.Time) (string, error) {
	signed, err := jwt.NewWithClaims(jwt.SigningMethodEdDSA, claims{
		RegisteredClaims: jwt.RegisteredClaims{
			Issuer:    who.PersonID,
			Subject:   who.PersonID,
			Audience:  jwt.ClaimStrings{who.CoopID},
			IssuedAt:  jwt.NewNumericDate(now),
			ExpiresAt: jwt.NewNumericDate(now.Add(assertionLife)),
			ID:        rand.Text(),
		},
		Member: who.MemberID,
	}).SignedString(who.Key)
	if err != nil {
		return "", fmt.Errorf("couldn't sign the assertion: %w", err)
	}
	return signed, nil
}
