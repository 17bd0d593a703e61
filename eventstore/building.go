package eventstore

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"runtime/debug"
	"slices"
)

// viewState is one version of a view in the store. The writer goroutine owns it.
type viewState struct {
	View
	prefix  []byte
	live    bool     // it holds all records up to the tip, and each new one is applied
	serving bool     // queries read it
	upTo    Position // while it is built: the last record it holds
	rows    viewRows // what apply gives the view; here, as most records change nothing and each would cost an allocation
}

func newViewState(v View) *viewState {
	return &viewState{View: v, prefix: viewPrefix(v.Name(), v.Version())}
}

// apply keeps a mistake in a view from taking the process down.
func (v *viewState) apply(rows *overlay, r Record) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic: %v\n%s", p, debug.Stack())
		}
		if err != nil {
			err = fmt.Errorf("view %s version %d: %w", v.Name(), v.Version(), err)
		}
	}()
	v.rows = viewRows{prefixed: prefixed{v.prefix, rows}, rows: rows}
	return errors.Join(v.Apply(&v.rows, r), v.rows.err)
}

// What the store says of a view's versions, in table w:
//
//	name 0           the serving version
//	name 0 version   0 while live, else 1 + the last position it holds
//
// A version that stands there and that this program does not know is old: its
// rows are dropped, and with the first drop its entry, so that no program takes
// it for complete again.

func servingKey(name string) []byte { return append([]byte{tableViewState}, name...) }

// openViews finds out which versions the store has. What is not there is built;
// what this program no longer knows is dropped.
func (n *Node) openViews(views []View) error {
	snapshot := n.store.Snapshot()
	defer snapshot.Close()
	var all []*viewState
	for _, v := range views {
		state := newViewState(v)
		row, err := snapshot.Get(viewStateKey(v.Name(), v.Version()))
		if err != nil {
			return err
		}
		switch {
		case row == nil && n.tip.Load().Sequence == 0:
			state.live = true
		case row == nil:
		default:
			at, err := decodeNumbers(row, 1)
			if err != nil {
				return fmt.Errorf("state of view %s: %w", v.Name(), err)
			}
			if state.live = at[0] == 0; !state.live {
				state.upTo = Position(at[0] - 1)
			}
		}
		all = append(all, state)
	}
	var first []Change
	for _, v := range all {
		newer := slices.IndexFunc(all, func(o *viewState) bool { return o.Name() == v.Name() && o.Version() > v.Version() })
		if newer >= 0 && (!v.live || all[newer].live) {
			continue // an older version is of use only while it is complete and the newer isn't
		}
		n.views = append(n.views, v)
		if v.serving = v.live; v.live {
			first = append(first,
				Change{viewStateKey(v.Name(), v.Version()), encodeNumbers(0)},
				Change{servingKey(v.Name()), encodeNumbers(uint64(v.Version()))})
		}
	}
	drop, err := n.strangers(snapshot)
	if err != nil {
		return err
	}
	for _, key := range drop {
		first = append(first, Change{Key: key})
	}
	if len(first) > 0 {
		if err := n.store.Write(first); err != nil {
			return fmt.Errorf("%w: couldn't write the views' states: %w", ErrIO, err)
		}
	}
	return n.findOldRows(snapshot)
}

// strangers lists the entries of views and versions that this node does not have.
func (n *Node) strangers(r Reader) (drop [][]byte, err error) {
	err = r.Scan([]byte{tableViewState}, nil, false, func(key, _ []byte) bool {
		if !slices.ContainsFunc(n.views, func(v *viewState) bool {
			return bytes.Equal(key, viewStateKey(v.Name(), v.Version())) || bytes.Equal(key, servingKey(v.Name()))
		}) {
			drop = append(drop, key)
		}
		return true
	})
	return drop, err
}

// findOldRows finds the versions that have rows and that no view here goes on
// with: unknown ones, and those whose rows were being deleted when the program
// ended. What a new version of the same number would find there must be gone
// first; the rest goes little by little.
func (n *Node) findOldRows(r Reader) error {
	for start := []byte{tableView}; start != nil; {
		var prefix []byte
		var bad error
		err := r.Scan([]byte{tableView}, start, false, func(key, _ []byte) bool {
			end := bytes.IndexByte(key, 0) + 5
			if end < 5 || end > len(key) {
				bad = fmt.Errorf("%w: row of no view: %q", ErrCorrupt, key)
				return false
			}
			prefix = key[:end:end]
			return false
		})
		if err := errors.Join(err, bad); err != nil || prefix == nil {
			return err
		}
		i := slices.IndexFunc(n.views, func(v *viewState) bool { return bytes.Equal(v.prefix, prefix) })
		switch {
		case i < 0:
			n.dropping = append(n.dropping, prefix)
		case !n.views[i].live && n.views[i].upTo == 0:
			for more := true; more; {
				if more, err = n.dropSome(prefix); err != nil {
					return err
				}
			}
		}
		start = after(prefix)
	}
	return nil
}

// dropSome deletes rows below a prefix and tells whether there may be more.
func (n *Node) dropSome(prefix []byte) (more bool, err error) {
	var gone []Change
	snapshot := n.store.Snapshot()
	defer snapshot.Close()
	err = snapshot.Scan(prefix, nil, false, func(key, _ []byte) bool {
		gone = append(gone, Change{Key: key})
		return len(gone) < 1000
	})
	if err != nil || len(gone) == 0 {
		return false, err
	}
	if err := n.store.Write(gone); err != nil {
		return false, fmt.Errorf("%w: couldn't delete old view rows: %w", ErrIO, err)
	}
	return true, nil
}

// unbuilt reports that views are being built, or old rows deleted.
func (n *Node) unbuilt() bool { return n.building() != nil || len(n.dropping) > 0 }

// building is the first view that is being built, nil where none is.
func (n *Node) building() *viewState {
	for _, v := range n.views {
		if !v.live {
			return v
		}
	}
	return nil
}

// servable reports that each view's name has a version that answers.
func (n *Node) servable() bool {
	for _, v := range n.views {
		if !slices.ContainsFunc(n.views, func(o *viewState) bool { return o.serving && o.Name() == v.Name() }) {
			return false
		}
	}
	return true
}

// buildRecords is how many records one step of a build applies at least; the
// commands that come meanwhile wait for one step.
const buildRecords = 256

// buildStep applies the next commits to the view being built. The step that
// brings it to the tip switches queries over to it; the rows of the version it
// replaces are deleted by the steps after. A crash between steps goes on from the
// last one.
func (n *Node) buildStep() error {
	v := n.building()
	if v == nil {
		more, err := n.dropSome(n.dropping[0])
		if err == nil && !more {
			n.dropping = n.dropping[1:]
		}
		return err
	}
	b := n.newBatch()
	defer b.close()
	start := v.upTo
	for v.upTo < b.tip.Position && v.upTo < start+buildRecords && b.rows.bytes < followBytes {
		seq, c, err := commitAt(b.snapshot, n.coop, v.upTo+1)
		if err != nil {
			return n.asTrouble("couldn't build view "+v.Name(), b.tip, err)
		}
		if c == nil {
			return &TroubleError{Reason: fmt.Sprintf("no commit holds position %d", v.upTo+1), Position: v.upTo}
		}
		records, _, err := c.recordsOf(n.codec, seq)
		if err != nil {
			return n.asTrouble("couldn't build view "+v.Name(), b.tip, err)
		}
		for _, r := range records {
			if err := v.apply(b.rows, r); err != nil {
				return n.asTrouble("couldn't build view", b.tip, err)
			}
		}
		v.upTo = c.last()
	}
	state := uint64(v.upTo) + 1
	var old *viewState
	if v.upTo == b.tip.Position {
		state = 0
		for _, o := range n.views {
			if o.serving && o.Name() == v.Name() && o.Version() < v.Version() {
				old = o
			}
		}
		b.rows.Set(servingKey(v.Name()), encodeNumbers(uint64(v.Version())))
		if old != nil {
			b.rows.Delete(viewStateKey(old.Name(), old.Version()))
		}
	}
	b.rows.Set(viewStateKey(v.Name(), v.Version()), encodeNumbers(state))
	if err := n.store.Write(b.rows.changes()); err != nil {
		return fmt.Errorf("%w: couldn't write view %s: %w", ErrIO, v.Name(), err)
	}
	b.rows.settle()
	if state != 0 {
		return nil
	}
	v.live, v.serving = true, true
	n.logger.Info("view is built", "view", v.Name(), "version", v.Version(), "position", v.upTo)
	if old == nil {
		return nil
	}
	n.views = slices.DeleteFunc(n.views, func(o *viewState) bool { return o == old })
	n.rowCache.Purge()
	n.dropping = append(n.dropping, old.prefix)
	return nil
}

// ViewStatus is how far a version of a view is.
type ViewStatus struct {
	Name     string
	Version  uint32
	Position Position
	Serving  bool
}

// viewStatuses reads the views' states from a snapshot.
func viewStatuses(r Reader, at Position) (out []ViewStatus, err error) {
	serving := map[string]uint64{}
	err = r.Scan([]byte{tableViewState}, nil, false, func(key, value []byte) bool {
		name, version, isVersion := bytes.Cut(key[1:], []byte{0})
		n, e := decodeNumbers(value, 1)
		if e != nil {
			err = e
			return false
		}
		if !isVersion {
			serving[string(name)] = n[0]
			return true
		}
		s := ViewStatus{Name: string(name), Version: binary.BigEndian.Uint32(version), Position: at}
		if n[0] > 0 {
			s.Position = Position(n[0] - 1)
		}
		s.Serving = serving[s.Name] == uint64(s.Version)
		out = append(out, s)
		return true
	})
	return out, err
}
