package merkle_test

import (
	"bytes"
	"crypto/ed25519"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"
	"seamshare.example/eventstore/merkle"
)

// The published vectors; each file names its source.
type merkleVectors struct {
	EmptyRoot string `json:"empty_root"`
	Hashers   []struct {
		Desc  string
		Leaf  string `json:"leaf_utf8"`
		Input string `json:"input_hex"` // with the leaf prefix 00
		Left  string `json:"left_utf8"`
		Right string `json:"right_utf8"`
		Hash  string
	} `json:"hasher_vectors"`
	Leaves      []string          `json:"leaves_hex"`
	LeafHashes  []string          `json:"leaf_hashes"`
	Roots       map[uint64]string `json:"roots_by_size"`
	Inclusion   []inclusionVector `json:"published_inclusion"`
	Consistency []growthVector    `json:"published_consistency"`
	AllIncl     []inclusionVector `json:"all_inclusion"`
	AllCons     []growthVector    `json:"all_consistency"`
}

type inclusionVector struct {
	Index uint64   `json:"leaf_index"`
	Size  uint64   `json:"tree_size"`
	Proof []string `json:"proof"`
}

type growthVector struct {
	Old   uint64   `json:"size1"`
	Size  uint64   `json:"size2"`
	Proof []string `json:"proof"`
}

func readVectors[V any](t *testing.T, name string) V {
	t.Helper()
	data, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	var v V
	if err := json.Unmarshal(data, &v); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return v
}

func unhex(t *testing.T, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func unhexHash(t *testing.T, s string) merkle.Hash { return merkle.Hash(unhex(t, s)) }

func unhexProof(t *testing.T, s []string) []merkle.Hash {
	proof := make([]merkle.Hash, len(s))
	for i := range s {
		proof[i] = unhexHash(t, s[i])
	}
	return proof
}

func TestRFC6962Vectors(t *testing.T) {
	v := readVectors[merkleVectors](t, "rfc6962_merkle_vectors.json")
	if len(v.AllIncl) != 36 || len(v.AllCons) != 36 || len(v.Inclusion) != 5 || len(v.Consistency) != 5 || len(v.Roots) != 8 {
		t.Fatal("the vector file isn't read whole")
	}
	trees := []*merkle.Tree{merkle.New(newTiles())}
	root := func(size uint64) merkle.Hash { return unhexHash(t, v.Roots[size]) }
	leaf := func(index uint64) merkle.Hash { return unhexHash(t, v.LeafHashes[index]) }

	t.Run("hashes", func(t *testing.T) {
		for _, h := range v.Hashers {
			switch {
			case h.Input == "00":
				equal(t, h.Desc, merkle.LeafHash(nil), unhexHash(t, h.Hash))
			case h.Leaf != "":
				equal(t, h.Desc, merkle.LeafHash([]byte(h.Leaf)), unhexHash(t, h.Hash))
			case h.Left != "":
				// Its children aren't hashes: the naive tree below is held to it.
				equal(t, h.Desc, naiveNode([]byte(h.Left), []byte(h.Right)), unhexHash(t, h.Hash))
			default:
				t.Fatalf("vector %q is not understood", h.Desc)
			}
		}
		for i, data := range v.Leaves {
			equal(t, fmt.Sprint("leaf ", i), merkle.LeafHash(unhex(t, data)), leaf(uint64(i)))
		}
	})
	t.Run("roots", func(t *testing.T) {
		equal(t, "empty tree", trees[0].Root(), unhexHash(t, v.EmptyRoot))
		for size := uint64(1); size <= 8; size++ {
			next, _ := trees[size-1].With([]merkle.Hash{leaf(size - 1)})
			trees = append(trees, next)
			equal(t, fmt.Sprint("size ", size), next.Root(), root(size))
		}
	})
	t.Run("inclusion proofs", func(t *testing.T) {
		for _, p := range append(v.Inclusion, v.AllIncl...) {
			want := unhexProof(t, p.Proof)
			for _, tree := range trees[p.Size:] {
				got, err := tree.InclusionProof(p.Index, p.Size)
				if err != nil {
					t.Fatal(err)
				}
				equalProof(t, fmt.Sprintf("leaf %d of %d", p.Index, p.Size), got, want)
			}
			if err := merkle.VerifyInclusion(want, p.Index, p.Size, root(p.Size), leaf(p.Index)); err != nil {
				t.Error(err)
			}
			for what, bad := range spoil(want) {
				if merkle.VerifyInclusion(bad, p.Index, p.Size, root(p.Size), leaf(p.Index)) == nil {
					t.Errorf("accepted: leaf %d of %d with %s", p.Index, p.Size, what)
				}
			}
			// The same proof for another index, size, root or leaf.
			for _, index := range []uint64{p.Index ^ 1, p.Index + 1, p.Index - 1, p.Index ^ 2, p.Size, 1 << 63} {
				if merkle.VerifyInclusion(want, index, p.Size, root(p.Size), leaf(p.Index)) == nil {
					t.Errorf("accepted: proof of leaf %d of %d as that of leaf %d", p.Index, p.Size, index)
				}
			}
			for _, size := range []uint64{0, p.Index, p.Size * 2, 1 << 62, 1<<64 - 1} {
				if merkle.VerifyInclusion(want, p.Index, size, root(p.Size), leaf(p.Index)) == nil && len(want) > 0 {
					t.Errorf("accepted: proof of leaf %d of %d at size %d", p.Index, p.Size, size)
				}
			}
			if merkle.VerifyInclusion(want, p.Index, p.Size, merkle.Hash{}, leaf(p.Index)) == nil ||
				merkle.VerifyInclusion(want, p.Index, p.Size, unhexHash(t, v.EmptyRoot), leaf(p.Index)) == nil ||
				merkle.VerifyInclusion(want, p.Index, p.Size, root(p.Size), merkle.Hash{}) == nil {
				t.Errorf("accepted: leaf %d of %d with another root or leaf", p.Index, p.Size)
			}
		}
	})
	t.Run("consistency proofs", func(t *testing.T) {
		for _, p := range append(v.Consistency, v.AllCons...) {
			want := unhexProof(t, p.Proof)
			for _, tree := range trees[p.Size:] {
				got, err := tree.ConsistencyProof(p.Old, p.Size)
				if err != nil {
					t.Fatal(err)
				}
				equalProof(t, fmt.Sprintf("%d to %d", p.Old, p.Size), got, want)
			}
			if err := merkle.VerifyConsistency(want, p.Old, p.Size, root(p.Old), root(p.Size)); err != nil {
				t.Error(err)
			}
			for what, bad := range spoil(want) {
				if merkle.VerifyConsistency(bad, p.Old, p.Size, root(p.Old), root(p.Size)) == nil {
					t.Errorf("accepted: %d to %d with %s", p.Old, p.Size, what)
				}
			}
			if merkle.VerifyConsistency(want, p.Old, p.Size, root(p.Size), root(p.Old)) == nil && p.Old != p.Size ||
				merkle.VerifyConsistency(want, p.Size, p.Old, root(p.Old), root(p.Size)) == nil && p.Old != p.Size ||
				merkle.VerifyConsistency(want, p.Old, p.Size, merkle.Hash{}, root(p.Size)) == nil ||
				merkle.VerifyConsistency(want, p.Old, p.Size, root(p.Old), merkle.Hash{}) == nil {
				t.Errorf("accepted: %d to %d with other roots or sizes", p.Old, p.Size)
			}
		}
	})
	// RFC 9162 by the letter accepts these two; the vector file's
	// verifier_notes tell why they mean nothing.
	t.Run("refused: growth from nothing", func(t *testing.T) {
		same := root(5)
		if merkle.VerifyConsistency(nil, 0, 0, same, same) == nil || merkle.VerifyConsistency(nil, 0, 5, trees[0].Root(), same) == nil {
			t.Error("accepted")
		}
	})
	t.Run("refused: empty hashes", func(t *testing.T) {
		// A Go hash can't be shorter than 32 bytes; the nearest is all zeros.
		if merkle.VerifyInclusion(nil, 0, 1, root(1), merkle.Hash{}) == nil || merkle.VerifyInclusion(nil, 0, 0, merkle.Hash{}, merkle.Hash{}) == nil {
			t.Error("accepted")
		}
		if _, err := merkle.ParseCheckpoint("example.com/log\n1\n\n"); err == nil {
			t.Error("accepted an empty root")
		}
	})
}

// spoil gives every proof that is nearly this one.
func spoil(proof []merkle.Hash) map[string][]merkle.Hash {
	bad := map[string][]merkle.Hash{
		"one hash more at the end":   append(append([]merkle.Hash{}, proof...), merkle.Hash{}),
		"one hash more at the start": append([]merkle.Hash{{}}, proof...),
	}
	for i := range proof {
		flipped := append([]merkle.Hash{}, proof...)
		flipped[i][i] ^= 1
		bad[fmt.Sprintf("a bit of hash %d flipped", i)] = flipped
		bad[fmt.Sprintf("hash %d left out", i)] = append(append([]merkle.Hash{}, proof[:i]...), proof[i+1:]...)
		bad[fmt.Sprintf("hash %d twice", i)] = append(append([]merkle.Hash{}, proof[:i+1]...), proof[i:]...)
		if i > 0 && proof[i] != proof[i-1] {
			swapped := append([]merkle.Hash{}, proof...)
			swapped[i], swapped[i-1] = swapped[i-1], swapped[i]
			bad[fmt.Sprintf("hashes %d and %d swapped", i-1, i)] = swapped
		}
	}
	return bad
}

// RFC 8032 section 7.1 and the vectors of Go's own library, against the
// signatures as signed notes use them.
func TestEd25519Vectors(t *testing.T) {
	type vector struct{ Name, Seed, Public, Message, Signature string }
	v := readVectors[struct{ Vectors, More []vector }](t, "ed25519_rfc8032.json")
	if len(v.Vectors) != 5 || len(v.More) == 0 {
		t.Fatal("the vector file isn't read whole")
	}
	for _, v := range append(v.Vectors, v.More...) {
		key := ed25519.NewKeyFromSeed(unhex(t, v.Seed))
		public := key.Public().(ed25519.PublicKey)
		message, signature := unhex(t, v.Message), unhex(t, v.Signature)
		if !bytes.Equal(public, unhex(t, v.Public)) {
			t.Errorf("%s: public key %x", v.Name, public)
		}
		if got := ed25519.Sign(key, message); !bytes.Equal(got, signature) {
			t.Errorf("%s: signature %x", v.Name, got)
		}
		vkey, err := note.NewEd25519VerifierKey("example.com/log", public)
		if err != nil {
			t.Fatal(err)
		}
		verifier, err := note.NewVerifier(vkey)
		if err != nil {
			t.Fatal(err)
		}
		if !verifier.Verify(message, signature) {
			t.Errorf("%s: signature is refused", v.Name)
		}
		signature[7] ^= 4
		if verifier.Verify(message, signature) {
			t.Errorf("%s: another signature is accepted", v.Name)
		}
	}
}

func TestC2SPExamples(t *testing.T) {
	v := readVectors[struct {
		Note struct {
			VKey, Note string
		} `json:"signed_note"`
		Checkpoint struct{ Text string } `json:"checkpoint_format_example"`
		Tiles      struct {
			Path  string `json:"path_index_1234067"`
			Bytes int    `json:"full_tile_bytes"`
			T70   struct {
				Full0 uint64 `json:"full_level0"`
				Part0 uint64 `json:"partial_level0_width"`
				Full1 uint64 `json:"full_level1"`
				Part1 uint64 `json:"partial_level1_width"`
				Part2 uint64 `json:"partial_level2_width"`
			} `json:"tree_70000"`
			T256 struct {
				Full0 uint64 `json:"full_level0"`
				Part1 uint64 `json:"partial_level1_width"`
			} `json:"tree_256"`
		} `json:"tile_examples"`
	}](t, "c2sp_note_checkpoint_tiles.json")

	t.Run("signed note", func(t *testing.T) {
		verifier, err := note.NewVerifier(v.Note.VKey)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := note.Open([]byte(v.Note.Note), note.VerifierList(verifier)); err != nil {
			t.Fatal(err)
		}
		// A good signature, but over no checkpoint.
		if _, err := merkle.OpenCheckpoint([]byte(v.Note.Note), verifier); err == nil || !strings.Contains(err.Error(), "three lines") {
			t.Errorf("opening it as a checkpoint: %v", err)
		}
	})
	t.Run("checkpoint", func(t *testing.T) {
		text, _, _ := strings.Cut(v.Checkpoint.Text, "\n\n")
		text += "\n"
		c, err := merkle.ParseCheckpoint(text)
		if err != nil {
			t.Fatal(err)
		}
		if c.Origin != "example.com/behind-the-sofa" || c.Size != 20852163 || c.Text() != text {
			t.Errorf("got %+v", c)
		}
		for i := range text {
			for _, cut := range []string{text[:i] + text[i+1:], text[:i], text[:i] + "\n" + text[i:], text[:i] + "\r" + text[i:]} {
				if c, err := merkle.ParseCheckpoint(cut); err == nil && c.Text() != cut {
					t.Errorf("%q is read as %q", cut, c.Text())
				}
			}
		}
	})
	t.Run("tiles", func(t *testing.T) {
		if got, want := merkle.TilePath(0, 1234067, 256), "tile/0/"+v.Tiles.Path; got != want {
			t.Errorf("path %s, want %s", got, want)
		}
		if got, want := merkle.TilePath(1, 1234067, 8), "tile/1/"+v.Tiles.Path+".p/8"; got != want {
			t.Errorf("path %s, want %s", got, want)
		}
		shape := func(size int) (tree *merkle.Tree, full map[int]uint64) {
			tiles := newTiles()
			tree, batch := merkle.New(tiles).With(leafHashes(0, size))
			tiles.store(batch)
			full = map[int]uint64{}
			for _, tile := range batch {
				full[tile.Level]++
				if len(tile.Data) != v.Tiles.Bytes || merkle.TileSize != v.Tiles.Bytes {
					t.Errorf("size %d: a tile has %d bytes", size, len(tile.Data))
				}
			}
			return tree, full
		}
		partial := func(tree *merkle.Tree, level int, index, width uint64) {
			if data, err := tree.Tile(level, index, int(width)); err != nil || uint64(len(data)) != width*32 {
				t.Errorf("size %d: tile of level %d with %d hashes: %v", tree.Size(), level, width, err)
			}
			if _, err := tree.Tile(level, index, int(width)+1); err == nil {
				t.Errorf("size %d: tile of level %d has more than %d hashes", tree.Size(), level, width)
			}
		}
		tree, full := shape(70000)
		want := v.Tiles.T70
		if full[0] != want.Full0 || full[1] != want.Full1 || len(full) != 2 {
			t.Errorf("size 70000: full tiles %v", full)
		}
		partial(tree, 0, want.Full0, want.Part0)
		partial(tree, 1, want.Full1, want.Part1)
		partial(tree, 2, 0, want.Part2)
		tree, full = shape(256)
		if full[0] != v.Tiles.T256.Full0 || len(full) != 1 {
			t.Errorf("size 256: full tiles %v", full)
		}
		partial(tree, 1, 0, v.Tiles.T256.Part1)
	})
}
