package merkle

import (
	"crypto/sha256"
	"fmt"
	"sync/atomic"

	"golang.org/x/mod/sumdb/tlog"
)

// Tree is the tree over the first Size records: a value that never changes.
// Any goroutine may use it. It grows by With, which returns another Tree.
//
// Only full tiles are ever stored, one write each. What isn't full yet, at most
// 255 hashes a level and the nodes above them, lives in memory and is built
// again by Open.
type Tree struct {
	size  uint64
	tiles TileReader
	// edge holds the partial tile of each level, nil where that has no hash
	// yet. Trees of one line share these: a tree reads only the nodes that are
	// complete at its own size, and a larger tree writes only slots after them.
	edge [levels]*subtree
	line *line
}

// line is a row of trees, each grown from the one before, that share memory.
type line struct {
	// filled is the size up to which the shared memory is written. Only the
	// tree of that size may write on; one grown from an earlier tree, after a
	// batch was discarded, copies the edge and begins its own line.
	filled atomic.Uint64
}

// New is the empty tree. tiles is where the full tiles can be read that With
// will hand out.
func New(tiles TileReader) *Tree {
	return &Tree{tiles: tiles, line: &line{}}
}

// Open builds the tree of the given size from its stored full tiles and the
// leaf hashes of the size % 256 last records, which no full tile holds yet. It
// reads at most 255 tiles a level. A tile that can't be read or has the wrong
// length is an error; otherwise the caller must compare Root with one it
// trusts, since a changed tile only shows there.
func Open(size uint64, tiles TileReader, tail []Hash) (*Tree, error) {
	if size > MaxSize {
		return nil, fmt.Errorf("couldn't open the tree: size %d is over the limit of %d", size, uint64(MaxSize))
	}
	if want := size % tileWidth; uint64(len(tail)) != want {
		return nil, fmt.Errorf("couldn't open the tree of size %d: got the hashes of the last %d records, need those of the last %d",
			size, len(tail), want)
	}
	t := New(tiles)
	t.size = size
	t.line.filled.Store(size)
	if len(tail) > 0 {
		t.edge[0] = new(subtree)
		for i := range tail {
			t.edge[0].set(uint64(i), &tail[i])
		}
	}
	for level := 1; level < levels; level++ {
		count := t.count(level)
		width := count % tileWidth
		if width == 0 {
			continue
		}
		edge := new(subtree)
		for slot := range width {
			data, err := t.load(level-1, count-width+slot)
			if err != nil {
				return nil, fmt.Errorf("couldn't open the tree of size %d: %w", size, err)
			}
			root := new(subtree).fill(data)
			edge.set(slot, &root)
		}
		t.edge[level] = edge
	}
	return t, nil
}

// With returns the tree with the leaves appended, and the tiles that they
// filled. The receiver stays as it is.
//
// The caller stores the tiles with whatever else the leaves come with, and only
// then lets others see the new tree, whose proofs may read them. A batch that
// comes to nothing needs no undoing: drop the new tree and go on from this one.
//
// It costs one hash a leaf (two with LeafHash) and allocates by the tile, not
// by the leaf. It is safe to call from several goroutines.
func (t *Tree) With(leaves []Hash) (*Tree, []Tile) {
	if len(leaves) == 0 {
		return t, nil
	}
	next := *t
	if !t.line.filled.CompareAndSwap(t.size, t.size+uint64(len(leaves))) {
		for level, edge := range t.edge {
			if edge != nil {
				next.edge[level] = edge.prefix(t.count(level) % tileWidth)
			}
		}
		next.line = &line{}
		next.line.filled.Store(t.size + uint64(len(leaves)))
	}
	var full []Tile
	for i := range leaves {
		full = next.add(0, &leaves[i], full)
		next.size++
	}
	return &next, full
}

// add puts the next hash at a level and, where it fills the tile, that tile's
// root at the level above.
func (t *Tree) add(level int, h *Hash, full []Tile) []Tile {
	index := t.count(level)
	slot := index % tileWidth
	if slot == 0 {
		t.edge[level] = new(subtree)
	}
	edge := t.edge[level]
	root, done := edge.set(slot, h)
	if !done {
		return full
	}
	full = append(full, Tile{Level: level, Index: index / tileWidth, Data: edge[:TileSize:TileSize]})
	t.edge[level] = nil
	return t.add(level+1, &root, full)
}

// count is how many hashes there are at a level.
func (t *Tree) count(level int) uint64 { return t.size >> (tileHeight * level) }

// Size is how many leaves the tree has: the position of the last one.
func (t *Tree) Size() uint64 { return t.size }

// Root is the hash over the whole tree. It costs a hash for each bit of the
// size and reads no tiles.
func (t *Tree) Root() Hash {
	if t.size == 0 {
		return sha256.Sum256(nil)
	}
	// Each 1 bit of the size is a complete subtree, and the edge holds its
	// root; the smallest, rightmost one is hashed into the next larger.
	var root Hash
	first := true
	for bit := uint(0); t.size>>bit != 0; bit++ {
		if t.size>>bit&1 == 0 {
			continue
		}
		level, height := int(bit/tileHeight), bit%tileHeight
		width := t.count(level) % tileWidth
		peak := *t.edge[level].node(height, width>>height-1)
		if first {
			root, first = peak, false
		} else {
			root = tlog.NodeHash(peak, root)
		}
	}
	return root
}
