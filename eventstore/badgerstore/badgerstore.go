// Package badgerstore keeps the store's rows in Badger. Only this package
// imports it.
package badgerstore

import (
	"bytes"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/options"
	"golang.org/x/sys/unix"

	"seamshare.example/eventstore"
)

// What a write may hold at most. Open refuses a Badger that would hold less,
// since a commit that can't be applied stops the node for good.
const (
	needBytes = 8 << 20
	needRows  = 60_000
)

// ErrInUse: another process has the store open, or this one has.
var ErrInUse = errors.New("the store is in use")

// Options are the settings of a store.
type Options struct {
	// Dir holds the store; it is made where it isn't there.
	Dir string
	// BootID tells this start of the machine from any other; nil: the kernel's.
	BootID func() (string, error)
	Logger *slog.Logger
}

// Store is an eventstore.Store in Badger.
//
// Writes are not synced one by one: the log is, and the store is a copy. A
// marker file holds the machine's boot id while the store is open, and a clean
// Close removes it. Where it stands from another boot, the machine went down
// under the open store, rows may be missing without a trace, and Open sets the
// store aside.
type Store struct {
	db     *badger.DB
	marker string
	stop   chan struct{}
	done   chan struct{}
}

// Aside tells that a store was set aside, and where; it is rebuilt from the log.
type Aside struct {
	Dir string
	Why string
}

// Open opens the store in its directory. aside is not nil where what was there
// could not be trusted and the store begins anew.
func Open(o Options) (s *Store, aside *Aside, err error) {
	if o.BootID == nil {
		o.BootID = kernelBootID
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	boot, err := o.BootID()
	if err != nil {
		return nil, nil, fmt.Errorf("couldn't tell which start of the machine this is: %w", err)
	}
	marker := filepath.Join(o.Dir, "open-since-boot")
	switch was, err := os.ReadFile(marker); {
	case err == nil && strings.TrimSpace(string(was)) != boot:
		if aside, err = SetAside(o.Dir, "the machine went down while it was open"); err != nil {
			return nil, nil, err
		}
	case err != nil && !errors.Is(err, os.ErrNotExist):
		return nil, nil, fmt.Errorf("couldn't read the marker of the store: %w", err)
	}
	if err := os.MkdirAll(o.Dir, 0o700); err != nil {
		return nil, nil, fmt.Errorf("couldn't make the store's directory: %w", err)
	}
	if err := writeSynced(marker, boot+"\n"); err != nil {
		return nil, aside, fmt.Errorf("couldn't write the marker of the store: %w", err)
	}
	db, err := badger.Open(settings(o))
	if err != nil {
		if inUse(o.Dir) {
			return nil, aside, fmt.Errorf("%w: %s", ErrInUse, o.Dir)
		}
		meaning := eventstore.ErrCorrupt
		if errors.Is(err, syscall.EIO) || errors.Is(err, syscall.ENOSPC) {
			meaning = eventstore.ErrIO
		}
		return nil, aside, fmt.Errorf("%w: couldn't open the store in %s: %w", meaning, o.Dir, err)
	}
	if db.MaxBatchSize() < needBytes || db.MaxBatchCount() < needRows {
		err := fmt.Errorf("the store takes %d bytes and %d rows in one write, %d and %d are needed",
			db.MaxBatchSize(), db.MaxBatchCount(), needBytes, needRows)
		return nil, aside, errors.Join(err, db.Close())
	}
	s = &Store{db: db, marker: marker, stop: make(chan struct{}), done: make(chan struct{})}
	go s.tidy()
	return s, aside, nil
}

func settings(o Options) badger.Options {
	return badger.DefaultOptions(o.Dir).
		WithSyncWrites(false).      // the log is synced; see Store
		WithDetectConflicts(false). // one writer
		WithMetricsEnabled(false).
		WithChecksumVerificationMode(options.OnTableRead). // the others serve damage, or panic
		WithMemTableSize(64 << 20).
		WithBlockCacheSize(0). // for compressed or encrypted blocks only; ours are neither, and lie in mapped files
		WithIndexCacheSize(64 << 20).
		WithValueLogFileSize(64 << 20). // nothing is large enough for it
		WithNumVersionsToKeep(1).
		WithCompactL0OnClose(false).
		WithCompression(options.None).
		WithLogger(logger{o.Logger})
}

// SetAside moves a store out of the way, so that the next Open begins anew. The
// store that was set aside before it goes: each is a copy of the log, and a disk
// must not fill with them.
func SetAside(dir, why string) (*Aside, error) {
	before, err := filepath.Glob(dir + ".aside-*")
	if err != nil {
		return nil, fmt.Errorf("couldn't look for stores that were set aside before: %w", err)
	}
	for _, old := range before {
		if err := os.RemoveAll(old); err != nil {
			return nil, fmt.Errorf("couldn't remove a store that was set aside before: %w", err)
		}
	}
	to := fmt.Sprintf("%s.aside-%s", dir, time.Now().UTC().Format("20060102T150405.000000"))
	if err := os.Rename(dir, to); err != nil {
		return nil, fmt.Errorf("couldn't set the store aside: %w", err)
	}
	return &Aside{Dir: to, Why: why}, nil
}

// kernelBootID is new at every start of the machine.
func kernelBootID() (string, error) {
	id, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	return strings.TrimSpace(string(id)), err
}

func writeSynced(path, text string) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	_, err = f.WriteString(text)
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	// The marker must not be lost while rows written after it are kept: its name
	// is on disk only when the directory is, and that one's in its parent.
	return errors.Join(syncDir(filepath.Dir(path)), syncDir(filepath.Dir(filepath.Dir(path))))
}

func syncDir(path string) error {
	dir, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(dir.Sync(), dir.Close())
}

// inUse reports that another store is open on the directory: Badger holds a lock
// on it, and says so in words only.
func inUse(path string) bool {
	dir, err := os.Open(path)
	if err != nil {
		return false
	}
	defer dir.Close()
	return errors.Is(unix.Flock(int(dir.Fd()), unix.LOCK_SH|unix.LOCK_NB), unix.EWOULDBLOCK)
}

// tidy lets Badger give back space now and then. What is in its value log is
// little: only deletes leave anything there.
func (s *Store) tidy() {
	defer close(s.done)
	for {
		select {
		case <-s.stop:
			return
		case <-time.After(10 * time.Minute):
			_ = s.db.RunValueLogGC(0.5) // nothing to collect is an error there
		}
	}
}

// Close flushes the store and takes the marker away.
func (s *Store) Close() error {
	close(s.stop)
	<-s.done
	if err := s.db.Close(); err != nil {
		return fmt.Errorf("couldn't close the store: %w", err)
	}
	return os.Remove(s.marker)
}

// Size is what Badger counts on disk.
func (s *Store) Size() int64 {
	lsm, vlog := s.db.Size()
	return lsm + vlog
}

// Write changes all rows in one transaction.
func (s *Store) Write(changes []eventstore.Change) error {
	txn := s.db.NewTransaction(true)
	defer txn.Discard()
	for _, c := range changes {
		var err error
		if c.Value == nil {
			err = txn.Delete(c.Key)
		} else {
			err = txn.SetEntry(badger.NewEntry(c.Key, c.Value))
		}
		if err != nil {
			return fmt.Errorf("couldn't change a row: %w", err)
		}
	}
	return txn.Commit()
}

// Snapshot is a read transaction.
func (s *Store) Snapshot() eventstore.Snapshot { return snapshot{s.db.NewTransaction(false)} }

type snapshot struct{ txn *badger.Txn }

func (s snapshot) Close() { s.txn.Discard() }

func (s snapshot) Get(key []byte) ([]byte, error) {
	item, err := s.txn.Get(key)
	if errors.Is(err, badger.ErrKeyNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, readError(err)
	}
	value, err := item.ValueCopy([]byte{})
	return value, readError(err)
}

func (s snapshot) Scan(prefix, start []byte, reverse bool, fn func(key, value []byte) bool) error {
	o := badger.DefaultIteratorOptions
	o.Reverse = reverse
	o.PrefetchValues = false // values lie beside their keys
	if !reverse {
		o.Prefix = prefix // in reverse the key sought may lie behind the prefix
	}
	it := s.txn.NewIterator(o)
	defer it.Close()
	if !reverse {
		if bytes.Compare(start, prefix) < 0 {
			start = prefix
		}
		it.Seek(start)
	} else {
		// Badger seeks to the last key ≤ what it is given; nil: the last of all.
		end := after(prefix)
		if start == nil || end != nil && bytes.Compare(start, end) >= 0 {
			start = end
		}
		it.Seek(start)
		if it.Valid() && end != nil && bytes.Equal(it.Item().Key(), end) {
			it.Next()
		}
	}
	for ; it.ValidForPrefix(prefix); it.Next() {
		value, err := it.Item().ValueCopy([]byte{})
		if err != nil {
			return readError(err)
		}
		if !fn(it.Item().KeyCopy(nil), value) {
			return nil
		}
	}
	return nil
}

// after is the first key behind all that begin with prefix; nil: there is none.
func after(prefix []byte) []byte {
	end := bytes.Clone(prefix)
	for i := len(end) - 1; i >= 0; i-- {
		if end[i]++; end[i] != 0 {
			return end[:i+1]
		}
	}
	return nil
}

// readError: what Badger can't read is damaged. A device that fails under a
// mapped file ends the process with SIGBUS.
func readError(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%w: %w", eventstore.ErrCorrupt, err)
}

// logger passes Badger's warnings and errors on.
type logger struct{ to *slog.Logger }

func (l logger) Errorf(f string, a ...any) {
	l.to.Error("badger: " + strings.TrimSpace(fmt.Sprintf(f, a...)))
}

func (l logger) Warningf(f string, a ...any) {
	l.to.Warn("badger: " + strings.TrimSpace(fmt.Sprintf(f, a...)))
}
func (l logger) Infof(string, ...any)  {}
func (l logger) Debugf(string, ...any) {}
