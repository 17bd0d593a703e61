package faults_test

import (
	"fmt"
	"syscall"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
)

// Below the minimum of free space nothing is written, and reads go on.
func TestLowDisk(t *testing.T) {
	binary := must(binaries.plain())(t)
	c, node := newCoop(t, binary, 1, 1, 2)
	before := must(c.answers(t))(t)
	node.stop(t)
	var disk syscall.Statfs_t
	if err := syscall.Statfs(c.dir, &disk); err != nil {
		t.Fatal(err)
	}
	never := disk.Blocks * uint64(disk.Bsize) >> 20 // MiB: all there is
	node = c.restart(t, binary, serveOptions{args: []string{"--min-free-mib", fmt.Sprint(never + 1)}})
	c.refusesWrites(t)
	if now := must(c.answers(t))(t); fmt.Sprint(now) != fmt.Sprint(before) {
		t.Fatal("the node answers otherwise than before")
	}
	if got := health(t, node.GRPC); got != healthpb.HealthCheckResponse_SERVING {
		t.Fatalf("health is %v", got)
	}
	node.stop(t)
	node = c.restart(t, binary, serveOptions{})
	c.writes(t)
	c.weigh(t)
	node.stop(t)
	verify(t, binary, c.dir)

	t.Run("refused: a minimum that one write may need", func(t *testing.T) {
		r := run(t, binary, "serve", "--data", c.dir, "--listen", "127.0.0.1:0", "--http", "127.0.0.1:0", "--min-free-mib", "191", "--json")
		if r.code != 2 || r.failure(t).Field != "--min-free-mib" {
			t.Fatalf("exit code %d\n%s", r.code, r.stderr)
		}
	})
}

// refusesWrites holds a write on a full disk to the failure table.
func (c *coop) refusesWrites(t testing.TB) {
	t.Helper()
	w := c.bench[0]
	_, err := cutterv1.NewCutterServiceClient(w.owner.conn).WorkPart(soon(t), grind(w))
	if status.Code(err) != codes.ResourceExhausted || reasonOf(err) != "LOW_DISK" {
		t.Fatalf("a write on a full disk: %v", err)
	}
	for _, d := range status.Convert(err).Details() {
		if retry, ok := d.(*errdetails.RetryInfo); ok && retry.GetRetryDelay().AsDuration() >= time.Second {
			return
		}
	}
	t.Fatalf("the refusal doesn't say when to try again: %v", status.Convert(err).Details())
}

// writes takes a step that must be possible.
func (c *coop) writes(t testing.TB) {
	t.Helper()
	w := c.bench[0]
	must(cutterv1.NewCutterServiceClient(w.owner.conn).WorkPart(soon(t), grind(w)))(t)
	w.massUg -= divisionUg
}
