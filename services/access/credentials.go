package access

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"net"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/status"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
)

// renewBefore is how long before its end a token is replaced.
const renewBefore = 2 * time.Minute

// SignIn is who a client's calls are made as.
type SignIn struct {
	Key    ed25519.PrivateKey
	Person string
	Member string
	Coop   string
	// InProcess: the connection never leaves the process (bufconn), so that it
	// may be without TLS whatever its target is called.
	InProcess bool
}

// Dial connects a client that signs in as a person, gets tokens as it needs them
// and sends them with each call. Without TLS it only speaks to loopback: any
// other target is refused here. Close the connection.
func Dial(target string, as SignIn, options ...grpc.DialOption) (*grpc.ClientConn, error) {
	c := &tokens{as: as, plain: as.InProcess || loopbackTarget(target), clock: time.Now}
	options = append(options,
		grpc.WithPerRPCCredentials(c),
		grpc.WithChainUnaryInterceptor(c.unary),
	)
	conn, err := grpc.NewClient(target, options...)
	if err != nil {
		return nil, fmt.Errorf("couldn't connect to %s as %s: %w", target, as.Person, err)
	}
	c.service = coopv1.NewAccessServiceClient(conn)
	return conn, nil
}

// loopbackTarget: a target in gRPC's forms that never leaves the machine.
func loopbackTarget(target string) bool {
	if strings.HasPrefix(target, "unix:") {
		return true
	}
	if _, rest, found := strings.Cut(target, ":///"); found {
		target = rest
	}
	host, _, err := net.SplitHostPort(target)
	return err == nil && loopback(host)
}

// tokens gets, keeps and renews one person's token: credentials.PerRPCCredentials.
type tokens struct {
	as      SignIn
	plain   bool // TLS isn't needed
	clock   func() time.Time
	service coopv1.AccessServiceClient

	mu      sync.Mutex
	token   string        // guarded by mu
	ends    time.Time     // guarded by mu
	pending chan struct{} // guarded by mu; closed when the request under way is over
}

// RequireTransportSecurity keeps gRPC from sending tokens over plaintext.
func (t *tokens) RequireTransportSecurity() bool { return !t.plain }

// GetRequestMetadata adds the token. Signing in itself goes without.
func (t *tokens) GetRequestMetadata(ctx context.Context, _ ...string) (map[string]string, error) {
	if info, _ := credentials.RequestInfoFromContext(ctx); info.Method == coopv1.AccessService_IssueToken_FullMethodName {
		return nil, nil
	}
	token, err := t.get(ctx)
	if err != nil {
		return nil, err
	}
	return map[string]string{"authorization": "Bearer " + token}, nil
}

// get returns a token that is good for a while. Of callers at the same time one
// signs in and the others wait for it.
func (t *tokens) get(ctx context.Context) (string, error) {
	for {
		t.mu.Lock()
		if t.token != "" && t.clock().Before(t.ends.Add(-renewBefore)) {
			defer t.mu.Unlock()
			return t.token, nil
		}
		if wait := t.pending; wait != nil {
			t.mu.Unlock()
			select {
			case <-wait:
				continue // it may have failed; then this caller tries
			case <-ctx.Done():
				return "", status.FromContextError(ctx.Err()).Err()
			}
		}
		done := make(chan struct{})
		t.pending = done
		t.mu.Unlock()

		token, ends, err := t.signIn(ctx)

		t.mu.Lock()
		if err == nil {
			t.token, t.ends = token, ends
		}
		t.pending = nil
		t.mu.Unlock()
		close(done)
		return token, err
	}
}

func (t *tokens) signIn(ctx context.Context) (string, time.Time, error) {
	assertion, err := SignAssertion(t.as.Key, t.as.Person, t.as.Member, t.as.Coop, t.clock())
	if err != nil {
		return "", time.Time{}, err
	}
	answer, err := t.service.IssueToken(ctx, &coopv1.IssueTokenRequest{Assertion: assertion})
	if err != nil {
		return "", time.Time{}, err // a status already, with the server's reason
	}
	ends, err := time.Parse(time.RFC3339, answer.GetExpiresAt())
	if err != nil || answer.GetToken() == "" {
		return "", time.Time{}, errors.New("the server's answer to IssueToken holds no token with an end")
	}
	return answer.GetToken(), ends, nil
}

// unary forgets a token that the server no longer takes (it may have a new token
// key) and tries once more with a new one: a call that was turned away did nothing.
func (t *tokens) unary(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, invoke grpc.UnaryInvoker, options ...grpc.CallOption) error {
	err := invoke(ctx, method, req, reply, cc, options...)
	if status.Code(err) != codes.Unauthenticated || !t.forget() {
		return err
	}
	return invoke(ctx, method, req, reply, cc, options...)
}

// forget reports whether there was a token to forget.
func (t *tokens) forget() bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	had := t.token != ""
	t.token = ""
	return had
}
