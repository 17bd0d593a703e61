package merkle

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"

	"golang.org/x/mod/sumdb/note"
)

// Why a signer refuses. Errors that wrap these give the sizes and roots.
var (
	// ErrBackwards: the tree is smaller than one that was signed before.
	ErrBackwards = errors.New("a larger tree was signed before")
	// ErrForked: the tree has another history than the one signed before.
	ErrForked = errors.New("another history was signed before")
	// ErrStopped: a write of the signer's state failed, so nobody knows what is
	// on disk. Open the signer again; that reads it.
	ErrStopped = errors.New("the signer has stopped")
	// ErrNoSigner: there is no signing key here. CreateSigner makes one.
	ErrNoSigner = errors.New("there is no signing key here")
	// ErrSignerExists: there is a signing key here already.
	ErrSignerExists = errors.New("there is a signing key here already")
	// ErrSignerDamaged: the key or state file isn't as the signer left it. Their
	// log needs a new key: an old copy of the state would let it go back.
	ErrSignerDamaged = errors.New("the signer's files are damaged")
)

// SignerFiles is where a signer keeps its key and its state. The directory
// belongs to one open Signer in one process, and is never restored from a
// backup: an old state would let the signer contradict itself.
type SignerFiles struct {
	// Dir must exist. It holds signer.key, the key in the signed-note format,
	// and signer.state, the last signed checkpoint.
	Dir string
	// Write replaces a file so that, once it returns nil, the new content
	// survives a power cut; a nil Write means WriteFile. Tests put failures
	// and crashes here.
	Write func(path string, data []byte) error
}

func (f SignerFiles) key() string   { return filepath.Join(f.Dir, "signer.key") }
func (f SignerFiles) state() string { return filepath.Join(f.Dir, "signer.state") }

func (f SignerFiles) write(path string, data []byte) error {
	if f.Write != nil {
		return f.Write(path, data)
	}
	return WriteFile(path, data)
}

// Signer signs the checkpoints of one log. It never signs two that can't both
// be true: no smaller tree, no other root for the same size, no tree that isn't
// shown to extend the one signed before. Safe from any goroutine.
type Signer struct {
	files    SignerFiles
	key      note.Signer
	verifier note.Verifier
	vkey     string

	mu      sync.Mutex // held while signing
	stopped error      // under mu; once set, nothing is signed

	last atomic.Pointer[SignedCheckpoint] // written under mu, after its write to disk
}

// CreateSigner makes the key of a new log and opens its signer, whose last
// checkpoint is then that of the empty tree. origin names the log and the key:
// a name like a URL without scheme, with no spaces and no plus signs.
//
// It refuses with ErrSignerExists where there is a key, and with
// ErrSignerDamaged where a state is left that says more than nothing.
func CreateSigner(files SignerFiles, origin string) (*Signer, error) {
	if _, err := os.Lstat(files.key()); err == nil {
		return nil, fmt.Errorf("couldn't create a signer: %s: %w", files.key(), ErrSignerExists)
	} else if !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("couldn't create a signer: %w", err)
	}
	if old, err := os.ReadFile(files.state()); err == nil {
		text, _, _ := strings.Cut(string(old), "\n\n")
		if c, err := ParseCheckpoint(text + "\n"); err != nil || c.Size > 0 {
			return nil, fmt.Errorf("couldn't create a signer: %s is there without its key: %w", files.state(), ErrSignerDamaged)
		}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("couldn't create a signer: %w", err)
	}

	skey, _, err := note.GenerateKey(rand.Reader, origin)
	if err != nil {
		return nil, fmt.Errorf("couldn't create a signing key: %w", err)
	}
	key, err := note.NewSigner(skey)
	if err != nil {
		return nil, fmt.Errorf("couldn't create a signing key: origin %q must have no spaces and no plus signs: %w", origin, err)
	}
	empty := Checkpoint{Origin: origin, Root: New(nil).Root()}
	state, err := note.Sign(&note.Note{Text: empty.Text()}, key)
	if err != nil {
		return nil, fmt.Errorf("couldn't sign the empty tree: %w", err)
	}
	// State first: a key without a state then always means that a state was
	// lost. A crash between the two leaves an empty state without a key, which
	// the next CreateSigner writes over.
	if err := files.write(files.state(), state); err != nil {
		return nil, fmt.Errorf("couldn't write the signer's state: %w", err)
	}
	if err := files.write(files.key(), []byte(skey+"\n")); err != nil {
		return nil, fmt.Errorf("couldn't write the signing key: %w", err)
	}
	return OpenSigner(files)
}

// OpenSigner opens the signer that CreateSigner made. The caller then holds its
// own tree against Last: a node whose tree is smaller, or has another root at
// that size, has lost records that the world was told of.
func OpenSigner(files SignerFiles) (*Signer, error) {
	info, err := os.Lstat(files.key())
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("couldn't open the signer: %s: %w", files.key(), ErrNoSigner)
	}
	if err != nil {
		return nil, fmt.Errorf("couldn't open the signer: %w", err)
	}
	if mode := info.Mode(); !mode.IsRegular() || mode.Perm()&0o077 != 0 {
		return nil, fmt.Errorf("couldn't open the signer: %s has mode %v: it must be a file that only its owner can read (0600)", files.key(), mode)
	}
	skey, err := os.ReadFile(files.key())
	if err != nil {
		return nil, fmt.Errorf("couldn't open the signer: %w", err)
	}
	s := &Signer{files: files}
	if err := s.useKey(string(skey)); err != nil {
		return nil, fmt.Errorf("couldn't open the signer: %s: %w: %w", files.key(), err, ErrSignerDamaged)
	}
	last, err := s.readState()
	if err != nil {
		return nil, fmt.Errorf("couldn't open the signer: %w", err)
	}
	s.last.Store(&last)
	return s, nil
}

// useKey takes the key file's one line.
func (s *Signer) useKey(line string) error {
	skey, ok := strings.CutSuffix(line, "\n")
	if !ok {
		return errors.New("it must be one line")
	}
	var err error
	if s.key, err = note.NewSigner(skey); err != nil {
		return err
	}
	// NewSigner has checked the form: PRIVATE+KEY+name+hash+base64(type, seed).
	// No field before the last can hold a plus sign.
	seed, err := base64.StdEncoding.DecodeString(strings.SplitN(skey, "+", 5)[4])
	if err != nil {
		return err
	}
	if again := fmt.Sprintf("PRIVATE+KEY+%s+%08x+%s", s.key.Name(), s.key.KeyHash(), base64.StdEncoding.EncodeToString(seed)); again != skey {
		return errors.New("it is not written the way keys are")
	}
	public := ed25519.NewKeyFromSeed(seed[1:]).Public().(ed25519.PublicKey)
	if s.vkey, err = note.NewEd25519VerifierKey(s.key.Name(), public); err != nil {
		return err
	}
	s.verifier, err = note.NewVerifier(s.vkey)
	return err
}

// readState reads the last signed checkpoint. Its signature also guards it
// against a flipped bit on disk.
func (s *Signer) readState() (SignedCheckpoint, error) {
	state, err := os.ReadFile(s.files.state())
	if errors.Is(err, fs.ErrNotExist) {
		return SignedCheckpoint{}, fmt.Errorf("%s is missing: %w", s.files.state(), ErrSignerDamaged)
	}
	if err != nil {
		return SignedCheckpoint{}, err
	}
	last, err := OpenCheckpoint(state, s.verifier)
	if err != nil {
		return SignedCheckpoint{}, fmt.Errorf("%s: %w: %w", s.files.state(), err, ErrSignerDamaged)
	}
	return last, nil
}

// Origin is the log's name.
func (s *Signer) Origin() string { return s.key.Name() }

// VerifierKey is the public key as others configure it, in the signed-note
// format.
func (s *Signer) VerifierKey() string { return s.vkey }

// Verifier checks what this signer signed.
func (s *Signer) Verifier() note.Verifier { return s.verifier }

// Last is the last checkpoint that was signed, of size 0 in a new log. It never
// waits for a write.
func (s *Signer) Last() SignedCheckpoint { return *s.last.Load() }

// SignTree signs the tree as it is, after checking that it extends the one
// signed before.
func (s *Signer) SignTree(t *Tree) (SignedCheckpoint, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	var proof []Hash
	if last := s.Last().Size; last > 0 && last < t.Size() {
		var err error
		if proof, err = t.ConsistencyProof(last, t.Size()); err != nil {
			return SignedCheckpoint{}, fmt.Errorf("couldn't sign the tree of size %d: %w", t.Size(), err)
		}
	}
	return s.sign(t.Size(), t.Root(), proof)
}

// Sign signs the tree of the given size and root. proof is the consistency
// proof from Last's size; empty when that is 0 or the size is the same. Signing
// the same tree again gives the same checkpoint.
//
// Errors are ErrBackwards, ErrForked (with ErrProof where the proof failed) and
// ErrStopped; none of them lets a signature out.
func (s *Signer) Sign(size uint64, root Hash, proof []Hash) (SignedCheckpoint, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.sign(size, root, proof)
}

func (s *Signer) sign(size uint64, root Hash, proof []Hash) (SignedCheckpoint, error) {
	next, err := s.advance(Checkpoint{Origin: s.Origin(), Size: size, Root: root}, proof)
	if err != nil {
		return SignedCheckpoint{}, fmt.Errorf("couldn't sign the tree of size %d with root %v: %w", size, root, err)
	}
	return next, nil
}

func (s *Signer) advance(next Checkpoint, proof []Hash) (SignedCheckpoint, error) {
	if s.stopped != nil {
		return SignedCheckpoint{}, s.stopped
	}
	last := s.Last()
	switch {
	case next.Size < last.Size:
		return SignedCheckpoint{}, fmt.Errorf("%w: of size %d", ErrBackwards, last.Size)
	case next.Size == last.Size && next.Root != last.Root:
		return SignedCheckpoint{}, fmt.Errorf("%w: size %d had root %v", ErrForked, last.Size, last.Root)
	case next.Size == last.Size:
		return last, nil
	case next.Size > MaxSize:
		return SignedCheckpoint{}, fmt.Errorf("a tree may have at most %d leaves", uint64(MaxSize))
	case last.Size > 0:
		if err := VerifyConsistency(proof, last.Size, next.Size, last.Root, next.Root); err != nil {
			return SignedCheckpoint{}, fmt.Errorf("%w: size %d had root %v: %w", ErrForked, last.Size, last.Root, err)
		}
	}
	// Someone else at these files, or an older copy put back, would make the
	// check above worthless.
	if disk, err := s.readState(); err != nil {
		s.stopped = fmt.Errorf("%w: %w", ErrStopped, err)
		return SignedCheckpoint{}, s.stopped
	} else if !bytes.Equal(disk.Note, last.Note) {
		s.stopped = fmt.Errorf("%w: %s was changed by someone else, to size %d", ErrStopped, s.files.state(), disk.Size)
		return SignedCheckpoint{}, s.stopped
	}

	signed, err := note.Sign(&note.Note{Text: next.Text()}, s.key)
	if err != nil {
		return SignedCheckpoint{}, err
	}
	// A crash before the write leaves the old state and no signature outside.
	// A crash after it leaves the new state: the checkpoint may or may not have
	// gone out, Last gives it again, and only what extends it can be signed. A
	// failed write leaves either, so nothing more is signed until a new
	// OpenSigner has read which.
	if err := s.files.write(s.files.state(), signed); err != nil {
		s.stopped = fmt.Errorf("%w: couldn't write its state: %w", ErrStopped, err)
		return SignedCheckpoint{}, s.stopped
	}
	out := SignedCheckpoint{Checkpoint: next, Note: signed}
	s.last.Store(&out)
	return out, nil
}

// WriteFile replaces the file at path with data, mode 0600. When it returns
// nil, the new content and its name are synced to disk.
func WriteFile(path string, data []byte) error {
	// A crash leaves the old file, at most beside a .new that the next write
	// overwrites; after the rename, the old or the new one, each whole.
	temp := path + ".new"
	if err := writeSynced(temp, data); err != nil {
		return err
	}
	if err := os.Rename(temp, path); err != nil {
		return err
	}
	// The rename itself is on disk only when the directory is.
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	return errors.Join(dir.Sync(), dir.Close())
}

func writeSynced(path string, data []byte) error {
	// A .new left by a crash may carry another mode; a new file has ours.
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}
