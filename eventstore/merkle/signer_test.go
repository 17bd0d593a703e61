package merkle_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"golang.org/x/mod/sumdb/note"
	"pgregory.net/rapid"
	"seamshare.example/eventstore/merkle"
)

const origin = "opal.example/log"

func createSigner(t testing.TB, files merkle.SignerFiles) *merkle.Signer {
	t.Helper()
	s, err := merkle.CreateSigner(files, origin)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func treeOf(salt uint64, size int) *merkle.Tree {
	stored := newTiles()
	tree, full := merkle.New(stored).With(leafHashes(salt, size))
	stored.store(full)
	return tree
}

func TestSignerSigns(t *testing.T) {
	files := merkle.SignerFiles{Dir: t.TempDir()}
	s := createSigner(t, files)
	verifier, err := note.NewVerifier(s.VerifierKey())
	if err != nil {
		t.Fatal(err)
	}
	if last := s.Last(); last.Size != 0 || last.Root != merkle.New(nil).Root() || last.Origin != origin {
		t.Errorf("a new signer's last checkpoint is %+v", last.Checkpoint)
	}
	var tree *merkle.Tree
	for _, size := range []int{1, 2, 255, 256, 300, 300, 1_000} {
		tree = treeOf(1, size)
		signed, err := s.SignTree(tree)
		if err != nil {
			t.Fatal(err)
		}
		opened, err := merkle.OpenCheckpoint(signed.Note, verifier)
		if err != nil {
			t.Fatal(err)
		}
		want := merkle.Checkpoint{Origin: origin, Size: uint64(size), Root: tree.Root()}
		if opened.Checkpoint != want || signed.Checkpoint != want || s.Last().Checkpoint != want {
			t.Errorf("signed %+v, want %+v", opened.Checkpoint, want)
		}
	}
	t.Run("opened again it goes on where it was", func(t *testing.T) {
		again, err := merkle.OpenSigner(files)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(again.Last().Note, s.Last().Note) || again.VerifierKey() != s.VerifierKey() {
			t.Error("another last checkpoint or key")
		}
		if root, err := tree.RootAt(again.Last().Size); err != nil || root != again.Last().Root {
			t.Errorf("the tree's root is %v, %v", root, err)
		}
		same, err := again.SignTree(tree)
		if err != nil || !bytes.Equal(same.Note, s.Last().Note) {
			t.Errorf("signing the same tree again: %v", err)
		}
	})
	t.Run("only the owner can read the files", func(t *testing.T) {
		for _, name := range []string{"signer.key", "signer.state"} {
			info, err := os.Stat(filepath.Join(files.Dir, name))
			if err != nil {
				t.Fatal(err)
			}
			if info.Mode() != 0o600 {
				t.Errorf("%s has mode %v", name, info.Mode())
			}
		}
	})
}

func TestSignerRefuses(t *testing.T) {
	s := createSigner(t, merkle.SignerFiles{Dir: t.TempDir()})
	honest := treeOf(1, 600)
	if _, err := s.SignTree(treeOf(1, 300)); err != nil {
		t.Fatal(err)
	}
	proof, err := honest.ConsistencyProof(300, 600)
	if err != nil {
		t.Fatal(err)
	}
	forged := append([]merkle.Hash{}, proof...)
	forged[0][0] ^= 1
	refused := func(name string, want error, sign func() (merkle.SignedCheckpoint, error)) {
		t.Run("refused: "+name, func(t *testing.T) {
			before := s.Last()
			out, err := sign()
			if !errors.Is(err, want) || out.Note != nil {
				t.Errorf("got %v, want %v", err, want)
			}
			if !bytes.Equal(s.Last().Note, before.Note) {
				t.Error("the state moved")
			}
		})
	}
	refused("a smaller tree", merkle.ErrBackwards, func() (merkle.SignedCheckpoint, error) { return s.SignTree(treeOf(1, 299)) })
	refused("the empty tree", merkle.ErrBackwards, func() (merkle.SignedCheckpoint, error) { return s.SignTree(merkle.New(nil)) })
	refused("the same size with another root", merkle.ErrForked, func() (merkle.SignedCheckpoint, error) { return s.SignTree(treeOf(2, 300)) })
	refused("a larger tree with another history", merkle.ErrForked, func() (merkle.SignedCheckpoint, error) { return s.SignTree(treeOf(2, 600)) })
	refused("no proof", merkle.ErrProof, func() (merkle.SignedCheckpoint, error) { return s.Sign(600, honest.Root(), nil) })
	refused("a forged proof", merkle.ErrProof, func() (merkle.SignedCheckpoint, error) { return s.Sign(600, honest.Root(), forged) })
	refused("the proof of another root", merkle.ErrProof, func() (merkle.SignedCheckpoint, error) { return s.Sign(600, merkle.Hash{1}, proof) })
	t.Run("OK: with its proof", func(t *testing.T) {
		if _, err := s.Sign(600, honest.Root(), proof); err != nil {
			t.Error(err)
		}
	})
}

var errCrash = errors.New("the machine stopped here")

// A crash at each point of each write: what was on disk before, and what is
// there after.
func crashes() map[string]func(path string, data []byte) error {
	return map[string]func(path string, data []byte) error{
		"before the write": func(string, []byte) error { return errCrash },
		"half through the new file": func(path string, data []byte) error {
			return errors.Join(errCrash, os.WriteFile(path+".new", data[:len(data)/2], 0o644))
		},
		"before the rename": func(path string, data []byte) error {
			return errors.Join(errCrash, os.WriteFile(path+".new", data, 0o600))
		},
		"after the write": func(path string, data []byte) error {
			return errors.Join(errCrash, merkle.WriteFile(path, data))
		},
	}
}

func TestSignerCrashes(t *testing.T) {
	for name, crash := range crashes() {
		t.Run("while signing, "+name, func(t *testing.T) {
			dir := t.TempDir()
			s := createSigner(t, merkle.SignerFiles{Dir: dir})
			before, err := s.SignTree(treeOf(1, 10))
			if err != nil {
				t.Fatal(err)
			}
			s, err = merkle.OpenSigner(merkle.SignerFiles{Dir: dir, Write: crash})
			if err != nil {
				t.Fatal(err)
			}
			if out, err := s.SignTree(treeOf(1, 20)); !errors.Is(err, merkle.ErrStopped) || !errors.Is(err, errCrash) || out.Note != nil {
				t.Fatalf("a signature left: %v", err)
			}
			// Nobody knows what is on disk: nothing more is signed, whatever is asked.
			for _, tree := range []*merkle.Tree{treeOf(1, 20), treeOf(1, 10), treeOf(1, 30)} {
				if _, err := s.SignTree(tree); !errors.Is(err, merkle.ErrStopped) {
					t.Errorf("signed size %d after a failed write: %v", tree.Size(), err)
				}
			}
			s, err = merkle.OpenSigner(merkle.SignerFiles{Dir: dir})
			if err != nil {
				t.Fatal(err)
			}
			want := before.Size
			if name == "after the write" {
				want = 20
			}
			if s.Last().Size != want {
				t.Errorf("last size is %d, want %d", s.Last().Size, want)
			}
			if _, err := s.SignTree(treeOf(1, 30)); err != nil {
				t.Error(err)
			}
		})
		for writes := range 2 {
			t.Run(fmt.Sprintf("while creating, at file %d, %s", writes, name), func(t *testing.T) {
				dir := t.TempDir()
				left := writes
				_, err := merkle.CreateSigner(merkle.SignerFiles{Dir: dir, Write: func(path string, data []byte) error {
					if left == 0 {
						return crash(path, data)
					}
					left--
					return merkle.WriteFile(path, data)
				}}, origin)
				if !errors.Is(err, errCrash) {
					t.Fatalf("created: %v", err)
				}
				// Create again, or find that all was there.
				s, err := merkle.CreateSigner(merkle.SignerFiles{Dir: dir}, origin)
				if errors.Is(err, merkle.ErrSignerExists) {
					s, err = merkle.OpenSigner(merkle.SignerFiles{Dir: dir})
				}
				if err != nil {
					t.Fatal(err)
				}
				if _, err := s.SignTree(treeOf(1, 3)); err != nil {
					t.Error(err)
				}
			})
		}
	}
}

// Through any row of requests and crashes, what left the signer is one history:
// sizes never fall, and all of it is of one tree from the first leaf on.
func TestSignerNeverContradictsItself(t *testing.T) {
	trees := map[int]*merkle.Tree{} // salt * 100 + size
	for _, salt := range []int{1, 2} {
		for size := range 40 {
			trees[salt*100+size] = treeOf(uint64(salt), size)
		}
	}
	ways := crashes()
	rapid.Check(t, func(t *rapid.T) {
		dir, err := os.MkdirTemp("", "signer")
		if err != nil {
			t.Fatal(err)
		}
		defer os.RemoveAll(dir)
		write := merkle.WriteFile
		files := merkle.SignerFiles{Dir: dir, Write: func(path string, data []byte) error { return write(path, data) }}
		s, err := merkle.CreateSigner(files, origin)
		if err != nil {
			t.Fatal(err)
		}
		var out []merkle.SignedCheckpoint
		for range rapid.IntRange(1, 15).Draw(t, "steps") {
			at := rapid.SampledFrom([]int{100, 100, 100, 200}).Draw(t, "history") + rapid.IntRange(0, 39).Draw(t, "size")
			write = merkle.WriteFile
			crash := rapid.SampledFrom([]string{"", "", "before the write", "half through the new file", "before the rename", "after the write"}).Draw(t, "crash")
			if crash != "" {
				write = ways[crash]
			}
			signed, err := s.SignTree(trees[at])
			if err == nil {
				out = append(out, signed)
			}
			if crash != "" {
				if s, err = merkle.OpenSigner(files); err != nil {
					t.Fatal(err)
				}
			}
			if len(out) > 0 && s.Last().Size < out[len(out)-1].Size {
				t.Fatalf("the state says %d, after %d was signed", s.Last().Size, out[len(out)-1].Size)
			}
		}
		for i, c := range out {
			if i > 0 && c.Size < out[i-1].Size {
				t.Fatalf("signed size %d after %d", c.Size, out[i-1].Size)
			}
			if _, err := merkle.OpenCheckpoint(c.Note, s.Verifier()); err != nil {
				t.Fatal(err)
			}
		}
		one := func(salt int) bool {
			for _, c := range out {
				if trees[salt*100+int(c.Size)].Root() != c.Root {
					return false
				}
			}
			return true
		}
		if !one(1) && !one(2) {
			t.Fatalf("signed two histories: %v", out)
		}
	})
}

func TestSignerFiles(t *testing.T) {
	setup := func(t *testing.T) (dir, key, state string) {
		dir = t.TempDir()
		if _, err := createSigner(t, merkle.SignerFiles{Dir: dir}).SignTree(treeOf(1, 10)); err != nil {
			t.Fatal(err)
		}
		return dir, filepath.Join(dir, "signer.key"), filepath.Join(dir, "signer.state")
	}
	open := func(t *testing.T, dir string, want error) {
		t.Helper()
		if _, err := merkle.OpenSigner(merkle.SignerFiles{Dir: dir}); !errors.Is(err, want) {
			t.Errorf("opening: got %v, want %v", err, want)
		}
	}
	create := func(t *testing.T, dir string, want error) {
		t.Helper()
		if _, err := merkle.CreateSigner(merkle.SignerFiles{Dir: dir}, origin); !errors.Is(err, want) {
			t.Errorf("creating: got %v, want %v", err, want)
		}
	}
	t.Run("refused: nothing there", func(t *testing.T) { open(t, t.TempDir(), merkle.ErrNoSigner) })
	t.Run("refused: create twice", func(t *testing.T) {
		dir, _, _ := setup(t)
		create(t, dir, merkle.ErrSignerExists)
	})
	t.Run("refused: the state is lost", func(t *testing.T) {
		dir, _, state := setup(t)
		remove(t, state)
		open(t, dir, merkle.ErrSignerDamaged)
		create(t, dir, merkle.ErrSignerExists)
	})
	t.Run("refused: the key is lost", func(t *testing.T) {
		dir, key, _ := setup(t)
		remove(t, key)
		open(t, dir, merkle.ErrNoSigner)
		create(t, dir, merkle.ErrSignerDamaged)
	})
	t.Run("refused: a state of another key", func(t *testing.T) {
		dir, _, state := setup(t)
		_, _, other := setup(t)
		write(t, state, read(t, other))
		open(t, dir, merkle.ErrSignerDamaged)
	})
	t.Run("refused: others can read the key", func(t *testing.T) {
		dir, key, _ := setup(t)
		if err := os.Chmod(key, 0o640); err != nil {
			t.Fatal(err)
		}
		if _, err := merkle.OpenSigner(merkle.SignerFiles{Dir: dir}); err == nil || !strings.Contains(err.Error(), "0600") {
			t.Errorf("opened: %v", err)
		}
	})
	t.Run("refused: any bit flipped, any byte cut off", func(t *testing.T) {
		dir, key, state := setup(t)
		for _, path := range []string{key, state} {
			good := read(t, path)
			for at := range good {
				bad := bytes.Clone(good)
				bad[at] ^= 1 << (at % 8)
				write(t, path, bad)
				if s, err := merkle.OpenSigner(merkle.SignerFiles{Dir: dir}); err == nil {
					t.Errorf("%s: byte %d flipped to %q: opened as %s, size %d", filepath.Base(path), at, bad[at], s.Origin(), s.Last().Size)
				}
				write(t, path, good[:at])
				open(t, dir, merkle.ErrSignerDamaged)
			}
			write(t, path, good)
		}
		open(t, dir, nil)
	})
	t.Run("stops: an older state put back beneath it", func(t *testing.T) {
		dir, _, state := setup(t)
		older := read(t, state)
		s, err := merkle.OpenSigner(merkle.SignerFiles{Dir: dir})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.SignTree(treeOf(1, 20)); err != nil {
			t.Fatal(err)
		}
		write(t, state, older)
		if _, err := s.SignTree(treeOf(1, 30)); !errors.Is(err, merkle.ErrStopped) {
			t.Errorf("signed: %v", err)
		}
	})
	t.Run("a write that can't be made leaves the old file", func(t *testing.T) {
		dir, _, state := setup(t)
		before := read(t, state)
		// Something in the way of the new file, which can't be written over.
		if err := os.MkdirAll(filepath.Join(state+".new", "in the way"), 0o700); err != nil {
			t.Fatal(err)
		}
		s, err := merkle.OpenSigner(merkle.SignerFiles{Dir: dir})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.SignTree(treeOf(1, 20)); !errors.Is(err, merkle.ErrStopped) {
			t.Errorf("signed: %v", err)
		}
		if !bytes.Equal(read(t, state), before) {
			t.Error("the state changed")
		}
	})
	t.Run("refused: an origin that can't name a key", func(t *testing.T) {
		for _, name := range []string{"", "two words", "a+b", "two\nlines", "seamshare chain v1"} {
			if _, err := merkle.CreateSigner(merkle.SignerFiles{Dir: t.TempDir()}, name); err == nil {
				t.Errorf("%q: created", name)
			}
		}
	})
}

func TestSignerFromManyGoroutines(t *testing.T) {
	s := createSigner(t, merkle.SignerFiles{Dir: t.TempDir()})
	var all sync.WaitGroup
	for i := range 8 {
		tree := treeOf(1, 10+i)
		all.Go(func() {
			if _, err := s.SignTree(tree); err != nil && !errors.Is(err, merkle.ErrBackwards) {
				t.Error(err)
			}
			s.Last()
		})
	}
	all.Wait()
	if s.Last().Size != 17 {
		t.Errorf("last size is %d", s.Last().Size)
	}
}

func read(t *testing.T, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func write(t *testing.T, path string, data []byte) {
	t.Helper()
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
}

func remove(t *testing.T, path string) {
	t.Helper()
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
}

func TestOpenCheckpointRefuses(t *testing.T) {
	skey, vkey, err := note.GenerateKey(nil, origin)
	if err != nil {
		t.Fatal(err)
	}
	key, err := note.NewSigner(skey)
	if err != nil {
		t.Fatal(err)
	}
	verifier, err := note.NewVerifier(vkey)
	if err != nil {
		t.Fatal(err)
	}
	root := merkle.Hash{7}.String()
	for what, text := range map[string]string{
		"another log's origin":  "garnet.example/log\n5\n" + root + "\n",
		"a size with a zero":    origin + "\n05\n" + root + "\n",
		"a size with a sign":    origin + "\n+5\n" + root + "\n",
		"a size over the limit": origin + "\n281474976710657\n" + root + "\n",
		"a short root":          origin + "\n5\nAAAA\n",
		"a root in loose form":  origin + "\n5\n" + root[:len(root)-2] + "B=\n",
		"an extension line":     origin + "\n5\n" + root + "\nmore\n",
		"no root":               origin + "\n5\n",
	} {
		t.Run("refused: "+what, func(t *testing.T) {
			signed, err := note.Sign(&note.Note{Text: text}, key)
			if err != nil {
				t.Fatal(err)
			}
			if c, err := merkle.OpenCheckpoint(signed, verifier); err == nil {
				t.Errorf("opened as %+v", c.Checkpoint)
			}
		})
	}
	t.Run("OK", func(t *testing.T) {
		signed, err := note.Sign(&note.Note{Text: origin + "\n5\n" + root + "\n"}, key)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := merkle.OpenCheckpoint(signed, verifier); err != nil {
			t.Error(err)
		}
	})
}
