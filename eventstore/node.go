package eventstore

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"time"
	"unicode/utf8"

	lru "github.com/hashicorp/golang-lru/v2"
	"github.com/hashicorp/golang-lru/v2/simplelru"

	"seamshare.example/eventstore/faultpoint"
	"seamshare.example/eventstore/merkle"
)

// Config is what a node is made of.
type Config struct {
	Coop  string // the co-op whose log this is
	Name  string // the node's name, for people
	Log   Log
	Store Store
	Codec Codec
	Views []View // of one name at most two versions: while the higher is built, the lower answers
	// Signer signs checkpoints here; nil where another node does.
	Signer *merkle.Signer
	// Free tells the free bytes where the stores write, and below MinFree nothing
	// is written. nil: no limit.
	Free    func() (uint64, error)
	MinFree uint64
	Clock   func() time.Time // nil: time.Now
	Logger  *slog.Logger
	// Fatal is called once, when storage failed: the process must end, for what
	// is on disk is no longer known.
	Fatal func(error)
	// Progress is called while the log is applied at the start.
	Progress func(done, total Sequence)
}

const (
	queueLength  = 8192
	cachedRows   = 200_000
	cachedStates = 50_000
)

// Node decides, records and answers for one co-operative. Its methods may be
// called from any goroutine.
type Node struct {
	coop, name string
	log        Log
	store      Store
	codec      Codec
	signer     *merkle.Signer
	clock      func() time.Time
	free       func() (uint64, error)
	minFree    uint64
	logger     *slog.Logger
	onFatal    func(error)
	allViews   []View
	progress   func(done, total Sequence)

	queue    chan *command
	incoming chan Message // from the follower, where there is one
	tip      atomic.Pointer[tip]
	trouble  atomic.Pointer[TroubleError]
	signed   atomic.Pointer[changed] // renewed with each signature
	seen     *lru.Cache[Stream, folded]

	// Owned by the writer goroutine (by Open before it runs).
	views    []*viewState
	states   *simplelru.LRU[Stream, folded]
	rowCache *simplelru.LRU[string, []byte]
	dropping [][]byte // prefixes of rows that no view needs any more
	carry    *command
	// exclusive: nobody else wrote to the log at the start, so it isn't followed.
	exclusive bool

	fatal  sync.Once
	halted chan struct{} // closed with the first trouble, or when the node is closed
	ended  chan struct{} // closed when the writer goroutine takes no more commands
	stop   context.CancelFunc
	done   sync.WaitGroup
}

// tip is how far the node is. The tree holds exactly the checkpoint's records.
type tip struct {
	Checkpoint
	tree *merkle.Tree
	changed
}

// changed is closed when the value it stands in was replaced.
type changed struct{ c chan struct{} }

func hit(point string) { faultpoint.Hit(point) }

// Open checks log and store against each other, applies what the store lacks
// and starts the node. A node that finds something wrong is opened all the
// same: it answers with its TroubleError until somebody has looked. An error is
// returned where not even that is possible.
func Open(ctx context.Context, cfg Config) (*Node, error) {
	n := &Node{
		coop: cfg.Coop, name: cfg.Name, log: cfg.Log, store: cfg.Store, codec: cfg.Codec, signer: cfg.Signer,
		clock: cfg.Clock, free: cfg.Free, minFree: cfg.MinFree, logger: cfg.Logger, allViews: cfg.Views, onFatal: cfg.Fatal, progress: cfg.Progress,
		queue: make(chan *command, queueLength), incoming: make(chan Message, 256),
		halted: make(chan struct{}), ended: make(chan struct{}),
	}
	if err := n.checkNames(cfg); err != nil {
		return nil, err
	}
	if n.clock == nil {
		n.clock = time.Now
	}
	if n.logger == nil {
		n.logger = slog.New(slog.DiscardHandler)
	}
	var err error
	if n.states, err = simplelru.NewLRU[Stream, folded](cachedStates, nil); err != nil {
		return nil, err
	}
	if n.rowCache, err = simplelru.NewLRU[string, []byte](cachedRows, nil); err != nil {
		return nil, err
	}
	if n.seen, err = lru.New[Stream, folded](cachedStates); err != nil {
		return nil, err
	}
	n.signed.Store(&changed{make(chan struct{})})
	n.tip.Store(&tip{Checkpoint: Checkpoint{Coop: n.coop}, tree: merkle.New(tiles{n.store}), changed: changed{make(chan struct{})}})

	run, stop := context.WithCancel(context.Background())
	n.stop = stop
	if err := n.start(ctx, run, cfg.Views); err != nil {
		var trouble *TroubleError
		if !errors.As(err, &trouble) {
			stop()
			n.done.Wait()
			return nil, err
		}
		n.report(trouble)
	}
	n.done.Go(func() { n.write(run) })
	if n.signer != nil {
		n.done.Go(func() { n.sign(run) })
	}
	if n.Trouble() == nil {
		n.done.Go(func() { n.scrub(run) })
	}
	return n, nil
}

var coopForm = regexp.MustCompile(`^[a-z0-9_-]{1,64}$`)

// checkNames refuses what could not be told apart, or stored, later.
func (n *Node) checkNames(cfg Config) error {
	if !coopForm.MatchString(cfg.Coop) {
		return fmt.Errorf("co-op id %q must match %s", cfg.Coop, coopForm)
	}
	if len(cfg.Name) > maxName || !utf8.ValidString(cfg.Name) {
		return fmt.Errorf("node name %.80q must be UTF-8 of at most %d bytes", cfg.Name, maxName)
	}
	for i, v := range cfg.Views {
		if v.Name() == "" || len(v.Name()) > maxName || strings.IndexByte(v.Name(), 0) >= 0 {
			return fmt.Errorf("view name %.80q must have 1 to %d bytes without NUL", v.Name(), maxName)
		}
		for _, o := range cfg.Views[:i] {
			if o.Name() == v.Name() && o.Version() == v.Version() {
				return fmt.Errorf("view %s version %d stands twice", v.Name(), v.Version())
			}
		}
	}
	return nil
}

// start brings the store level with the log.
func (n *Node) start(ctx, run context.Context, views []View) error {
	cp, err := n.openStore()
	if err != nil {
		return n.asTrouble("the store is damaged: set it aside, and it is rebuilt from the log", cp, err)
	}
	status, err := n.log.Status(ctx)
	if err != nil {
		if errors.Is(err, ErrNoLog) && cp.Sequence > 0 {
			return &TroubleError{Reason: "the log is missing, while the store holds a copy of it", Sequence: cp.Sequence, Position: cp.Position, Err: err}
		}
		return fmt.Errorf("couldn't ask the log how it stands: %w", err)
	}
	if err := n.checkLog(ctx, status, cp); err != nil {
		return err
	}
	if cp.LogCreated.IsZero() {
		cp.LogCreated, cp.Coop = status.Created, n.coop
		n.tip.Store(&tip{Checkpoint: cp, tree: n.tip.Load().tree, changed: changed{make(chan struct{})}})
	}
	if err := n.openViews(views); err != nil {
		return err
	}
	follower, err := n.log.Follow(run, cp.Sequence)
	if err != nil {
		return fmt.Errorf("couldn't follow the log: %w", err)
	}
	following, cancel := context.WithCancel(run)
	n.done.Go(func() {
		defer cancel()
		n.receive(following, follower)
	})
	if err := n.catchUp(ctx, status.Last); err != nil {
		cancel()
		return err
	}
	if n.exclusive = n.log.Exclusive(); n.exclusive {
		cancel() // nobody else writes: all that comes is our own
	}
	for !n.servable() {
		if err := n.buildStep(); err != nil {
			return err
		}
	}
	return n.checkSigned()
}

// openStore reads the checkpoint, checks that all commits up to it are there
// and builds the tree.
func (n *Node) openStore() (Checkpoint, error) {
	snapshot := n.store.Snapshot()
	defer snapshot.Close()
	row, err := snapshot.Get(checkpointKey)
	if err != nil || row == nil {
		return Checkpoint{}, err
	}
	cp, err := decodeCheckpoint(row)
	if err != nil {
		return cp, err
	}
	if cp.Coop != n.coop {
		return cp, fmt.Errorf("%w: the store belongs to co-op %q, this is %q", ErrCorrupt, cp.Coop, n.coop)
	}
	// A store that lost part of its rows has lost whole writes, and each write
	// has a row here.
	var count Sequence
	var bad error
	err = snapshot.Scan([]byte{tableCommit}, nil, false, func(_, value []byte) bool {
		count++
		at, err := decodeNumbers(value, 1)
		if err == nil && Sequence(at[0]) != count {
			err = fmt.Errorf("%w: commit %d is missing", ErrCorrupt, count)
		}
		bad = err
		return bad == nil
	})
	if err = errors.Join(err, bad); err != nil {
		return cp, err
	}
	if count != cp.Sequence {
		return cp, fmt.Errorf("%w: the checkpoint counts %d commits, %d are there", ErrCorrupt, cp.Sequence, count)
	}
	tree, err := n.openTree(snapshot, cp.Position)
	if err != nil {
		return cp, err
	}
	if tree.Root() != cp.Root {
		return cp, fmt.Errorf("%w: the tree's root is %v, the checkpoint says %v", ErrCorrupt, tree.Root(), cp.Root)
	}
	n.tip.Store(&tip{Checkpoint: cp, tree: tree, changed: changed{make(chan struct{})}})
	return cp, nil
}

// openTree builds the tree from its full tiles and the records after them.
func (n *Node) openTree(r Reader, size Position) (*merkle.Tree, error) {
	tail := make([]merkle.Hash, size%256)
	var leaf []byte
	for at := size; at > size-Position(len(tail)); {
		_, c, err := commitAt(r, n.coop, at)
		if err != nil {
			return nil, err
		}
		if c == nil {
			return nil, fmt.Errorf("%w: no commit holds position %d", ErrCorrupt, at)
		}
		authors := c.authors()
		for ; at >= Position(c.FirstPosition) && at > size-Position(len(tail)); at-- {
			s, err := openRecord(c.Records[at-Position(c.FirstPosition)])
			if err != nil {
				return nil, err
			}
			leaf = appendLeaf(leaf[:0], at, &s.Record, authors[at-Position(c.FirstPosition)])
			tail[at-(size-Position(len(tail)))-1] = merkle.LeafHash(leaf)
		}
	}
	tree, err := merkle.Open(uint64(size), tiles{n.store}, tail)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrCorrupt, err)
	}
	return tree, nil
}

// checkLog holds the log against the checkpoint: the same log, whole, at least
// as long, with the same bytes at its end.
func (n *Node) checkLog(ctx context.Context, status LogStatus, cp Checkpoint) error {
	trouble := func(format string, args ...any) error {
		return &TroubleError{Reason: fmt.Sprintf(format, args...), Sequence: cp.Sequence, Position: cp.Position}
	}
	switch {
	case len(status.Wrong) > 0:
		return trouble("the log has a wrong setting: %s", status.Wrong[0])
	case !cp.LogCreated.IsZero() && !status.Created.Equal(cp.LogCreated):
		return trouble("this is another log: it was created at %s, the store's was at %s",
			status.Created.Format(time.RFC3339Nano), cp.LogCreated.Format(time.RFC3339Nano))
	case status.Last > 0 && status.First != 1 || status.Messages != uint64(status.Last):
		return trouble("the log has lost commits: it holds %d, from %d to %d", status.Messages, status.First, status.Last)
	case status.Last < cp.Sequence:
		return trouble("the log ends at commit %d, the store holds %d", status.Last, cp.Sequence)
	case cp.Sequence == 0:
		return nil
	}
	m, err := n.log.Read(ctx, cp.Sequence)
	switch {
	case errors.Is(err, ErrCorrupt) || errors.Is(err, ErrNoMessage):
		return n.asTrouble("the log's commit at the checkpoint is damaged", cp, err)
	case err != nil:
		return fmt.Errorf("couldn't read commit %d from the log: %w", cp.Sequence, err)
	}
	snapshot := n.store.Snapshot()
	defer snapshot.Close()
	if err := sameMessage(snapshot, m); err != nil {
		return n.asTrouble("log and store disagree at the checkpoint", cp, err)
	}
	return nil
}

// checkSigned holds the tree against what the signer told the world last.
func (n *Node) checkSigned() error {
	if n.signer == nil {
		return nil
	}
	last, now := n.signer.Last(), n.tip.Load()
	if last.Size == 0 {
		return nil
	}
	if last.Size > uint64(now.Position) {
		return &TroubleError{
			Reason:   fmt.Sprintf("a checkpoint of %d records was signed, and only %d are here", last.Size, now.Position),
			Sequence: now.Sequence, Position: now.Position,
		}
	}
	root, err := now.tree.RootAt(last.Size)
	if err != nil || root != last.Root {
		return n.asTrouble(fmt.Sprintf("the records do not lead to the root that was signed for the first %d", last.Size), now.Checkpoint, err)
	}
	return nil
}

// asTrouble makes err a reason to stop work, unless the storage itself failed.
func (n *Node) asTrouble(reason string, cp Checkpoint, err error) error {
	if errors.Is(err, ErrIO) {
		return err
	}
	return &TroubleError{Reason: reason, Sequence: cp.Sequence, Position: cp.Position, Err: err}
}

func (n *Node) report(t *TroubleError) {
	if n.trouble.CompareAndSwap(nil, t) {
		close(n.halted)
		n.logger.Error("the node stops work", "reason", t.Reason, "error", t.Err, "sequence", t.Sequence, "position", t.Position)
	}
}

// Trouble is why the node refuses to work; nil: it works.
func (n *Node) Trouble() *TroubleError { return n.trouble.Load() }

// fail stops the node's work for good, for a reason in the log or the store.
// Any goroutine may call it.
func (n *Node) fail(err error) {
	var trouble *TroubleError
	if !errors.As(err, &trouble) {
		cp := n.tip.Load().Checkpoint
		reason := "the node met something that it can't go on from"
		if errors.Is(err, ErrIO) {
			reason = "the storage failed"
		}
		trouble = &TroubleError{Reason: reason, Sequence: cp.Sequence, Position: cp.Position, Err: err}
	}
	n.report(trouble)
	if errors.Is(err, ErrIO) && n.onFatal != nil {
		n.fatal.Do(func() { n.onFatal(err) })
	}
}

// noteDamage stops the node's work where a read of the store met bytes that are
// damaged, or newer than this program.
func (n *Node) noteDamage(err error) {
	var unknown *UnknownError
	if errors.Is(err, ErrIO) || errors.Is(err, ErrCorrupt) || errors.As(err, &unknown) {
		n.fail(n.asTrouble("the store can't be read", n.tip.Load().Checkpoint, err))
	}
}

// advance makes a written checkpoint the tip and wakes those who wait for it.
func (n *Node) advance(cp Checkpoint, tree *merkle.Tree) {
	old := n.tip.Swap(&tip{Checkpoint: cp, tree: tree, changed: changed{make(chan struct{})}})
	close(old.c)
}

// Checkpoint is how far the node is.
func (n *Node) Checkpoint() Checkpoint { return n.tip.Load().Checkpoint }

// Tree is the tree over all records at the tip: a value that never changes.
func (n *Node) Tree() *merkle.Tree { return n.tip.Load().tree }

// Coop is the co-op's id.
func (n *Node) Coop() string { return n.coop }

// Exclusive reports that no other node writes to this log.
func (n *Node) Exclusive() bool { return n.log.Exclusive() }

// Close stops the node. Commands under way are answered first, as far as their
// fate can be known. Log and store stay open: they are the caller's.
func (n *Node) Close() {
	n.stop()
	n.done.Wait()
	stopped := &TroubleError{
		Reason: "the node was stopped", Sequence: n.tip.Load().Sequence, Position: n.tip.Load().Position, Err: ErrClosed,
	}
	if n.trouble.CompareAndSwap(nil, stopped) {
		close(n.halted)
	}
}

// tiles reads the tree's full tiles from the store.
type tiles struct{ store Store }

func (t tiles) ReadTile(level int, index uint64) ([]byte, error) {
	snapshot := t.store.Snapshot()
	defer snapshot.Close()
	data, err := snapshot.Get(tileKey(level, index))
	if err == nil && data == nil {
		err = fmt.Errorf("%w: tile is missing", ErrCorrupt)
	}
	return data, err
}
