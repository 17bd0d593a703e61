package faults_test

import (
	"os"
	"path/filepath"
	"testing"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
)

// backedUp is what backup and restore print.
type backedUp struct {
	Commits uint64 `json:"commits"`
	Records uint64 `json:"records"`
	Root    string `json:"root"`
}

// A backup is taken while the node works, restored elsewhere, and leads to the root
// that the node had there.
func TestBackupWhileServing(t *testing.T) {
	binary, choices := must(binaries.plain())(t), newRand(t)
	c, node := newCoop(t, binary, 2, 2, 160)
	out := filepath.Join(filepath.Dir(c.dir), "backup")
	l := newLoad(c)
	done := l.after(200)
	l.begin()
	<-done
	l.busy(t, 200)
	var b, r backedUp
	runOK(t, &b, binary, "backup", "--data", c.dir, "--out", out)
	l.end()
	l.settle(t)
	if b.Records <= 200 {
		t.Fatalf("the backup has %d records", b.Records)
	}

	restored := filepath.Join(filepath.Dir(c.dir), "restored")
	runOK(t, &r, binary, "restore", "--data", restored, "--from", out, "--verifier", c.verifier)
	if r != b {
		t.Fatalf("restored %+v, backed up %+v", r, b)
	}
	if v := verify(t, binary, restored); v.Root != b.Root || v.Records != b.Records {
		t.Fatalf("verify counts %+v, backed up %+v", v, b)
	}
	at := must(coopv1.NewNodeServiceClient(c.auditor.conn).VerifyAt(soon(t), &coopv1.VerifyAtRequest{AtPosition: b.Records}))(t)
	if root := hexOf(at.GetRoot()); root != b.Root {
		t.Fatalf("the node's root at %d is %s, the backup's is %s", b.Records, root, b.Root)
	}

	t.Run("OK: the restored log is the node's up to there", func(t *testing.T) {
		var all, some []map[string]any
		runOK(t, &all, binary, "log", "--data", c.dir)
		runOK(t, &some, binary, "log", "--data", restored)
		if uint64(len(some)) != b.Records || len(all) < len(some) {
			t.Fatalf("%d records are printed, %d backed up, the node has %d", len(some), b.Records, len(all))
		}
		for i := range some {
			if textOf(t, some[i]) != textOf(t, all[i]) {
				t.Fatalf("record %d is\n%v\nand was\n%v", i+1, some[i], all[i])
			}
		}
	})
	t.Run("OK: people work on with the restored node", func(t *testing.T) {
		s := serve(t, binary, restored, serveOptions{})
		there := &coop{dir: restored, registrar: c.registrar.at(t, s.GRPC)}
		if _, err := coopv1.NewCoopServiceClient(there.registrar.conn).RecordField(soon(t), &coopv1.RecordFieldRequest{RequestId: newID(), Name: "New Gully"}); err != nil {
			t.Fatal(err)
		}
		var known []command
		for _, one := range l.acked {
			if one.answer.GetPosition() <= b.Records {
				known = append(known, one)
			}
		}
		if err := readLog(t, restored).check(known, nil); err != nil {
			t.Fatal(err)
		}
		s.stop(t)
	})
	t.Run("refused: one bit of the backup is flipped", func(t *testing.T) {
		what := flip(t, choices, filepath.Dir(out), filepath.Base(out))
		lost := filepath.Join(filepath.Dir(c.dir), "lost")
		if r := run(t, binary, "restore", "--data", lost, "--from", out, "--json"); r.code != 6 || r.failure(t).Reason != "BACKUP" {
			t.Fatalf("%s: restore ended with exit code %d\n%s", what, r.code, r.stderr)
		}
		if _, err := os.Stat(lost); !os.IsNotExist(err) {
			t.Fatalf("something is left of it: %v", err)
		}
	})
	node.stop(t)
	verify(t, binary, c.dir)
}
