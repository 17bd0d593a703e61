package tablestest

import (
	"context"
	"errors"
	"sync"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
)

// Heard is one unary call that somebody made.
type Heard struct {
	Method string // as gRPC writes it
	Conn   *grpc.ClientConn
	Req    proto.Message
	Answer proto.Message // what came back; unset where Err is set
	Err    error
}

// ErrHeldBack is what a call gets that Traffic held back.
var ErrHeldBack = errors.New("held back, to be sent by the test")

// Traffic hears all unary calls of a World's people and can change them or hold one back.
type Traffic struct {
	// Change may alter a request before it is sent; nil: nothing does.
	Change func(method string, conn *grpc.ClientConn, req proto.Message)
	// Hear is told of every call that was made; nil: nobody is.
	Hear func(Heard)

	mu   sync.Mutex
	hold string // guarded by mu: the method whose next call is held back
	held *Heard // guarded by mu
}

// Hold holds back the next call of a method.
func (t *Traffic) Hold(method string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.hold, t.held = method, nil
}

// Held is the call that was held back; nil where none was.
func (t *Traffic) Held() *Heard {
	t.mu.Lock()
	defer t.mu.Unlock()
	held := t.held
	t.hold, t.held = "", nil
	return held
}

// Dial makes a connection's calls pass here.
func (t *Traffic) Dial() grpc.DialOption { return grpc.WithChainUnaryInterceptor(t.unary) }

func (t *Traffic) unary(ctx context.Context, method string, req, answer any, conn *grpc.ClientConn, invoke grpc.UnaryInvoker, options ...grpc.CallOption) error {
	sent, ok := req.(proto.Message)
	got, ok2 := answer.(proto.Message)
	if !ok || !ok2 {
		return invoke(ctx, method, req, answer, conn, options...)
	}
	if t.Change != nil {
		sent = proto.Clone(sent)
		t.Change(method, conn, sent)
	}
	if t.take(method, conn, sent) {
		return ErrHeldBack
	}
	err := invoke(ctx, method, sent, answer, conn, options...)
	if t.Hear != nil {
		t.Hear(Heard{Method: method, Conn: conn, Req: proto.Clone(sent), Answer: proto.Clone(got), Err: err})
	}
	return err
}

func (t *Traffic) take(method string, conn *grpc.ClientConn, req proto.Message) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.hold != method {
		return false
	}
	t.hold, t.held = "", &Heard{Method: method, Conn: conn, Req: proto.Clone(req)}
	return true
}
