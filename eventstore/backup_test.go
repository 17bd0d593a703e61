package eventstore_test

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"testing"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/merkle"
	"seamshare.example/eventstore/storetest"
)

// TestBackup: a backup is the log, whole and unchanged, or it is refused.
func TestBackup(t *testing.T) {
	signer, err := merkle.CreateSigner(merkle.SignerFiles{Dir: t.TempDir()}, "seamshare/test")
	if err != nil {
		t.Fatal(err)
	}
	log := storetest.NewMemoryLog(false)
	cfg := config(log, storetest.NewMemoryStore())
	cfg.Signer = signer
	n := openNode(t, cfg)
	for i := range 5 {
		id := fmt.Sprint("stone-", i)
		decide(t, n, request("ann", fmt.Sprint("r", i)), storetest.Take("ann", id))
	}
	var file bytes.Buffer
	signed, err := n.WriteBackup(t.Context(), &file, nil)
	if err != nil {
		t.Fatal(err)
	}
	whole := file.Bytes()
	read := func(data []byte) (eventstore.Backup, []eventstore.Message, error) {
		var got []eventstore.Message
		b, err := eventstore.ReadBackup(bufio.NewReader(bytes.NewReader(data)), signer.Verifier(), func(_ string, m eventstore.Message) error {
			got = append(got, m)
			return nil
		})
		return b, got, err
	}

	t.Run("OK: it holds the published bytes up to the signed checkpoint", func(t *testing.T) {
		b, got, err := read(whole)
		if err != nil || b.Coop != storetest.Coop || b.Checkpoint != signed.Checkpoint || int(b.Sequence) != len(got) {
			t.Fatalf("backup %+v with %d commits, %v", b, len(got), err)
		}
		q := query(t, n, 0)
		for _, m := range got {
			if want, err := q.Message(m.Sequence); err != nil || !bytes.Equal(m.Data, want.Data) {
				t.Fatalf("commit %d differs, %v", m.Sequence, err)
			}
		}
	})
	t.Run("refused: each changed byte", func(t *testing.T) {
		for i := range whole {
			changed := bytes.Clone(whole)
			changed[i] ^= 0x20
			if _, _, err := read(changed); !errors.Is(err, eventstore.ErrCorrupt) {
				var unknown *eventstore.UnknownError
				if !errors.As(err, &unknown) {
					t.Fatalf("byte %d changed: %v", i, err)
				}
			}
		}
	})
	t.Run("refused: cut short anywhere", func(t *testing.T) {
		for i := range whole {
			if _, _, err := read(whole[:i]); !errors.Is(err, eventstore.ErrCorrupt) {
				t.Fatalf("cut at %d: %v", i, err)
			}
		}
	})
	t.Run("OK: what stands behind its end is left there", func(t *testing.T) {
		r := bufio.NewReader(bytes.NewReader(append(bytes.Clone(whole), "more"...)))
		if _, err := eventstore.ReadBackup(r, signer.Verifier(), func(string, eventstore.Message) error { return nil }); err != nil {
			t.Fatal(err)
		}
		if more, err := io.ReadAll(r); err != nil || string(more) != "more" {
			t.Fatalf("%q is left, %v", more, err)
		}
	})
	t.Run("refused: another co-op's key", func(t *testing.T) {
		other, err := merkle.CreateSigner(merkle.SignerFiles{Dir: t.TempDir()}, "seamshare/test")
		if err != nil {
			t.Fatal(err)
		}
		if _, err := eventstore.ReadBackup(bufio.NewReader(bytes.NewReader(whole)), other.Verifier(), func(string, eventstore.Message) error { return nil }); !errors.Is(err, eventstore.ErrCorrupt) {
			t.Fatal(err)
		}
	})
}
