package merkle

import (
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// RootAt is the root that the tree had at an earlier size.
func (t *Tree) RootAt(size uint64) (Hash, error) {
	if size > t.size {
		return Hash{}, fmt.Errorf("couldn't find the root at size %d: the tree has only %d leaves", size, t.size)
	}
	root, err := tlog.TreeHash(int64(size), t.reader())
	if err != nil {
		return Hash{}, fmt.Errorf("couldn't find the root at size %d: %w", size, err)
	}
	return root, nil
}

// Leaf is the leaf hash at an index.
func (t *Tree) Leaf(index uint64) (Hash, error) {
	h, err := t.reader().node(0, index)
	if err != nil {
		return Hash{}, fmt.Errorf("couldn't find leaf %d: %w", index, err)
	}
	return h, nil
}

// InclusionProof proves that the leaf at index is in the tree of the given
// size, this one's or an earlier one's. The hashes go from the leaf's sibling
// up (RFC 6962 section 2.1.1).
func (t *Tree) InclusionProof(index, size uint64) ([]Hash, error) {
	proofs, err := t.InclusionProofs([]uint64{index}, size)
	if err != nil {
		return nil, err
	}
	return proofs[0], nil
}

// InclusionProofs is InclusionProof for several leaves; it reads no tile twice.
func (t *Tree) InclusionProofs(indexes []uint64, size uint64) ([][]Hash, error) {
	if size > t.size {
		return nil, fmt.Errorf("couldn't prove against size %d: the tree has only %d leaves", size, t.size)
	}
	r := t.reader()
	proofs := make([][]Hash, len(indexes))
	for i, index := range indexes {
		if index >= size {
			return nil, fmt.Errorf("couldn't prove leaf %d: a tree of size %d ends before it", index, size)
		}
		proof, err := tlog.ProveRecord(int64(size), int64(index), r)
		if err != nil {
			return nil, fmt.Errorf("couldn't prove leaf %d at size %d: %w", index, size, err)
		}
		proofs[i] = proof
	}
	return proofs, nil
}

// ConsistencyProof proves that the tree of size old is a prefix of the tree of
// the given size, this one's or an earlier one's. old must be 1 or more: see
// VerifyConsistency.
func (t *Tree) ConsistencyProof(old, size uint64) ([]Hash, error) {
	if old < 1 || old > size || size > t.size {
		return nil, fmt.Errorf("couldn't prove growth from size %d to %d: sizes must be 1 ≤ old ≤ new ≤ %d", old, size, t.size)
	}
	proof, err := tlog.ProveTree(int64(size), int64(old), t.reader())
	if err != nil {
		return nil, fmt.Errorf("couldn't prove growth from size %d to %d: %w", old, size, err)
	}
	return proof, nil
}

// Tile returns the first width hashes of a tile, for others to read. width 256
// is the full tile; a smaller one is a partial tile of this tree or an earlier
// one.
func (t *Tree) Tile(level int, index uint64, width int) ([]byte, error) {
	if level < 0 || level >= levels || width < 1 || width > tileWidth ||
		index > t.count(level)/tileWidth || index*tileWidth+uint64(width) > t.count(level) {
		return nil, fmt.Errorf("a tree of size %d has no %d hashes in tile %d of level %d", t.size, width, index, level)
	}
	s, err := t.reader().subtree(level, index)
	if err != nil {
		return nil, err
	}
	return s[: width*tlog.HashSize : width*tlog.HashSize], nil
}

// load reads a full tile without checking what it holds.
func (t *Tree) load(level int, index uint64) ([]byte, error) {
	data, err := t.tiles.ReadTile(level, index)
	if err != nil {
		return nil, fmt.Errorf("couldn't read tile %s: %w", TilePath(level, index, tileWidth), err)
	}
	if len(data) != TileSize {
		return nil, &DamagedTileError{Level: level, Index: index, Why: fmt.Sprintf("%d bytes long, must be %d", len(data), TileSize)}
	}
	return data, nil
}

// reader finds the nodes of a tree, in memory or in its full tiles. It believes
// no tile: each is checked against its root in the tile above, up to the edge,
// so that damage on disk is found and not proven. One goroutine uses it.
type reader struct {
	tree *Tree
	seen map[place]*subtree
}

type place struct {
	level int
	index uint64
}

func (t *Tree) reader() *reader {
	return &reader{tree: t, seen: make(map[place]*subtree)}
}

// ReadHashes implements tlog.HashReader.
func (r *reader) ReadHashes(indexes []int64) ([]Hash, error) {
	hashes := make([]Hash, len(indexes))
	for i, stored := range indexes {
		height, index := tlog.SplitStoredHashIndex(stored)
		h, err := r.node(uint(height), uint64(index))
		if err != nil {
			return nil, err
		}
		hashes[i] = h
	}
	return hashes, nil
}

// node is the node at a height above the leaves.
func (r *reader) node(height uint, index uint64) (Hash, error) {
	if index >= r.tree.size>>height {
		return Hash{}, fmt.Errorf("a tree of size %d has no node %d at height %d", r.tree.size, index, height)
	}
	level, inner := int(height/tileHeight), height%tileHeight
	width := uint64(tileWidth) >> inner // nodes of this height in a tile
	s, err := r.subtree(level, index/width)
	if err != nil {
		return Hash{}, err
	}
	return *s.node(inner, index%width), nil
}

// subtree is a full tile, read and checked, or the partial one in memory.
func (r *reader) subtree(level int, index uint64) (*subtree, error) {
	if index == r.tree.count(level)/tileWidth {
		return r.tree.edge[level], nil
	}
	at := place{level, index}
	if s := r.seen[at]; s != nil {
		return s, nil
	}
	// The tile above first: if that is the damaged one, it is the one to name.
	want, err := r.node(uint(level+1)*tileHeight, index)
	if err != nil {
		return nil, err
	}
	data, err := r.tree.load(level, index)
	if err != nil {
		return nil, err
	}
	s := new(subtree)
	if root := s.fill(data); root != want {
		return nil, &DamagedTileError{Level: level, Index: index, Why: fmt.Sprintf("its root is %v, the tree has %v", root, want)}
	}
	r.seen[at] = s
	return s, nil
}
