package merkle_test

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"
	"pgregory.net/rapid"
	"seamshare.example/eventstore/merkle"
)

// ledger is a small log with leaves of its own and a signer.
type ledger struct {
	t      testing.TB
	leaves [][]byte
	tree   *merkle.Tree
	signer *merkle.Signer
}

func newLedger(t testing.TB, size int) *ledger {
	l := &ledger{t: t, signer: createSigner(t, merkle.SignerFiles{Dir: t.TempDir()})}
	var hashes []merkle.Hash
	for i := range size {
		l.leaves = append(l.leaves, fmt.Appendf(nil, "leaf %d", i))
		hashes = append(hashes, merkle.LeafHash(l.leaves[i]))
	}
	stored := newTiles()
	tree, full := merkle.New(stored).With(hashes)
	stored.store(full)
	l.tree = tree
	if _, err := l.signer.SignTree(tree); err != nil {
		t.Fatal(err)
	}
	return l
}

func (l *ledger) chain(indexes ...uint64) merkle.Chain {
	l.t.Helper()
	c := merkle.Chain{Subject: "stone/01j9x", Checkpoint: l.signer.Last()}
	proofs, err := l.tree.InclusionProofs(indexes, c.Checkpoint.Size)
	if err != nil {
		l.t.Fatal(err)
	}
	for i, index := range indexes {
		c.Leaves = append(c.Leaves, merkle.ChainLeaf{Index: index, Data: l.leaves[index], Proof: proofs[i]})
	}
	return c
}

func (l *ledger) write(c merkle.Chain) []byte {
	l.t.Helper()
	var file bytes.Buffer
	if err := merkle.WriteChain(&file, c, l.signer); err != nil {
		l.t.Fatal(err)
	}
	return file.Bytes()
}

// refused demands a ChainError and gives it back.
func (l *ledger) refused(t *testing.T, what string, file []byte) *merkle.ChainError {
	t.Helper()
	_, err := merkle.ParseChain(file, l.signer.Verifier())
	var refusal *merkle.ChainError
	if !errors.As(err, &refusal) {
		t.Fatalf("%s: not refused (%v):\n%s", what, err, file)
	}
	return refusal
}

// blocks cuts a file into what empty lines part: the head, one block a leaf, the
// checkpoint's text and signature, the file's signature.
func blocks(file []byte) []string { return strings.Split(string(file), "\n\n") }

func join(blocks []string) []byte { return []byte(strings.Join(blocks, "\n\n")) }

func TestChainRoundTrip(t *testing.T) {
	l := newLedger(t, 300)
	for _, indexes := range [][]uint64{{0}, {299}, {0, 1, 2}, {7, 100, 255, 256, 299}} {
		c := l.chain(indexes...)
		file := l.write(c)
		got, err := merkle.ParseChain(file, l.signer.Verifier())
		if err != nil {
			t.Fatal(err)
		}
		if got.Subject != c.Subject || got.Checkpoint.Checkpoint != c.Checkpoint.Checkpoint || len(got.Leaves) != len(indexes) {
			t.Errorf("got %+v", got)
		}
		for i, leaf := range got.Leaves {
			want := c.Leaves[i]
			if leaf.Index != want.Index || !bytes.Equal(leaf.Data, want.Data) || !slices.Equal(leaf.Proof, want.Proof) {
				t.Errorf("leaf %d is %+v", i, leaf)
			}
		}
		if again := l.write(got); !bytes.Equal(again, file) {
			t.Error("written again it is another file")
		}
	}
	t.Run("a log of one leaf", func(t *testing.T) {
		l := newLedger(t, 1)
		if _, err := merkle.ParseChain(l.write(l.chain(0)), l.signer.Verifier()); err != nil {
			t.Error(err)
		}
	})
}

// The one proof alone follows c2sp.org/tlog-proof@v1: read here by the spec's
// text, not by our parser.
func TestChainProofIsTlogProof(t *testing.T) {
	l := newLedger(t, 20)
	c := l.chain(3, 11)
	lines := strings.SplitAfter(string(c.Proof(1)), "\n")
	if lines[0] != "c2sp.org/tlog-proof@v1\n" || lines[2] != "index 11\n" {
		t.Fatalf("it begins %q", lines[:3])
	}
	extra, err := base64.StdEncoding.DecodeString(strings.TrimSpace(strings.TrimPrefix(lines[1], "extra ")))
	if err != nil {
		t.Fatal(err)
	}
	var proof []merkle.Hash
	at := 3
	for ; lines[at] != "\n"; at++ {
		h, err := base64.StdEncoding.DecodeString(strings.TrimSpace(lines[at]))
		if err != nil {
			t.Fatal(err)
		}
		proof = append(proof, merkle.Hash(h))
	}
	checkpoint, err := merkle.OpenCheckpoint([]byte(strings.Join(lines[at+1:], "")), l.signer.Verifier())
	if err != nil {
		t.Fatal(err)
	}
	if err := merkle.VerifyInclusion(proof, 11, checkpoint.Size, checkpoint.Root, merkle.LeafHash(extra)); err != nil {
		t.Error(err)
	}
}

// Each byte of the file, changed to each of the 255 others, left out, doubled;
// and each shorter file.
func TestChainRefusesEveryChangedByte(t *testing.T) {
	t.Parallel()
	l := newLedger(t, 11)
	file := l.write(l.chain(0, 4, 10))
	if _, err := merkle.ParseChain(file, l.signer.Verifier()); err != nil {
		t.Fatal(err)
	}
	parts := map[merkle.ChainPart]int{}
	changes := 0
	for at, old := range file {
		for step := range byte(255) {
			bad := bytes.Clone(file)
			bad[at] = old + 1 + step
			parts[l.refused(t, fmt.Sprintf("byte %d changed from %q to %q", at, old, bad[at]), bad).Part]++
			changes++
		}
		l.refused(t, fmt.Sprintf("byte %d left out", at), slices.Concat(file[:at], file[at+1:]))
		l.refused(t, fmt.Sprintf("byte %d twice", at), slices.Concat(file[:at+1], file[at:]))
		l.refused(t, fmt.Sprintf("cut off at %d", at), file[:at])
		for _, added := range []string{"\n", " ", "\r"} {
			l.refused(t, fmt.Sprintf("%q put in at %d", added, at), slices.Concat(file[:at], []byte(added), file[at:]))
		}
	}
	l.refused(t, "a newline more at the end", append(bytes.Clone(file), '\n'))
	l.refused(t, "the signature twice", append(bytes.Clone(file), blocks(file)[len(blocks(file))-1]...))
	for _, part := range []merkle.ChainPart{merkle.PartHead, merkle.PartLeaf, merkle.PartCheckpoint, merkle.PartSignature} {
		if parts[part] == 0 {
			t.Errorf("no change was blamed on the %s", part)
		}
	}
	t.Logf("%d bytes, %d changed bytes refused: %v", len(file), changes, parts)
}

func TestChainRefusesChangedLeaves(t *testing.T) {
	l := newLedger(t, 40)
	indexes := []uint64{2, 9, 17, 30}
	file := l.write(l.chain(indexes...))
	good := blocks(file)
	other := blocks(l.write(l.chain(5, 12, 33))) // genuine leaves that aren't in this chain

	// recount sets the number of leaves right, as a careful forger would.
	recount := func(b []string) []byte {
		b = slices.Clone(b)
		b[0] = strings.Replace(b[0], "leaves 4", "leaves "+strconv.Itoa(len(b)-4), 1)
		return join(b)
	}
	check := func(what string, changed []string) {
		t.Run("refused: "+what, func(t *testing.T) {
			l.refused(t, what, join(changed))
			l.refused(t, what+", with the number set right", recount(changed))
		})
	}
	for i, index := range indexes {
		at := i + 1
		check(fmt.Sprintf("leaf %d dropped", index), slices.Delete(slices.Clone(good), at, at+1))
		check(fmt.Sprintf("leaf %d twice", index), slices.Insert(slices.Clone(good), at, good[at]))
		for j := i + 1; j < len(indexes); j++ {
			swapped := slices.Clone(good)
			swapped[at], swapped[j+1] = swapped[j+1], swapped[at]
			check(fmt.Sprintf("leaves %d and %d swapped", index, indexes[j]), swapped)
		}
		for _, leaf := range other[1:4] {
			for _, place := range []int{at, at + 1} {
				check("a genuine leaf added", slices.Insert(slices.Clone(good), place, leaf))
			}
			replaced := slices.Clone(good)
			replaced[at] = leaf
			check(fmt.Sprintf("a genuine leaf for leaf %d", index), replaced)
		}
	}
	t.Run("names the position of the leaf that is wrong", func(t *testing.T) {
		for i, index := range indexes {
			lines := strings.Split(good[i+1], "\n")
			for what, change := range map[string]func(lines []string){
				"data":       func(l []string) { l[1] = "extra " + base64.StdEncoding.EncodeToString([]byte("another")) },
				"proof hash": func(l []string) { l[3] = merkle.Hash{1}.String() },
			} {
				changed := slices.Clone(lines)
				change(changed)
				bad := slices.Clone(good)
				bad[i+1] = strings.Join(changed, "\n")
				err := l.refused(t, what, join(bad))
				if err.Part != merkle.PartLeaf || err.Position != index+1 || !errors.Is(err, merkle.ErrProof) ||
					!strings.Contains(err.Error(), fmt.Sprintf("position %d ", index+1)) {
					t.Errorf("%s of leaf %d: %v", what, index, err)
				}
			}
		}
	})
	t.Run("names the signature when only the whole is wrong", func(t *testing.T) {
		for what, bad := range map[string][]byte{
			"a leaf dropped":  recount(slices.Delete(slices.Clone(good), 2, 3)),
			"another subject": []byte(strings.Replace(string(file), "01j9x", "01j9y", 1)),
		} {
			if err := l.refused(t, what, bad); err.Part != merkle.PartSignature {
				t.Errorf("%s: %v", what, err)
			}
		}
	})
}

func TestChainRefusesOtherSignatures(t *testing.T) {
	l := newLedger(t, 20)
	file := l.write(l.chain(3, 7))
	good := blocks(file)
	end := len(good) - 1

	t.Run("another log's key with the same name", func(t *testing.T) {
		if err := newLedger(t, 20).refused(t, "another key", file); err.Part != merkle.PartCheckpoint {
			t.Error(err)
		}
	})
	t.Run("the signature of another chain", func(t *testing.T) {
		bad := slices.Clone(good)
		bad[end] = blocks(l.write(l.chain(3)))[4]
		l.refused(t, "another chain's signature", join(bad))
	})
	t.Run("the checkpoint's signature in place of the file's", func(t *testing.T) {
		bad := slices.Clone(good)
		bad[end] = bad[end-1] + "\n"
		if err := l.refused(t, "swapped signatures", join(bad)); err.Part != merkle.PartSignature {
			t.Error(err)
		}
		bad = slices.Clone(good)
		bad[end-1] = strings.TrimSuffix(bad[end], "\n")
		if err := l.refused(t, "swapped signatures", join(bad)); err.Part != merkle.PartCheckpoint {
			t.Error(err)
		}
	})
	t.Run("a genuine checkpoint of another size", func(t *testing.T) {
		next, _ := l.tree.With(leafHashes(1, 5))
		later, err := l.signer.SignTree(next)
		if err != nil {
			t.Fatal(err)
		}
		bad := slices.Clone(good)
		text, signature, _ := strings.Cut(string(later.Note), "\n\n")
		bad[end-2], bad[end-1] = text, strings.TrimSuffix(signature, "\n")
		l.refused(t, "a later checkpoint", join(bad))
	})
	t.Run("a second, unknown signature", func(t *testing.T) {
		skey, _, err := note.GenerateKey(nil, "other.example")
		if err != nil {
			t.Fatal(err)
		}
		other, err := note.NewSigner(skey)
		if err != nil {
			t.Fatal(err)
		}
		n, err := note.Open(file, note.VerifierList(l.signer.Verifier()))
		if err != nil {
			t.Fatal(err)
		}
		both, err := note.Sign(n, other)
		if err != nil {
			t.Fatal(err)
		}
		l.refused(t, "two signatures", both)
		checkpoint, err := note.Open(l.signer.Last().Note, note.VerifierList(l.signer.Verifier()))
		if err != nil {
			t.Fatal(err)
		}
		if both, err = note.Sign(checkpoint, other); err != nil {
			t.Fatal(err)
		}
		if _, err := merkle.OpenCheckpoint(both, l.signer.Verifier()); err == nil {
			t.Error("a checkpoint with two signatures was accepted")
		}
	})
	t.Run("a chain file as a checkpoint and back", func(t *testing.T) {
		if _, err := merkle.OpenCheckpoint(file, l.signer.Verifier()); err == nil {
			t.Error("accepted a chain as a checkpoint")
		}
		l.refused(t, "a checkpoint as a chain", l.signer.Last().Note)
	})
}

func TestWriteChainRefuses(t *testing.T) {
	l := newLedger(t, 600)
	foreign := newLedger(t, 600)
	many := make([]uint64, merkle.MaxChainLeaves+1)
	for i := range many {
		many[i] = uint64(i)
	}
	for what, test := range map[string]struct {
		chain merkle.Chain
		part  merkle.ChainPart
	}{
		"no leaves":               {l.chain(), merkle.PartHead},
		"501 leaves":              {l.chain(many...), merkle.PartHead},
		"leaves out of order":     {l.chain(3, 2), merkle.PartLeaf},
		"a leaf twice":            {l.chain(3, 3), merkle.PartLeaf},
		"another log's leaves":    {change(l.chain(3), func(c *merkle.Chain) { c.Leaves[0].Data = []byte("x") }), merkle.PartLeaf},
		"another log's signature": {change(l.chain(3), func(c *merkle.Chain) { c.Checkpoint = foreign.signer.Last() }), merkle.PartCheckpoint},
		"fields beside the note":  {change(l.chain(3), func(c *merkle.Chain) { c.Checkpoint.Size++ }), merkle.PartCheckpoint},
		"no subject":              {change(l.chain(3), func(c *merkle.Chain) { c.Subject = "" }), merkle.PartHead},
		"a subject of two lines":  {change(l.chain(3), func(c *merkle.Chain) { c.Subject = "a\nleaves 1" }), merkle.PartHead},
		"a subject in capitals":   {change(l.chain(3), func(c *merkle.Chain) { c.Subject = "stone/X1" }), merkle.PartHead},
		"a subject too long":      {change(l.chain(3), func(c *merkle.Chain) { c.Subject = strings.Repeat("a", 129) }), merkle.PartHead},
	} {
		t.Run("refused: "+what, func(t *testing.T) {
			var file bytes.Buffer
			err := merkle.WriteChain(&file, test.chain, l.signer)
			var refusal *merkle.ChainError
			if !errors.As(err, &refusal) || refusal.Part != test.part || file.Len() > 0 {
				t.Errorf("got %v, wrote %d bytes", err, file.Len())
			}
		})
	}
	t.Run("refused: an empty leaf, though it is in the log", func(t *testing.T) {
		tree, _ := merkle.New(nil).With([]merkle.Hash{merkle.LeafHash(nil)})
		signer := createSigner(t, merkle.SignerFiles{Dir: t.TempDir()})
		signed, err := signer.SignTree(tree)
		if err != nil {
			t.Fatal(err)
		}
		c := merkle.Chain{Subject: "stone/1", Leaves: []merkle.ChainLeaf{{}}, Checkpoint: signed}
		var refusal *merkle.ChainError
		if err := merkle.WriteChain(&bytes.Buffer{}, c, signer); !errors.As(err, &refusal) || refusal.Position != 1 {
			t.Errorf("written: %v", err)
		}
	})
	t.Run("OK: 500 leaves", func(t *testing.T) {
		if _, err := merkle.ParseChain(l.write(l.chain(many[:500]...)), l.signer.Verifier()); err != nil {
			t.Error(err)
		}
	})
	t.Run("refused: over a MiB", func(t *testing.T) {
		big := bytes.Repeat([]byte("opal"), merkle.MaxChainBytes/4)
		tree, _ := merkle.New(nil).With([]merkle.Hash{merkle.LeafHash(big)})
		signer := createSigner(t, merkle.SignerFiles{Dir: t.TempDir()})
		signed, err := signer.SignTree(tree)
		if err != nil {
			t.Fatal(err)
		}
		c := merkle.Chain{Subject: "stone/1", Leaves: []merkle.ChainLeaf{{Data: big}}, Checkpoint: signed}
		var refusal *merkle.ChainError
		if err := merkle.WriteChain(&bytes.Buffer{}, c, signer); !errors.As(err, &refusal) || refusal.Part != merkle.PartSize {
			t.Errorf("written: %v", err)
		}
		if err := l.refused(t, "a large file", make([]byte, merkle.MaxChainBytes+1)); err.Part != merkle.PartSize {
			t.Error(err)
		}
	})
}

func change(c merkle.Chain, how func(*merkle.Chain)) merkle.Chain {
	how(&c)
	return c
}

// Any chain of any log comes back as it was, and no file made of its blocks in
// another way is accepted.
func TestChainProperties(t *testing.T) {
	l := newLedger(t, 520)
	rapid.Check(t, func(t *rapid.T) {
		indexes := rapid.SliceOfNDistinct(rapid.Uint64Range(0, 519), 1, 12, rapid.ID[uint64]).Draw(t, "indexes")
		slices.Sort(indexes)
		file := l.write(l.chain(indexes...))
		if _, err := merkle.ParseChain(file, l.signer.Verifier()); err != nil {
			t.Fatal(err)
		}
		good := blocks(file)
		order := rapid.SliceOfN(rapid.IntRange(1, len(indexes)), 0, len(indexes)+1).Draw(t, "order")
		bad := []string{good[0]}
		for _, at := range order {
			bad = append(bad, good[at])
		}
		bad = append(bad, good[len(indexes)+1:]...)
		bad[0] = strings.Replace(bad[0], fmt.Sprint("leaves ", len(indexes)), fmt.Sprint("leaves ", len(order)), 1)
		_, err := merkle.ParseChain(join(bad), l.signer.Verifier())
		if same := bytes.Equal(join(bad), file); same != (err == nil) {
			t.Fatalf("the same file: %v, error: %v", same, err)
		}
	})
}

// Whatever bytes come: no panic, and nothing is accepted but files that this
// signer wrote, byte by byte.
func FuzzParseChain(f *testing.F) {
	l := newLedger(f, 30)
	genuine := map[string]bool{}
	for _, indexes := range [][]uint64{{0}, {29}, {1, 2, 3}, {4, 16, 29}} {
		file := l.write(l.chain(indexes...))
		genuine[string(file)] = true
		f.Add(file)
		f.Add(bytes.ReplaceAll(file, []byte("\n"), []byte("\r\n")))
		f.Add(file[:len(file)/2])
	}
	f.Add(l.signer.Last().Note)
	f.Add([]byte("seamshare chain v1\nsubject a\nleaves 500\n\n"))
	f.Fuzz(func(t *testing.T, file []byte) {
		_, err := merkle.ParseChain(file, l.signer.Verifier())
		if (err == nil) != genuine[string(file)] {
			t.Fatalf("genuine: %v, error: %v", genuine[string(file)], err)
		}
		var refusal *merkle.ChainError
		if err != nil && !errors.As(err, &refusal) {
			t.Fatalf("not a ChainError: %v", err)
		}
	})
}

func BenchmarkParseChain(b *testing.B) {
	l := newLedger(b, 5_000)
	var indexes []uint64
	for i := range uint64(50) {
		indexes = append(indexes, i*97)
	}
	file := l.write(l.chain(indexes...))
	for b.Loop() {
		if _, err := merkle.ParseChain(file, l.signer.Verifier()); err != nil {
			b.Fatal(err)
		}
	}
}
