package eventstore

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"slices"
)

// viewState is one version of a view in the store. The writer goroutine owns it.
type viewState struct {
	View
	prefix  []byte
	live    bool     // it holds all records up to the tip, and each new one is applied
	serving bool     // queries read it
	upTo    Position // while it is built: the last record it holds
}

func newViewState(v View) *viewState {
	return &viewState{View: v, prefix: viewPrefix(v.Name(), v.Version())}
}

func (v *viewState) apply(rows *overlay, r Record) error {
	if err := v.Apply(viewRows{prefixed{v.prefix, rows}, rows}, r); err != nil {
		return fmt.Errorf("view %s version %d: %w", v.Name(), v.Version(), err)
	}
	return nil
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
	var first []Change
	for _, v := range views {
		state := newViewState(v)
		row, err := snapshot.Get(viewStateKey(v.Name(), v.Version()))
		if err != nil {
			return err
		}
		switch {
		case row == nil && n.tip.Load().Sequence == 0:
			state.live = true
			first = append(first, Change{viewStateKey(v.Name(), v.Version()), encodeNumbers(0)})
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
		n.views = append(n.views, state)
	}
	drop, err := n.strangers(snapshot)
	if err != nil {
		return err
	}
	// The highest live version of a name serves.
	for _, v := range n.views {
		v.serving = v.live && !slices.ContainsFunc(n.views, func(o *viewState) bool {
			return o.live && o.Name() == v.Name() && o.Version() > v.Version()
		})
		if v.serving {
			first = append(first, Change{servingKey(v.Name()), encodeNumbers(uint64(v.Version()))})
		}
	}
	for _, key := range drop {
		first = append(first, Change{Key: key})
	}
	if len(first) > 0 {
		if err := n.store.Write(first); err != nil {
			return fmt.Errorf("%w: couldn't write the views' states: %w", ErrIO, err)
		}
	}
	for _, key := range drop {
		if err := n.dropRows(append([]byte{tableView}, key[1:]...)); err != nil {
			return err
		}
	}
	return nil
}

// strangers lists the state keys of versions this program does not know.
func (n *Node) strangers(r Reader) (drop [][]byte, err error) {
	err = r.Scan([]byte{tableViewState}, nil, false, func(key, _ []byte) bool {
		if bytes.IndexByte(key, 0) < 0 {
			return true // a serving entry
		}
		if !slices.ContainsFunc(n.views, func(v *viewState) bool {
			return bytes.Equal(key, viewStateKey(v.Name(), v.Version()))
		}) {
			drop = append(drop, bytes.Clone(key))
		}
		return true
	})
	return drop, err
}

// dropRows deletes all rows below a prefix in small batches.
func (n *Node) dropRows(prefix []byte) error {
	for {
		var gone []Change
		snapshot := n.store.Snapshot()
		err := snapshot.Scan(prefix, nil, false, func(key, _ []byte) bool {
			gone = append(gone, Change{Key: bytes.Clone(key)})
			return len(gone) < 1000
		})
		snapshot.Close()
		if err != nil || len(gone) == 0 {
			return err
		}
		if err := n.store.Write(gone); err != nil {
			return fmt.Errorf("%w: couldn't delete old view rows: %w", ErrIO, err)
		}
	}
}

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
// brings it to the tip switches queries over to it and deletes the version it
// replaces. A crash between steps goes on from the last one.
func (n *Node) buildStep() error {
	v := n.building()
	b := n.newBatch()
	defer b.close()
	start := v.upTo
	for v.upTo < b.tip.Position && v.upTo < start+buildRecords {
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
	return n.dropRows(old.prefix)
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
