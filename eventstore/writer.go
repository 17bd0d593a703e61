package eventstore

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"time"
)

// command is a decision that waits for the writer.
type command struct {
	req  Request
	fn   func(*Tx) error
	done chan result // one place, so that the writer never waits
	// state tells who may still give up: the caller while it waits, nobody once
	// the writer has taken it.
	state atomic.Int32
}

const (
	waiting int32 = iota
	taken
	abandoned
)

type result struct {
	outcome Outcome
	err     error
}

// Decide runs fn at the tip of the log and commits what it records, all or
// nothing. fn sees what the decisions before it recorded; it may run more than
// once, must be quick, and has no effect but through its Tx.
//
// An error of fn comes back as it is: a refusal, which stores nothing. The same
// request id again gives the first outcome, however the state has changed.
// When ctx ends after the writer took the command, the answer is
// ErrOutcomeUnknown.
func (n *Node) Decide(ctx context.Context, req Request, fn func(*Tx) error) (Outcome, error) {
	if err := n.await(ctx, req.MinPosition); err != nil {
		return Outcome{}, err
	}
	c := &command{req: req, fn: fn, done: make(chan result, 1)}
	select {
	case n.queue <- c:
	default:
		return Outcome{}, ErrBusy
	}
	select {
	case r := <-c.done:
		return r.outcome, r.err
	case <-ctx.Done():
	case <-n.ended:
	}
	if c.state.CompareAndSwap(waiting, abandoned) {
		if err := ctx.Err(); err != nil {
			return Outcome{}, fmt.Errorf("the command was not begun: %w", err)
		}
		return Outcome{}, ErrClosed
	}
	select {
	case r := <-c.done:
		return r.outcome, r.err
	default:
		return Outcome{}, ErrOutcomeUnknown
	}
}

// Waiting is how many commands wait for the writer.
func (n *Node) Waiting() int { return len(n.queue) }

// await waits until the node has reached a position.
func (n *Node) await(ctx context.Context, p Position) error {
	for {
		if t := n.Trouble(); t != nil {
			return t
		}
		at := n.tip.Load()
		if at.Position >= p {
			return nil
		}
		select {
		case <-at.c:
		case <-n.halted:
		case <-ctx.Done():
			return fmt.Errorf("%w: %d, it is at %d", ErrAhead, p, at.Position)
		}
	}
}

// write is the writer goroutine: the only one that changes the store.
func (n *Node) write(ctx context.Context) {
	defer n.refuseAll()
	for ctx.Err() == nil {
		if c := n.carry; c != nil {
			n.carry = nil
			n.work(ctx, []*command{c})
			continue
		}
		// Where space is low, what comes from the log and what is to be built
		// waits for room; commands are refused meanwhile.
		incoming, again := n.incoming, (<-chan time.Time)(nil)
		low, _ := n.diskIsLow() // an error shows with the next command
		if low {
			incoming, again = nil, time.After(time.Second)
		}
		idle := (<-chan time.Time)(nil)
		if !low && n.Trouble() == nil && n.unbuilt() {
			ready := make(chan time.Time)
			close(ready)
			idle = ready
		}
		select {
		case <-ctx.Done():
			return
		case c := <-n.queue:
			if c.state.CompareAndSwap(waiting, taken) {
				n.work(ctx, []*command{c})
			}
		case m := <-incoming:
			if err := n.followFrom(m); err != nil {
				n.fail(err)
			}
		case <-again:
		case <-idle:
			if err := n.buildStep(); err != nil {
				n.fail(err)
			}
		}
	}
}

// refuseAll answers the commands that no one will decide any more.
func (n *Node) refuseAll() {
	close(n.ended) // a command that comes now finds out by itself
	if n.carry != nil {
		n.carry.done <- result{err: ErrClosed}
	}
	for {
		select {
		case c := <-n.queue:
			c.done <- result{err: ErrClosed}
		default:
			return
		}
	}
}

func answer(cmds []*command, results []result) {
	for i, c := range cmds {
		c.done <- results[i]
	}
}

func answerAll(cmds []*command, err error) {
	for _, c := range cmds {
		c.done <- result{err: err}
	}
}

// CheckSpace is ErrLowDisk where nothing is written because space is low: for those who
// write files of their own beside the stores.
func (n *Node) CheckSpace() error {
	if low, err := n.diskIsLow(); low || err != nil {
		return errors.Join(ErrLowDisk, err)
	}
	return nil
}

// work decides the commands, and those that come meanwhile, as one commit. It
// answers each once its fate is known.
func (n *Node) work(ctx context.Context, cmds []*command) {
	if t := n.Trouble(); t != nil {
		answerAll(cmds, t)
		return
	}
	if err := n.CheckSpace(); err != nil {
		answerAll(cmds, err)
		return
	}
	more := true // only the first try takes more commands
	for {
		b := n.newBatch()
		var results []result
		cmds, results = n.decideAll(b, cmds, more)
		more = false
		hit("after-decide")
		again, err := n.settle(ctx, b, results)
		b.close()
		if err != nil {
			answerAll(cmds, n.giveUp(ctx, b, err))
			return
		}
		if !again {
			answer(cmds, results)
			return
		}
	}
}

// giveUp stops the node where err is a reason to, and says what to tell those
// whose commands it met.
func (n *Node) giveUp(ctx context.Context, b *batch, err error) error {
	stopping := ctx.Err() != nil
	switch {
	case errors.Is(err, ErrLowDisk):
		return err
	case !stopping || errors.Is(err, ErrIO):
		n.fail(err)
	}
	switch {
	case b.doubt:
		return ErrOutcomeUnknown
	case stopping:
		return ErrClosed
	}
	return n.Trouble()
}

// maxBatch bounds the commands that are answered together, refusals included.
const maxBatch = 4096

// decideAll runs the commands' decisions in the batch, and those of commands
// that are waiting, until the commit is full.
func (n *Node) decideAll(b *batch, cmds []*command, more bool) ([]*command, []result) {
	results := make([]result, 0, len(cmds))
	for i := 0; ; i++ {
		if i == len(cmds) {
			if !more || i == maxBatch {
				return cmds, results
			}
			c := n.next()
			if c == nil {
				return cmds, results
			}
			cmds = append(cmds, c)
		}
		outcome, err := b.decide(cmds[i].req, cmds[i].fn)
		if errors.Is(err, errFull) {
			// Only the last one can meet this: on a second try the same
			// commands take no more room than before, or the state has changed
			// and the rest must wait.
			for _, c := range cmds[i:] {
				n.postpone(c)
			}
			return cmds[:i], results
		}
		results = append(results, result{outcome, err})
	}
}

// postpone keeps a command for the next commit.
func (n *Node) postpone(c *command) {
	if n.carry == nil {
		n.carry = c
		return
	}
	select {
	case n.queue <- c:
		c.state.Store(waiting)
	default:
		c.done <- result{err: ErrBusy}
	}
}

// next takes a waiting command, nil where none waits.
func (n *Node) next() *command {
	for {
		select {
		case c := <-n.queue:
			if c.state.CompareAndSwap(waiting, taken) {
				return c
			}
		default:
			return nil
		}
	}
}

// settle makes a batch's results true: it publishes the commit and applies it.
// It reports that the commands must be decided again, as another node wrote
// first.
func (n *Node) settle(ctx context.Context, b *batch, results []result) (again bool, err error) {
	if b.commit == nil {
		return n.confirm(ctx, b, results)
	}
	if err := b.commit.seal(); err != nil {
		return false, err
	}
	if len(b.commit.data) > MaxCommitBytes {
		return false, fmt.Errorf("commit has %d bytes, at most %d are allowed", len(b.commit.data), MaxCommitBytes)
	}
	b.doubt = true
	stored, err := n.publish(ctx, b)
	if err != nil {
		return false, err
	}
	if !stored {
		b.doubt = false
		return true, n.catchUpToLog(ctx)
	}
	hit("after-publish")
	b.derive(b.commit, b.tip.Sequence, b.order)
	return false, b.finish()
}

// confirm makes sure that refusals hold at the log's end, not only at ours,
// where another node may have written meanwhile.
func (n *Node) confirm(ctx context.Context, b *batch, results []result) (again bool, err error) {
	refused := false
	for _, r := range results {
		// What repeats an earlier request does not depend on the log's end.
		refused = refused || !r.outcome.Repeated && !errors.Is(r.err, ErrRequestReused)
	}
	if !refused || n.log.Exclusive() {
		return false, nil
	}
	var status LogStatus
	if err := n.insist(ctx, func() (err error) { status, err = n.log.Status(ctx); return err }); err != nil {
		return false, err
	}
	if status.Last == b.tip.Sequence {
		return false, nil
	}
	return true, n.catchUpToLog(ctx)
}

// insist asks the log until it answers, or has nothing more to say.
func (n *Node) insist(ctx context.Context, ask func() error) error {
	for {
		err := ask()
		var trouble *TroubleError
		switch {
		case err == nil || errors.As(err, &trouble) || errors.Is(err, ErrIO):
			return err
		case errors.Is(err, ErrNoLog):
			return n.asTrouble("the log is gone", n.tip.Load().Checkpoint, err)
		}
		n.logger.Warn("the log does not answer; it is asked again", "error", err)
		if err := pause(ctx, 50*time.Millisecond); err != nil {
			return err
		}
	}
}

// publish stores the commit in the log. It returns false when another commit
// stands in its place. As long as the outcome is unknown it repeats the same
// bytes with the same expectation: some message must come to stand there, and
// then it is known whose.
func (n *Node) publish(ctx context.Context, b *batch) (stored bool, err error) {
	expected := b.tip.Sequence - 1
	attempt, cancel := linger(ctx, publishGrace)
	defer cancel()
	doubt := false // an earlier try may still land
	for wait := 5 * time.Millisecond; ; wait = min(2*wait, time.Second) {
		hit("before-publish")
		err := n.log.Publish(attempt, expected, b.commit.id, b.commit.data)
		switch {
		case err == nil:
			return true, nil
		case errors.Is(err, ErrConflict):
			if stored, err = n.whose(attempt, b); err == nil {
				return stored, nil
			}
			var trouble *TroubleError
			if errors.As(err, &trouble) || errors.Is(err, ErrIO) {
				return false, err
			}
		case errors.Is(err, ErrNoSpace) && !doubt:
			b.doubt = false
			return false, fmt.Errorf("%w: %w", ErrLowDisk, err)
		case errors.Is(err, ErrRefused) && !doubt:
			b.doubt = false
			return false, n.asTrouble("the log refuses commits", n.tip.Load().Checkpoint, err)
		case errors.Is(err, ErrIO):
			return false, err
		case errors.Is(err, ErrNoLog):
			return false, n.asTrouble("the log is gone", n.tip.Load().Checkpoint, err)
		case errors.Is(err, ErrCorrupt):
			return false, n.asTrouble("the log does not count as it must", n.tip.Load().Checkpoint, err)
		default:
			doubt = true
		}
		n.logger.Warn("the outcome of a publish is unknown; it is repeated", "sequence", expected+1, "error", err)
		if err := pause(ctx, wait); err != nil {
			return false, err
		}
	}
}

// whose looks at the commit that stands where the batch's own should: is it the
// batch's own? An error that is neither trouble nor ErrIO is worth another try.
func (n *Node) whose(ctx context.Context, b *batch) (ours bool, err error) {
	m, err := n.log.Read(ctx, b.tip.Sequence)
	switch {
	case errors.Is(err, ErrNoMessage):
		// The log may have lost its end.
		cp := n.tip.Load().Checkpoint
		status, err := n.log.Status(ctx)
		if err == nil {
			err = n.checkLog(ctx, status, cp)
		}
		if err == nil {
			err = fmt.Errorf("the log ends at commit %d and conflicts with %d", status.Last, b.tip.Sequence)
		}
		return false, err
	case errors.Is(err, ErrCorrupt):
		return false, n.asTrouble("another commit that can't be read stands in the log", b.tip, err)
	case err != nil:
		return false, err
	}
	other, err := openCommit(m.Data, n.coop)
	if err != nil {
		return false, n.asTrouble("another commit that can't be read stands in the log", b.tip, err)
	}
	if other.id == b.commit.id && !bytes.Equal(m.Data, b.commit.data) {
		return false, n.asTrouble("the log changed a commit of this node", b.tip, ErrCorrupt)
	}
	return other.id == b.commit.id, nil
}

// publishGrace is how long a publish may still take when the node stops.
const publishGrace = 5 * time.Second

// linger gives a context that ends some time after ctx does.
func linger(ctx context.Context, grace time.Duration) (context.Context, context.CancelFunc) {
	out, cancel := context.WithCancel(context.WithoutCancel(ctx))
	stop := context.AfterFunc(ctx, func() {
		timer := time.NewTimer(grace)
		defer timer.Stop()
		select {
		case <-timer.C:
			cancel()
		case <-out.Done():
		}
	})
	return out, func() { stop(); cancel() }
}

// pause waits, or ends with ErrClosed when the node does.
func pause(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ErrClosed
	}
}

// receive hands the follower's messages to the writer.
func (n *Node) receive(ctx context.Context, f Follower) {
	defer f.Close()
	for {
		m, err := f.Next(ctx)
		if ctx.Err() != nil {
			return
		}
		if err != nil {
			n.fail(n.asTrouble("the log can't be followed", n.tip.Load().Checkpoint, err))
			return
		}
		select {
		case n.incoming <- m:
		case <-ctx.Done():
			return
		}
	}
}

// catchUpToLog applies all that the log has, after checking that it is still
// the log it was.
func (n *Node) catchUpToLog(ctx context.Context) error {
	var status LogStatus
	cp := n.tip.Load().Checkpoint
	err := n.insist(ctx, func() (err error) {
		if status, err = n.log.Status(ctx); err != nil {
			return err
		}
		return n.checkLog(ctx, status, cp)
	})
	if err != nil {
		return err
	}
	if n.exclusive {
		return n.asTrouble("someone else wrote to a log that is this node's alone", cp, nil)
	}
	return n.catchUp(ctx, status.Last)
}

// catchUp applies what the follower brings until the store holds the commit.
func (n *Node) catchUp(ctx context.Context, to Sequence) error {
	first := n.tip.Load().Sequence
	for n.tip.Load().Sequence < to {
		select {
		case m := <-n.incoming:
			if err := n.followFrom(m); err != nil {
				return err
			}
			if n.progress != nil {
				n.progress(n.tip.Load().Sequence-first, to-first)
			}
		case <-time.After(100 * time.Millisecond):
			if t := n.Trouble(); t != nil {
				return t
			}
			// A log that can't read a commit may pass over it without a word, and
			// after its last one nothing comes that would show the gap.
			at := n.tip.Load().Checkpoint
			at.Sequence++
			_, err := n.log.Read(ctx, at.Sequence)
			if errors.Is(err, ErrNoMessage) || errors.Is(err, ErrCorrupt) {
				return n.asTrouble("a commit can't be read from the log", at, err)
			}
		case <-ctx.Done():
			return fmt.Errorf("stopped while catching up with the log: %w", ctx.Err())
		}
	}
	return nil
}

// Bulk limits of one write while following.
const (
	followBytes   = 4 << 20
	followRecords = 10_000
)

// followFrom applies a message, and those that have come meanwhile, in one
// write.
func (n *Node) followFrom(m Message) error {
	if n.Trouble() != nil {
		return nil
	}
	b := n.newBatch()
	defer b.close()
	for {
		if m.Sequence > b.tip.Sequence { // else it was our own
			if err := b.follow(m); err != nil {
				at := b.tip
				at.Sequence++
				return n.asTrouble("a commit can't be applied", at, err)
			}
		}
		if b.rows.bytes > followBytes || len(b.leaves) > followRecords {
			break
		}
		select {
		case m = <-n.incoming:
			continue
		default:
		}
		break
	}
	if len(b.leaves) == 0 {
		return nil
	}
	return b.finish()
}

// diskIsLow asks for the free space.
func (n *Node) diskIsLow() (bool, error) {
	if n.free == nil {
		return false, nil
	}
	free, err := n.free()
	if err != nil {
		return false, fmt.Errorf("couldn't ask for free space: %w", err)
	}
	return free < n.minFree, nil
}
