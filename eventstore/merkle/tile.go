package merkle

import (
	"crypto/sha256"
	"fmt"
	"strings"

	"golang.org/x/mod/sumdb/tlog"
)

// Tiles cut the tree into rows of 256 neighbouring hashes (tile height 8).
// Level 0 holds leaf hashes; a hash of level n+1 is the root over one full tile
// of level n.
const (
	tileHeight = 8
	tileWidth  = 1 << tileHeight

	// TileSize is the length of a full tile in bytes.
	TileSize = tileWidth * tlog.HashSize

	// levels is how many levels of tiles a tree of MaxSize has.
	levels = 6
)

// Tile is a full tile. It never changes once it is there.
type Tile struct {
	Level int
	Index uint64 // within its level, from 0
	Data  []byte // TileSize bytes; shared with the tree, not to be changed
}

// TileReader reads full tiles back. A tree calls it from the goroutine that
// asks for a proof, so it must be safe for several at a time. It is asked only
// for tiles that With handed out for this tree or one before it.
type TileReader interface {
	ReadTile(level int, index uint64) ([]byte, error)
}

// DamagedTileError says that a stored tile is not the one that was written.
type DamagedTileError struct {
	Level int
	Index uint64
	Why   string
}

func (e *DamagedTileError) Error() string {
	return fmt.Sprintf("stored tile %s is damaged: %s; rebuild it from the log", TilePath(e.Level, e.Index, tileWidth), e.Why)
}

// TilePath is the path of a tile as c2sp.org/tlog-tiles writes it, for example
// "tile/0/x001/x234/067", or "tile/0/273.p/112" for the first 112 hashes of one
// that isn't full.
func TilePath(level int, index uint64, width int) string {
	// The spec fixes the height, so its paths leave that element out.
	return "tile/" + strings.TrimPrefix(tlog.Tile{H: tileHeight, L: level, N: int64(index), W: width}.Path(), "tile/8/")
}

// subtree holds a tile's hashes and all nodes above them but the root (which is
// a hash of the next level's tile): 256 hashes, then 128, and so on to 2. A
// slot is written once, when the node it holds is complete.
type subtree [(2*tileWidth - 2) * tlog.HashSize]byte

// offset is where the node with the given height (0 to 7) and index lies.
func offset(height uint, index uint64) uint64 {
	return (2*tileWidth - (2*tileWidth)>>height + index) * tlog.HashSize
}

func (s *subtree) node(height uint, index uint64) *Hash {
	at := offset(height, index)
	return (*Hash)(s[at : at+tlog.HashSize])
}

// set writes the hash at slot, the next free one, and each node that it
// completes. The last slot completes the tile: set then returns its root.
func (s *subtree) set(slot uint64, h *Hash) (root Hash, full bool) {
	*s.node(0, slot) = *h
	for height := uint(0); slot&1 == 1; height++ {
		parent := s.parent(height, slot-1)
		slot >>= 1
		if height == tileHeight-1 {
			return parent, true
		}
		*s.node(height+1, slot) = parent
	}
	return Hash{}, false
}

// parent hashes the pair whose left node is given.
func (s *subtree) parent(height uint, left uint64) Hash {
	at := offset(height, left)
	var buf [1 + 2*tlog.HashSize]byte
	buf[0] = 1
	copy(buf[1:], s[at:at+2*tlog.HashSize])
	return sha256.Sum256(buf[:])
}

// fill takes over a full tile's data and returns its root.
func (s *subtree) fill(data []byte) Hash {
	var root Hash
	for slot := range uint64(tileWidth) {
		root, _ = s.set(slot, (*Hash)(data[slot*tlog.HashSize:]))
	}
	return root
}

// prefix copies the first hashes and the nodes they complete.
func (s *subtree) prefix(width uint64) *subtree {
	var c subtree
	for height := range uint(tileHeight) {
		at, end := offset(height, 0), offset(height, width>>height)
		copy(c[at:end], s[at:end])
	}
	return &c
}
