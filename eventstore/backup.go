package eventstore

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"hash"
	"io"

	"golang.org/x/mod/sumdb/note"

	"seamshare.example/eventstore/merkle"
)

// The writer and the reader of a backup file: the log and nothing else, for all
// the rest follows from it.
//
//	"seamshare backup v1\n"
//	co-op id            4 bytes length, big endian, and the bytes
//	commits             4 bytes length and the published bytes, in order
//	0                   4 bytes
//	signed checkpoint   4 bytes length and the note
//	SHA-256             32 bytes, of all before
//
// The signer's key is not in it, nor any other: a signer that was restored from
// an old copy could contradict itself.
const backupMagic = "seamshare backup v1\n"

// WriteBackup writes the log as it stands, up to a checkpoint that is signed
// first. The node goes on meanwhile.
func (n *Node) WriteBackup(ctx context.Context, w io.Writer, progress func(done, total Sequence)) (merkle.SignedCheckpoint, error) {
	signed, err := n.Signed(ctx, n.Checkpoint().Position)
	if err != nil {
		return signed, err
	}
	q, err := n.Query(ctx, Position(signed.Size))
	if err != nil {
		return signed, err
	}
	defer q.Close()
	digest := sha256.New()
	out := frames{w: io.MultiWriter(w, digest)}
	out.raw([]byte(backupMagic))
	out.frame([]byte(n.coop))
	for seq, last := Sequence(1), Position(0); last < Position(signed.Size) && out.err == nil; seq++ {
		m, err := q.Message(seq)
		if err != nil {
			return signed, err
		}
		c, err := openCommit(m.Data, n.coop)
		if err != nil {
			return signed, err
		}
		out.frame(m.Data)
		last = c.last()
		hit("while-backing-up")
		if progress != nil {
			progress(seq, q.at.Sequence)
		}
		if err := ctx.Err(); err != nil {
			return signed, err
		}
	}
	out.frame(nil)
	out.frame(signed.Note)
	if out.err == nil {
		_, out.err = w.Write(digest.Sum(nil))
	}
	if out.err != nil {
		return signed, fmt.Errorf("couldn't write the backup: %w", out.err)
	}
	return signed, nil
}

type frames struct {
	w   io.Writer
	err error
}

func (f *frames) raw(data []byte) {
	if f.err == nil {
		_, f.err = f.w.Write(data)
	}
}

func (f *frames) frame(data []byte) {
	f.raw(binary.BigEndian.AppendUint32(nil, uint32(len(data))))
	f.raw(data)
}

// Backup is what a backup file says of itself.
type Backup struct {
	Coop       string
	Sequence   Sequence
	Checkpoint merkle.Checkpoint
}

// ReadBackup reads a backup file and gives each commit to fn, in order. Only
// when it returns nil was the file whole, its records those of the signed
// checkpoint, and the checkpoint signed by key (any signature will do where key
// is nil: then only the file's own word is checked). What follows it in r is left
// there. Errors that are not fn's wrap ErrCorrupt.
func ReadBackup(r *bufio.Reader, key note.Verifier, fn func(coop string, m Message) error) (Backup, error) {
	in := backupReader{r: r, digest: sha256.New()}
	magic := make([]byte, len(backupMagic))
	if in.full(magic); in.err != nil || string(magic) != backupMagic {
		return Backup{}, fmt.Errorf("%w: this is not a backup of a log", ErrCorrupt)
	}
	b := Backup{Coop: string(in.frame(64))}
	tree := merkle.New(nil)
	var position Position
	for {
		data := in.frame(MaxCommitBytes)
		if in.err != nil {
			return b, fmt.Errorf("%w: backup is cut short after commit %d: %w", ErrCorrupt, b.Sequence, in.err)
		}
		if len(data) == 0 {
			break
		}
		c, err := openCommit(data, b.Coop)
		if err != nil {
			return b, fmt.Errorf("commit %d: %w", b.Sequence+1, err)
		}
		if Position(c.FirstPosition) != position+1 {
			return b, fmt.Errorf("%w: after position %d comes %d", ErrCorrupt, position, c.FirstPosition)
		}
		leaves := make([]merkle.Hash, 0, len(c.Records))
		authors := c.authors()
		for i, raw := range c.Records {
			s, err := openRecord(raw)
			if err != nil {
				return b, fmt.Errorf("commit %d: %w", b.Sequence+1, err)
			}
			position++
			leaves = append(leaves, merkle.LeafHash(appendLeaf(nil, position, &s.Record, authors[i])))
		}
		tree, _ = tree.With(leaves)
		b.Sequence++
		if err := fn(b.Coop, Message{Sequence: b.Sequence, Data: data}); err != nil {
			return b, err
		}
	}
	signed := in.frame(1 << 16)
	sum := in.digest.Sum(nil)
	want := make([]byte, sha256.Size)
	if in.full(want); in.err != nil || !bytes.Equal(sum, want) {
		return b, fmt.Errorf("%w: the backup's digest does not match its content", ErrCorrupt)
	}
	var err error
	if key != nil {
		var opened merkle.SignedCheckpoint
		opened, err = merkle.OpenCheckpoint(signed, key)
		b.Checkpoint = opened.Checkpoint
	} else {
		text, _, _ := bytes.Cut(signed, []byte("\n\n"))
		b.Checkpoint, err = merkle.ParseCheckpoint(string(text) + "\n")
	}
	if err != nil {
		return b, fmt.Errorf("%w: the backup's checkpoint: %w", ErrCorrupt, err)
	}
	if b.Checkpoint.Size != tree.Size() || b.Checkpoint.Root != tree.Root() {
		return b, fmt.Errorf("%w: the backup's records lead to another root than was signed", ErrCorrupt)
	}
	return b, nil
}

type backupReader struct {
	r      *bufio.Reader
	digest hash.Hash
	err    error
}

func (b *backupReader) full(to []byte) {
	if b.err == nil {
		_, b.err = io.ReadFull(b.r, to)
	}
	if b.err == nil {
		b.digest.Write(to)
	}
}

func (b *backupReader) frame(limit uint32) []byte {
	var size [4]byte
	b.full(size[:])
	n := binary.BigEndian.Uint32(size[:])
	if b.err == nil && n > limit {
		b.err = errors.New("a part is longer than it can be")
	}
	if b.err != nil {
		return nil
	}
	data := make([]byte, n)
	b.full(data)
	return data
}
