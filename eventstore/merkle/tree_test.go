package merkle_test

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"

	"pgregory.net/rapid"
	"seamshare.example/eventstore/merkle"
)

// tiles is a store of tiles in memory. It holds the tree to its word: a tile is
// written once, and only full ones are asked for.
type tiles struct {
	mu   sync.Mutex
	data map[tileKey][]byte
}

type tileKey struct {
	level int
	index uint64
}

func newTiles() *tiles { return &tiles{data: map[tileKey][]byte{}} }

func (s *tiles) store(batch []merkle.Tile) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, tile := range batch {
		key := tileKey{tile.Level, tile.Index}
		if s.data[key] != nil {
			panic(fmt.Sprintf("tile %v written twice", key))
		}
		s.data[key] = slices.Clone(tile.Data)
	}
}

func (s *tiles) ReadTile(level int, index uint64) ([]byte, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	data := s.data[tileKey{level, index}]
	if data == nil {
		return nil, fmt.Errorf("there is no tile %d of level %d", index, level)
	}
	return data, nil
}

// leafHashes gives n leaf hashes, a row for each salt.
func leafHashes(salt uint64, n int) []merkle.Hash {
	hashes := make([]merkle.Hash, n)
	for i := range hashes {
		hashes[i] = merkle.LeafHash(binary.BigEndian.AppendUint64(binary.BigEndian.AppendUint64(nil, salt), uint64(i)))
	}
	return hashes
}

// naive is RFC 6962 section 2.1 word for word over leaf hashes, remembering the
// hash of each range it has seen.
type naive struct {
	leaves []merkle.Hash
	seen   map[[2]int]merkle.Hash
}

func newNaive(leaves []merkle.Hash) *naive { return &naive{leaves, map[[2]int]merkle.Hash{}} }

func naiveNode(left, right []byte) merkle.Hash {
	return sha256.Sum256(slices.Concat([]byte{1}, left, right))
}

// split is the largest power of two smaller than n.
func split(n int) int {
	k := 1
	for k*2 < n {
		k *= 2
	}
	return k
}

// mth is MTH(D[from:to]).
func (n *naive) mth(from, to int) merkle.Hash {
	switch to - from {
	case 0:
		return sha256.Sum256(nil)
	case 1:
		return n.leaves[from]
	}
	if h, ok := n.seen[[2]int{from, to}]; ok {
		return h
	}
	k := split(to - from)
	left, right := n.mth(from, from+k), n.mth(from+k, to)
	h := naiveNode(left[:], right[:])
	n.seen[[2]int{from, to}] = h
	return h
}

// path is PATH(m, D[from:to]), section 2.1.1.
func (n *naive) path(m, from, to int) []merkle.Hash {
	if to-from == 1 {
		return nil
	}
	k := split(to - from)
	if m < k {
		return append(n.path(m, from, from+k), n.mth(from+k, to))
	}
	return append(n.path(m-k, from+k, to), n.mth(from, from+k))
}

// proof is SUBPROOF(m, D[from:to], whole), section 2.1.2.
func (n *naive) proof(m, from, to int, whole bool) []merkle.Hash {
	if m == to-from {
		if whole {
			return nil
		}
		return []merkle.Hash{n.mth(from, to)}
	}
	k := split(to - from)
	if m <= k {
		return append(n.proof(m, from, from+k, whole), n.mth(from+k, to))
	}
	return append(n.proof(m-k, from+k, to, false), n.mth(from, from+k))
}

// failer is what *testing.T and *rapid.T have in common.
type failer interface {
	Helper()
	Errorf(format string, args ...any)
}

func equal(t failer, what string, got, want merkle.Hash) {
	t.Helper()
	if got != want {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}

func equalProof(t failer, what string, got, want []merkle.Hash) {
	t.Helper()
	if !slices.Equal(got, want) {
		t.Errorf("%s: got proof %v, want %v", what, got, want)
	}
}

// Every proof for every index at every size up to 600, and every growth, made
// by a tree of that very size.
func TestEveryProofOfSmallTrees(t *testing.T) {
	t.Parallel()
	const most = 600
	leaves := leafHashes(1, most)
	spec := newNaive(leaves)
	stored := newTiles()
	tree := merkle.New(stored)
	for size := 1; size <= most; size++ {
		var full []merkle.Tile
		tree, full = tree.With(leaves[size-1 : size])
		stored.store(full)
		root := tree.Root()
		equal(t, fmt.Sprint("root at size ", size), root, spec.mth(0, size))

		indexes := make([]uint64, size)
		for i := range indexes {
			indexes[i] = uint64(i)
		}
		proofs, err := tree.InclusionProofs(indexes, uint64(size))
		if err != nil {
			t.Fatal(err)
		}
		for i, proof := range proofs {
			equalProof(t, fmt.Sprintf("leaf %d of %d", i, size), proof, spec.path(i, 0, size))
			if err := merkle.VerifyInclusion(proof, uint64(i), uint64(size), root, leaves[i]); err != nil {
				t.Error(err)
			}
		}
		for old := 1; old <= size; old++ {
			proof, err := tree.ConsistencyProof(uint64(old), uint64(size))
			if err != nil {
				t.Fatal(err)
			}
			equalProof(t, fmt.Sprintf("growth from %d to %d", old, size), proof, spec.proof(old, 0, size, true))
			if err := merkle.VerifyConsistency(proof, uint64(old), uint64(size), spec.mth(0, old), root); err != nil {
				t.Error(err)
			}
		}
		if t.Failed() {
			t.FailNow()
		}
	}
}

// Whatever batches come, whichever are discarded, whenever the tree is opened
// anew: it is the tree of RFC 6962, and so is every tree before it.
func TestTreeIsRFC6962(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		stored := newTiles()
		tree := merkle.New(stored)
		var leaves []merkle.Hash
		spec := newNaive(nil)
		kept := []*merkle.Tree{tree}
		dropped := map[*merkle.Tree]merkle.Hash{}

		batch := func(t *rapid.T) []merkle.Hash {
			n := rapid.OneOf(rapid.IntRange(0, 3), rapid.IntRange(0, 600), rapid.SampledFrom([]int{255, 256, 257, 512})).Draw(t, "leaves")
			return leafHashes(rapid.Uint64().Draw(t, "salt"), n)
		}
		t.Repeat(map[string]func(*rapid.T){
			"append": func(t *rapid.T) {
				add := batch(t)
				next, full := tree.With(add)
				stored.store(full)
				leaves = append(leaves, add...)
				spec.leaves = leaves
				tree = next
				kept = append(kept, tree)
			},
			"discard": func(t *rapid.T) {
				add := batch(t)
				next, _ := tree.With(add)
				dropped[next] = newNaive(slices.Concat(leaves, add)).mth(0, len(leaves)+len(add))
			},
			"open": func(t *rapid.T) {
				tail := leaves[len(leaves)-len(leaves)%256:]
				opened, err := merkle.Open(uint64(len(leaves)), stored, tail)
				if err != nil {
					t.Fatal(err)
				}
				tree = opened
				kept = append(kept, tree)
			},
			"": func(t *rapid.T) {
				if tree.Size() != uint64(len(leaves)) {
					t.Fatalf("size %d, want %d", tree.Size(), len(leaves))
				}
				for _, earlier := range kept {
					equal(t, fmt.Sprint("root of the tree of size ", earlier.Size()), earlier.Root(), spec.mth(0, int(earlier.Size())))
					at, err := tree.RootAt(earlier.Size())
					if err != nil {
						t.Fatal(err)
					}
					equal(t, fmt.Sprint("root at size ", earlier.Size()), at, earlier.Root())
				}
				for discarded, root := range dropped {
					equal(t, "root of a discarded tree", discarded.Root(), root)
				}
				if len(leaves) == 0 {
					return
				}
				from := rapid.SampledFrom(kept).Draw(t, "proving tree")
				if from.Size() == 0 {
					return
				}
				size := rapid.IntRange(1, int(from.Size())).Draw(t, "size")
				index := rapid.IntRange(0, size-1).Draw(t, "index")
				proof, err := from.InclusionProof(uint64(index), uint64(size))
				if err != nil {
					t.Fatal(err)
				}
				equalProof(t, "inclusion", proof, spec.path(index, 0, size))
				proof, err = from.ConsistencyProof(uint64(index+1), uint64(size))
				if err != nil {
					t.Fatal(err)
				}
				equalProof(t, "consistency", proof, spec.proof(index+1, 0, size, true))
				leaf, err := from.Leaf(uint64(index))
				if err != nil {
					t.Fatal(err)
				}
				equal(t, "leaf", leaf, leaves[index])
			},
		})
	})
}

// Three levels of tiles, which random batches don't reach.
func TestTreeOfSeventyThousand(t *testing.T) {
	const size = 70_000
	leaves := leafHashes(2, size)
	spec := newNaive(leaves)
	stored := newTiles()
	tree := merkle.New(stored)
	for batch := range slices.Chunk(leaves, 1_999) {
		next, full := tree.With(batch)
		stored.store(full)
		tree = next
	}
	opened, err := merkle.Open(size, stored, leaves[size-size%256:])
	if err != nil {
		t.Fatal(err)
	}
	for _, tree := range []*merkle.Tree{tree, opened} {
		equal(t, "root", tree.Root(), spec.mth(0, size))
		for _, at := range []int{1, 256, 257, 65_535, 65_536, 65_537, 69_888, 69_889, size} {
			for _, index := range []int{0, at / 3, at - 1} {
				proof, err := tree.InclusionProof(uint64(index), uint64(at))
				if err != nil {
					t.Fatal(err)
				}
				equalProof(t, fmt.Sprintf("leaf %d of %d", index, at), proof, spec.path(index, 0, at))
				proof, err = tree.ConsistencyProof(uint64(index+1), uint64(at))
				if err != nil {
					t.Fatal(err)
				}
				equalProof(t, fmt.Sprintf("growth from %d to %d", index+1, at), proof, spec.proof(index+1, 0, at, true))
			}
		}
	}
}

func TestDamagedTiles(t *testing.T) {
	const size = 66_000
	leaves := leafHashes(3, size)
	stored := newTiles()
	tree, full := merkle.New(stored).With(leaves)
	stored.store(full)
	prove := func(t *testing.T, level int, index uint64) {
		t.Helper()
		_, err := tree.InclusionProof(3, size)
		var damaged *merkle.DamagedTileError
		if !errors.As(err, &damaged) || damaged.Level != level || damaged.Index != index {
			t.Errorf("got %v, want tile %d of level %d named", err, index, level)
		}
	}
	for _, key := range []tileKey{{0, 0}, {1, 0}} {
		good := stored.data[key]
		t.Run(fmt.Sprintf("refused: a flipped bit at level %d", key.level), func(t *testing.T) {
			for _, at := range []int{0, 4_000, merkle.TileSize - 1} {
				bad := slices.Clone(good)
				bad[at] ^= 0x10
				stored.data[key] = bad
				prove(t, key.level, key.index)
			}
			stored.data[key] = good[:len(good)-1]
			prove(t, key.level, key.index)
			stored.data[key] = good
		})
	}
	t.Run("refused: open with a tile missing", func(t *testing.T) {
		key := tileKey{1, 0}
		good := stored.data[key]
		delete(stored.data, key)
		if _, err := merkle.Open(size, stored, leaves[size-size%256:]); err == nil {
			t.Error("opened")
		}
		stored.data[key] = good
	})
	t.Run("refused: open with another tail", func(t *testing.T) {
		if _, err := merkle.Open(size, stored, nil); err == nil {
			t.Error("opened")
		}
	})
	t.Run("a changed tile shows in the root after open", func(t *testing.T) {
		key := tileKey{0, size/256 - 1}
		good := stored.data[key]
		bad := slices.Clone(good)
		bad[77] ^= 1
		stored.data[key] = bad
		opened, err := merkle.Open(size, stored, leaves[size-size%256:])
		if err != nil {
			t.Fatal(err)
		}
		if opened.Root() == tree.Root() {
			t.Error("same root")
		}
		stored.data[key] = good
	})
	t.Run("OK: mended", func(t *testing.T) {
		if _, err := tree.InclusionProof(3, size); err != nil {
			t.Error(err)
		}
	})
}

func TestProofsOutOfRange(t *testing.T) {
	tree, _ := merkle.New(newTiles()).With(leafHashes(4, 10))
	refused := func(what string, err error) {
		if err == nil {
			t.Errorf("accepted: %s", what)
		}
	}
	_, err := tree.InclusionProof(10, 10)
	refused("leaf 10 of 10", err)
	_, err = tree.InclusionProof(0, 11)
	refused("size 11 of a tree of 10", err)
	_, err = tree.ConsistencyProof(0, 10)
	refused("growth from 0", err)
	_, err = tree.ConsistencyProof(7, 6)
	refused("growth from 7 to 6", err)
	_, err = tree.ConsistencyProof(7, 11)
	refused("growth past the end", err)
	_, err = tree.RootAt(11)
	refused("root past the end", err)
	_, err = tree.Leaf(10)
	refused("leaf past the end", err)
	_, err = merkle.Open(merkle.MaxSize+256, newTiles(), nil)
	refused("a tree over the limit", err)
	_, err = tree.Tile(0, 1<<56, 10)
	refused("a tile past the end", err)
}

// Readers prove from older trees while the writer fills the same memory; the
// race detector watches.
func TestReadersBesideTheWriter(t *testing.T) {
	leaves := leafHashes(5, 3_000)
	spec := newNaive(leaves)
	roots := make([]merkle.Hash, len(leaves)+1)
	for size := range roots {
		roots[size] = spec.mth(0, size)
	}
	stored := newTiles()
	published := make(chan *merkle.Tree, len(leaves))
	var readers sync.WaitGroup
	for range 3 {
		readers.Go(func() {
			for tree := range published {
				if tree.Root() != roots[tree.Size()] {
					t.Errorf("another root at size %d", tree.Size())
				}
				if _, err := tree.InclusionProof(tree.Size()/2, tree.Size()); err != nil {
					t.Error(err)
				}
			}
		})
	}
	tree := merkle.New(stored)
	for i := 0; i < len(leaves); {
		n := min(1+i%7, len(leaves)-i)
		if i%3 == 0 {
			tree.With(leafHashes(6, n)) // discarded
		}
		next, full := tree.With(leaves[i : i+n])
		stored.store(full)
		tree, i = next, i+n
		published <- tree
	}
	close(published)
	readers.Wait()
}

func BenchmarkWith(b *testing.B) {
	for _, batch := range []int{1, 16, 256, 2_000} {
		b.Run(fmt.Sprintf("batch=%d", batch), func(b *testing.B) {
			leaves := leafHashes(7, batch)
			tree := merkle.New(newTiles())
			b.ReportAllocs()
			for b.Loop() {
				tree, _ = tree.With(leaves)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*batch), "ns/leaf")
		})
	}
}

func BenchmarkLeafHash(b *testing.B) {
	leaf := make([]byte, 300)
	b.ReportAllocs()
	for b.Loop() {
		merkle.LeafHash(leaf)
	}
}

func BenchmarkRoot(b *testing.B) {
	tree, _ := merkle.New(newTiles()).With(leafHashes(8, 1<<17-1))
	b.ReportAllocs()
	for b.Loop() {
		tree.Root()
	}
}

func BenchmarkInclusionProof(b *testing.B) {
	stored := newTiles()
	tree, full := merkle.New(stored).With(leafHashes(9, 1<<17-1))
	stored.store(full)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := tree.InclusionProof(1000, tree.Size()); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkOpen(b *testing.B) {
	const size = 1 << 20
	stored := newTiles()
	leaves := leafHashes(10, size-1)
	_, full := merkle.New(stored).With(leaves)
	stored.store(full)
	for b.Loop() {
		if _, err := merkle.Open(size-1, stored, leaves[size-256:]); err != nil {
			b.Fatal(err)
		}
	}
}
