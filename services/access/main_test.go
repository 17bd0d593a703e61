package access_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/storetest"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	"seamshare.example/services/access"
	"seamshare.example/services/access/accesstest"
	"seamshare.example/services/fault"
	"seamshare.example/services/stream"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const coop = storetest.Coop

// noon is when these tests take place.
var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// clock is a clock that stands until it is moved.
type clock struct {
	mu  sync.Mutex
	now time.Time
}

func (c *clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *clock) move(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

// desk is a node with two members, and the issuer beside it.
type desk struct {
	node          *eventstore.Node
	clock         *clock
	issuer        *access.Issuer
	miner, cutter access.SignIn
}

func newDesk(t testing.TB) desk {
	t.Helper()
	d := desk{node: storetest.NewNode(t, eventstore.NewCodec(stream.Events()...)), clock: &clock{now: noon}}
	key, err := access.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	d.issuer = access.NewIssuer(coop, key, d.clock.Now)
	d.miner = accesstest.Join(t, d.node, "m1", memberv1.Role_ROLE_MINER)
	d.cutter = accesstest.Join(t, d.node, "c1", memberv1.Role_ROLE_CUTTER, memberv1.Role_ROLE_BOOKKEEPER)
	return d
}

func (d desk) issue(assertion string) (access.Grant, error) {
	q, err := d.node.Query(context.Background(), 0)
	if err != nil {
		return access.Grant{}, err
	}
	defer q.Close()
	return d.issuer.Issue(q, assertion)
}

// refused fails the test unless err is the refusal for this reason.
func refused(t *testing.T, err error, want fault.Reason) {
	t.Helper()
	var f *fault.Error
	if !errors.As(err, &f) {
		t.Fatalf("got %v, want a refusal for %s", err, want)
	}
	if f.Reason != want {
		t.Fatalf("refused for %s (%s), want %s", f.Reason, f.Message, want)
	}
}
