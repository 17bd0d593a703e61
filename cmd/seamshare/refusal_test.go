package main

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"seamshare.example/services/domain/rule"
	"seamshare.example/services/fault"
)

func TestWhatAnAnswerMeans(t *testing.T) {
	for name, c := range map[string]struct {
		err     error
		exit    exitCode
		reason  string
		field   string
		message string
	}{
		"a field that is wrong":  {fault.Invalid(fault.Field{Path: "price.units", Problem: "must be above zero"}), exitUsage, "INVALID_REQUEST", "price.units", "must be above zero"},
		"a rule that says no":    {fault.Status(rule.Broken{Reason: rule.StoneSold, Field: "stone_id", Value: "s1", Rule: "the stone is sold", Hint: "choose another"}), exitRefused, "STONE_SOLD", "stone_id", "s1: the stone is sold; choose another"},
		"no right":               {fault.New(fault.RoleMissing, "only a registrar"), exitNoRight, "ROLE_MISSING", "", "only a registrar"},
		"a token that ended":     {fault.New(fault.TokenExpired, "ended"), exitNoRight, "TOKEN_EXPIRED", "", "ended"},
		"a full disk":            {fault.New(fault.LowDisk, "nearly full"), exitUnreachable, "LOW_DISK", "", "nearly full"},
		"a node in trouble":      {fault.New(fault.NodeInTrouble, "look"), exitUnreachable, "NODE_IN_TROUBLE", "", "look"},
		"an outcome unknown":     {fault.New(fault.OutcomeUnknown, "who knows"), exitUnknown, "OUTCOME_UNKNOWN", "", "who knows"},
		"nobody there":           {status.Error(codes.Unavailable, "connection refused"), exitUnreachable, "UNAVAILABLE", "", "connection refused"},
		"a request id used":      {fault.New(fault.RequestIDReused, "used"), exitRefused, "REQUEST_ID_REUSED", "", "used"},
		"wrapped by the command": {fmt.Errorf("order: %w", fault.New(fault.RoleMissing, "no")), exitNoRight, "ROLE_MISSING", "", "no"},
		"an error of no server":  {errors.New("odd"), exitStorage, "FAILED", "", "odd"},
	} {
		t.Run(name, func(t *testing.T) {
			f := asFailure(c.err)
			if f.Exit != c.exit || f.Reason != c.reason || f.Field != c.field || !strings.HasSuffix(f.Message, c.message) {
				t.Errorf("read as %d %s, field %q: %q", f.Exit, f.Reason, f.Field, f.Message)
			}
		})
	}
}

// A command that was sent and got no clear answer may have been done; one that was refused was not.
func TestCommandThatMayHaveBeenDone(t *testing.T) {
	for name, c := range map[string]struct {
		err  error
		want exitCode
	}{
		"unknown: the connection broke":            {status.Error(codes.Unavailable, "error reading from server: EOF"), exitUnknown},
		"unknown: the time ended here":             {status.Error(codes.DeadlineExceeded, "context deadline exceeded"), exitUnknown},
		"unknown: the time ended there":            {fault.New(fault.DeadlineEnded, "ended"), exitUnknown},
		"unknown: the node says so":                {fault.New(fault.OutcomeUnknown, "unknown"), exitUnknown},
		"unknown: a person interrupted":            {status.Error(codes.Canceled, "context canceled"), exitUnknown},
		"unknown: the node failed inside":          {fault.Internal(), exitUnknown},
		"unknown: the node's storage failed":       {fault.New(fault.StorageFailed, "disk"), exitUnknown},
		"not done: the disk is full":               {fault.New(fault.LowDisk, "full"), exitUnreachable},
		"not done: the node is busy":               {fault.New(fault.NodeBusy, "busy"), exitUnreachable},
		"not done: a rule says no":                 {status.Error(codes.FailedPrecondition, "sold"), exitRefused},
		"not done: no right":                       {fault.New(fault.RoleMissing, "no"), exitNoRight},
		"not done: found wrong before it was sent": {wrongInput("x", "", "wrong"), exitUsage},
	} {
		t.Run(name, func(t *testing.T) {
			f := asFailure(maybeDone(c.err, "cli-1"))
			if f.Exit != c.want {
				t.Errorf("exit code %d, want %d", f.Exit, c.want)
			}
			if says := strings.Contains(f.Hint, "--request-id cli-1"); says != (c.want == exitUnknown) {
				t.Errorf("the hint is %q", f.Hint)
			}
		})
	}
}

// A field is recorded, but the answer is lost on the way: the program says that nobody knows, and a repeat with the same
// request id gives the first outcome.
func TestLostAnswer(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "node")
	code, out, errs := runs(t, "init", "--data", dir, "--id", "two-fields", "--json")
	if code != exitOK {
		t.Fatalf("init ended with %d: %s", code, errs)
	}
	var made founded
	if err := json.Unmarshal([]byte(out), &made); err != nil {
		t.Fatal(err)
	}
	node, err := startNode(t.Context(), nodeConfig{dir: dir, listen: "127.0.0.1:0", minFree: lowestMinFree})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := node.Close(); err != nil {
			t.Error(err)
		}
	}()
	as := func(server string, command ...string) []string {
		return append(command, "--data", t.TempDir(), "--server", server, "--coop", made.Coop, "--person", made.Registrar, "--member", made.Member, "--key", made.Key, "--json")
	}
	// Two answers pass, the token and who we are; the third, to the command, is lost.
	cut := cutAfter(t, node.grpcAt, 2)
	code, out, errs = runs(t, as(cut, "field", "add", "Ashbarrel Rise", "--request-id", "field-1")...)
	reason, _, _, hint := errorOf(t, errs)
	if code != exitUnknown || out != "" || reason != "OUTCOME_UNKNOWN" || !strings.Contains(hint, "--request-id field-1") {
		t.Fatalf("ended with %d: %s", code, errs)
	}
	names := func() []string {
		code, out, errs := runs(t, as(node.grpcAt, "field", "list")...)
		if code != exitOK {
			t.Fatalf("list ended with %d: %s", code, errs)
		}
		var list struct{ Fields []struct{ ID string } }
		if err := json.Unmarshal([]byte(out), &list); err != nil {
			t.Fatal(err)
		}
		var ids []string
		for _, f := range list.Fields {
			ids = append(ids, f.ID)
		}
		return ids
	}
	before := names()
	if len(before) != 1 {
		t.Fatalf("after the lost answer there are %d fields", len(before))
	}
	code, out, errs = runs(t, as(node.grpcAt, "field", "add", "Ashbarrel Rise", "--request-id", "field-1")...)
	if code != exitOK || !strings.Contains(out, before[0]) {
		t.Fatalf("the repeat ended with %d: %s %s", code, out, errs)
	}
	if after := names(); len(after) != 1 {
		t.Fatalf("after the repeat there are %d fields", len(after))
	}
}

// cutAfter stands before a gRPC server and lets so many unary answers through; what comes then ends the connection, when
// the server has sent it and the client has nothing of it.
func cutAfter(t *testing.T, server string, answers int) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var open sync.WaitGroup
	open.Go(func() {
		for {
			client, err := l.Accept()
			if err != nil {
				return
			}
			open.Go(func() { relay(client, server, answers) })
		}
	})
	t.Cleanup(func() {
		_ = l.Close()
		open.Wait()
	})
	return l.Addr().String()
}

func relay(client net.Conn, server string, answers int) {
	defer client.Close()
	up, err := net.Dial("tcp", server)
	if err != nil {
		return
	}
	defer up.Close()
	go func() {
		_, _ = io.Copy(up, client)
		_ = up.Close()
	}()
	// RFC 9113, section 4.1: a frame is 3 bytes of length, type, flags, 4 bytes of stream id, payload. A unary answer has
	// two HEADERS frames (type 1), its headers and its trailers.
	const headers = 1
	seen := 0
	for head := make([]byte, 9); ; {
		if _, err := io.ReadFull(up, head); err != nil {
			return
		}
		payload := make([]byte, binary.BigEndian.Uint32(append([]byte{0}, head[:3]...)))
		if _, err := io.ReadFull(up, payload); err != nil {
			return
		}
		if head[3] == headers {
			if seen++; seen > 2*answers {
				return
			}
		}
		if _, err := client.Write(append(head[:9:9], payload...)); err != nil {
			return
		}
	}
}
