// Package personal keeps the keys under which facts about persons are sealed, apart
// from the log. The log holds only what was sealed; whoever destroys a person's key
// erases the person from every copy of the log there is, and no record changes.
//
// There is one file a person in the folder, named by their id, of 32 random bytes. The
// folder is in no backup of the log. Whoever copies it keeps the copy apart, and a
// restored copy is held against the log's erasures (Replay) before a node serves.
package personal

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"

	"golang.org/x/crypto/chacha20poly1305"
)

// ErrNoKey: there is no key of this person; there never was, or it was destroyed.
var ErrNoKey = errors.New("there is no key of this person")

// ErrNotTheirs: the sealed bytes aren't of this person, event and field, or were
// changed.
var ErrNotTheirs = errors.New("the sealed fact doesn't open with the person's key")

// Keys is the folder of keys. Its methods may be called from any goroutine; one process
// at a time has the folder.
type Keys struct {
	dir string
	mu  sync.Mutex // held while a key is made or destroyed
}

// Open opens the folder, and makes it where it isn't there.
func Open(dir string) (*Keys, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("couldn't make the folder of personal keys: %w", err)
	}
	// The folder itself has to be there after a power cut, or the keys in it are not.
	if err := syncFolder(filepath.Dir(filepath.Clean(dir))); err != nil {
		return nil, err
	}
	return &Keys{dir: dir}, nil
}

var personForm = regexp.MustCompile(`^[a-z0-9_-]{1,64}$`)

func (k *Keys) path(person string) (string, error) {
	if !personForm.MatchString(person) {
		return "", fmt.Errorf("%q can't be the id of a person", person)
	}
	return filepath.Join(k.dir, person+".key"), nil
}

// Bound is what a sealed fact is bound to: with another it doesn't open.
type Bound struct {
	Coop, Person string
	Seal         string // the id of the event's own
	Field        string
}

func (b Bound) bytes() []byte {
	return []byte(strings.Join([]string{"seamshare personal 1", b.Coop, b.Person, b.Seal, b.Field}, "\x00"))
}

// Seal seals a fact with XChaCha20-Poly1305 under the person's key, which is made where
// there is none. The nonce of 24 random bytes stands before it.
func (k *Keys) Seal(b Bound, fact []byte) ([]byte, error) {
	key, err := k.make(b.Person)
	if err != nil {
		return nil, err
	}
	aead, err := chacha20poly1305.NewX(key)
	if err != nil {
		return nil, fmt.Errorf("couldn't use the key of person %s: %w", b.Person, err)
	}
	nonce := make([]byte, aead.NonceSize(), aead.NonceSize()+len(fact)+aead.Overhead())
	if _, err := rand.Read(nonce); err != nil {
		return nil, fmt.Errorf("couldn't seal a fact about person %s: %w", b.Person, err)
	}
	return aead.Seal(nonce, nonce, fact, b.bytes()), nil
}

// Open opens a sealed fact. The error is ErrNoKey after an erasure.
func (k *Keys) Open(b Bound, sealed []byte) ([]byte, error) {
	key, err := k.read(b.Person)
	if err != nil {
		return nil, err
	}
	aead, err := chacha20poly1305.NewX(key)
	if err != nil {
		return nil, fmt.Errorf("couldn't use the key of person %s: %w", b.Person, err)
	}
	if len(sealed) < aead.NonceSize() {
		return nil, ErrNotTheirs
	}
	fact, err := aead.Open(nil, sealed[:aead.NonceSize()], sealed[aead.NonceSize():], b.bytes())
	if err != nil {
		return nil, fmt.Errorf("%w: person %s, seal %s", ErrNotTheirs, b.Person, b.Seal)
	}
	return fact, nil
}

// Fingerprint tells one fact from another without telling the fact: it is keyed with
// the person's key, so that nobody can try facts against it once that is destroyed.
func (k *Keys) Fingerprint(person string, fact []byte) (string, error) {
	key, err := k.make(person)
	if err != nil {
		return "", err
	}
	h := hmac.New(sha256.New, key)
	h.Write([]byte("seamshare personal fingerprint\x00"))
	h.Write(fact)
	return hex.EncodeToString(h.Sum(nil)), nil
}

// Has tells whether the person's key is here.
func (k *Keys) Has(person string) (bool, error) {
	_, err := k.read(person)
	if errors.Is(err, ErrNoKey) {
		return false, nil
	}
	return err == nil, err
}

func (k *Keys) read(person string) ([]byte, error) {
	path, err := k.path(person)
	if err != nil {
		return nil, err
	}
	key, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%w: %s", ErrNoKey, person)
	case err != nil:
		return nil, fmt.Errorf("couldn't read the key of person %s: %w", person, err)
	case len(key) != chacha20poly1305.KeySize:
		return nil, fmt.Errorf("the key of person %s has %d bytes, not %d", person, len(key), chacha20poly1305.KeySize)
	}
	return key, nil
}

// make gives the person's key, a new one where there is none. It is on disk, synced,
// when this returns: what is sealed under it can be opened after a crash.
func (k *Keys) make(person string) ([]byte, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	key, err := k.read(person)
	if !errors.Is(err, ErrNoKey) {
		return key, err
	}
	path, err := k.path(person)
	if err != nil {
		return nil, err
	}
	key = make([]byte, chacha20poly1305.KeySize)
	if _, err := rand.Read(key); err != nil {
		return nil, fmt.Errorf("couldn't make a key for person %s: %w", person, err)
	}
	// Under another name until it is whole: a crash leaves a key that is there, or none.
	whole := path + ".new"
	if err := writeSynced(whole, key); err != nil {
		return nil, fmt.Errorf("couldn't keep the key of person %s: %w", person, err)
	}
	if err := os.Rename(whole, path); err != nil {
		return nil, fmt.Errorf("couldn't keep the key of person %s: %w", person, err)
	}
	return key, k.sync()
}

// Destroy destroys the person's key: the file is overwritten, synced and removed. Where
// there is none, nothing is to be done. What the disk itself keeps of overwritten
// blocks is beyond a program: encrypt the disk.
func (k *Keys) Destroy(person string) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	path, err := k.path(person)
	if err != nil {
		return err
	}
	for _, file := range []string{path, path + ".new"} {
		if _, err := os.Stat(file); errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err := overwrite(file); err != nil {
			return fmt.Errorf("couldn't destroy the key of person %s: %w", person, err)
		}
		if err := os.Remove(file); err != nil {
			return fmt.Errorf("couldn't destroy the key of person %s: %w", person, err)
		}
	}
	return k.sync()
}

// Replay destroys the keys of all persons who were erased, as the log says. It goes
// before a node serves: a copy of the folder that was put back may hold them still,
// and a crash may have come between an erasure and the end of its key.
func (k *Keys) Replay(erased []string) error {
	for _, person := range erased {
		if err := k.Destroy(person); err != nil {
			return fmt.Errorf("couldn't repeat the erasures: %w", err)
		}
	}
	return nil
}

func (k *Keys) sync() error { return syncFolder(k.dir) }

func syncFolder(path string) error {
	dir, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("couldn't sync the folder of personal keys: %w", err)
	}
	defer dir.Close()
	if err := dir.Sync(); err != nil {
		return fmt.Errorf("couldn't sync the folder of personal keys: %w", err)
	}
	return nil
}

func writeSynced(path string, data []byte) (err error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if _, err := f.Write(data); err != nil {
		return err
	}
	return f.Sync()
}

// overwrite writes noise over a file in place.
func overwrite(path string) (err error) {
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	noise := make([]byte, chacha20poly1305.KeySize)
	if _, err := rand.Read(noise); err != nil {
		return err
	}
	if _, err := f.WriteAt(noise, 0); err != nil {
		return err
	}
	return f.Sync()
}
