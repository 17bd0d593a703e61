package personal_test

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/personal"
)

func open(t *testing.T) (*personal.Keys, string) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "personal-keys")
	k, err := personal.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return k, dir
}

func TestSeal(t *testing.T) {
	k, dir := open(t)
	bound := personal.Bound{Coop: "two-fields", Person: "p1", Seal: "s1", Field: "PERSONAL_FIELD_NAME"}
	sealed, err := k.Seal(bound, []byte("a name"))
	if err != nil {
		t.Fatal(err)
	}
	t.Run("OK: opens for the same person, event and field, after a restart too", func(t *testing.T) {
		again, err := personal.Open(dir)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := again.Open(bound, sealed); err != nil || string(got) != "a name" {
			t.Errorf("got %q, %v", got, err)
		}
	})
	for name, other := range map[string]personal.Bound{
		"another event":  {Coop: "two-fields", Person: "p1", Seal: "s2", Field: "PERSONAL_FIELD_NAME"},
		"another field":  {Coop: "two-fields", Person: "p1", Seal: "s1", Field: "PERSONAL_FIELD_PHONE"},
		"another co-op":  {Coop: "three-fields", Person: "p1", Seal: "s1", Field: "PERSONAL_FIELD_NAME"},
		"a shifted seam": {Coop: "two-fields", Person: "p1", Seal: "s1\x00PERSONAL", Field: "FIELD_NAME"},
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			if _, err := k.Open(other, sealed); !errors.Is(err, personal.ErrNotTheirs) {
				t.Errorf("got %v", err)
			}
		})
	}
	t.Run("refused: another person", func(t *testing.T) {
		other := bound
		other.Person = "p2"
		if _, err := k.Seal(other, []byte("x")); err != nil {
			t.Fatal(err)
		}
		if _, err := k.Open(other, sealed); !errors.Is(err, personal.ErrNotTheirs) {
			t.Errorf("got %v", err)
		}
	})
	t.Run("refused: any byte changed", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			changed := bytes.Clone(sealed)
			changed[rapid.IntRange(0, len(changed)-1).Draw(t, "at")] ^= byte(rapid.IntRange(1, 255).Draw(t, "by"))
			if _, err := k.Open(bound, changed); !errors.Is(err, personal.ErrNotTheirs) {
				t.Fatalf("got %v", err)
			}
		})
	})
	t.Run("refused: an id that could be a path", func(t *testing.T) {
		if _, err := k.Seal(personal.Bound{Person: "../p1"}, nil); err == nil {
			t.Error("it was sealed")
		}
	})
}

func TestDestroy(t *testing.T) {
	k, dir := open(t)
	bound := personal.Bound{Coop: "two-fields", Person: "p1", Seal: "s1", Field: "f"}
	sealed, err := k.Seal(bound, []byte("a name"))
	if err != nil {
		t.Fatal(err)
	}
	was, err := os.ReadFile(filepath.Join(dir, "p1.key"))
	if err != nil {
		t.Fatal(err)
	}
	if err := k.Destroy("p1"); err != nil {
		t.Fatal(err)
	}
	t.Run("OK: nothing opens any more", func(t *testing.T) {
		if _, err := k.Open(bound, sealed); !errors.Is(err, personal.ErrNoKey) {
			t.Errorf("got %v", err)
		}
	})
	t.Run("OK: a copy that was put back goes again", func(t *testing.T) {
		if err := os.WriteFile(filepath.Join(dir, "p1.key"), was, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := k.Replay([]string{"p0", "p1"}); err != nil {
			t.Fatal(err)
		}
		if left, err := os.ReadDir(dir); err != nil || len(left) != 0 {
			t.Errorf("left %v, %v", left, err)
		}
	})
	t.Run("OK: what is sealed after it has another key", func(t *testing.T) {
		if _, err := k.Seal(bound, []byte("x")); err != nil {
			t.Fatal(err)
		}
		if _, err := k.Open(bound, sealed); !errors.Is(err, personal.ErrNotTheirs) {
			t.Errorf("got %v", err)
		}
	})
}
