package eventstore

import (
	"bytes"
	"fmt"
	"strings"

	"github.com/hashicorp/golang-lru/v2/simplelru"
	"github.com/tidwall/btree"
)

// overlay collects the changes of a batch above a snapshot, so that each row is
// written to the store once, however many decisions touched it. One goroutine
// uses it.
type overlay struct {
	base  Reader
	cache *simplelru.LRU[string, []byte] // rows as the store has them; nil: none
	dirty btree.Map[string, []byte]      // nil value: deleted
	undo  []undone
	bytes int // of dirty's keys and values
	scans int // that are going on
}

// undone is a row as it was in dirty before a change.
type undone struct {
	key   string
	value []byte
	was   bool
}

func (o *overlay) Get(key []byte) ([]byte, error) {
	if v, ok := o.dirty.Get(string(key)); ok {
		return v, nil
	}
	if o.cache == nil {
		return o.base.Get(key)
	}
	if v, ok := o.cache.Get(string(key)); ok {
		return v, nil
	}
	v, err := o.base.Get(key)
	if err == nil && v != nil {
		o.cache.Add(string(key), v)
	}
	return v, err
}

func (o *overlay) Set(key, value []byte) {
	if value == nil {
		value = []byte{}
	}
	o.put(string(key), value)
}

func (o *overlay) Delete(key []byte) { o.put(string(key), nil) }

func (o *overlay) put(key string, value []byte) {
	if o.scans > 0 {
		panic("rows can't be changed while they are scanned")
	}
	old, was := o.dirty.Set(key, value)
	o.undo = append(o.undo, undone{key, old, was})
	o.bytes += len(value) - len(old)
	if !was {
		o.bytes += len(key)
	}
}

// keep makes all changes so far final; back takes those since the last keep
// away again.
func (o *overlay) keep() { o.undo = o.undo[:0] }

func (o *overlay) back() {
	for i := len(o.undo) - 1; i >= 0; i-- {
		u := o.undo[i]
		var now []byte
		if u.was {
			now, _ = o.dirty.Set(u.key, u.value)
		} else {
			now, _ = o.dirty.Delete(u.key)
			o.bytes -= len(u.key)
		}
		o.bytes += len(u.value) - len(now)
	}
	o.undo = o.undo[:0]
}

// Scan merges the changes with the rows below them.
func (o *overlay) Scan(prefix, start []byte, reverse bool, fn func(key, value []byte) bool) error {
	o.scans++
	defer func() { o.scans-- }()
	if end := after(prefix); reverse && end != nil && bytes.Compare(start, end) >= 0 {
		start = nil
	}
	dirty := o.dirty.Iter()
	var more bool
	step := dirty.Next
	// before tells whether key a comes before b in scan order.
	before := func(a string, b []byte) bool { return a < string(b) }
	switch {
	case !reverse:
		more = dirty.Seek(string(maxKey(prefix, start)))
	default:
		step = dirty.Prev
		before = func(a string, b []byte) bool { return a > string(b) }
		if start != nil {
			more = seekLast(&dirty, string(start))
		} else if end := after(prefix); end != nil {
			more = dirty.Seek(string(end))
			if more {
				more = dirty.Prev()
			} else {
				more = dirty.Last()
			}
		} else {
			more = dirty.Last()
		}
	}
	inside := func() bool { return more && strings.HasPrefix(dirty.Key(), string(prefix)) }
	stopped := false
	emit := func(key, value []byte) bool {
		stopped = !fn(key, value)
		return !stopped
	}
	err := o.base.Scan(prefix, start, reverse, func(key, value []byte) bool {
		for inside() && before(dirty.Key(), key) {
			k, v := dirty.Key(), dirty.Value()
			more = step()
			if v != nil && !emit([]byte(k), v) {
				return false
			}
		}
		if inside() && dirty.Key() == string(key) {
			value = dirty.Value()
			more = step()
			if value == nil {
				return true
			}
		}
		return emit(key, value)
	})
	for err == nil && !stopped && inside() {
		k, v := dirty.Key(), dirty.Value()
		more = step()
		if v != nil {
			emit([]byte(k), v)
		}
	}
	return err
}

// seekLast moves to the last key ≤ at.
func seekLast(it *btree.MapIter[string, []byte], at string) bool {
	if it.Seek(at) {
		return it.Key() == at || it.Prev()
	}
	return it.Last()
}

func maxKey(a, b []byte) []byte {
	if bytes.Compare(a, b) > 0 {
		return a
	}
	return b
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

// changes lists the rows to write, in key order.
func (o *overlay) changes() []Change {
	out := make([]Change, 0, o.dirty.Len())
	o.dirty.Scan(func(key string, value []byte) bool {
		out = append(out, Change{Key: []byte(key), Value: value})
		return true
	})
	return out
}

// settle puts the written rows into the cache.
func (o *overlay) settle() {
	if o.cache == nil {
		return
	}
	o.dirty.Scan(func(key string, value []byte) bool {
		switch {
		case value == nil:
			o.cache.Remove(key)
		case key[0] == tableView:
			o.cache.Add(key, value)
		}
		return true
	})
}

// prefixed reads the keys of one view below their prefix.
type prefixed struct {
	prefix []byte
	reader Reader
}

func (p prefixed) key(key []byte) []byte {
	return append(p.prefix[:len(p.prefix):len(p.prefix)], key...)
}

func (p prefixed) Get(key []byte) ([]byte, error) { return p.reader.Get(p.key(key)) }

func (p prefixed) Scan(prefix, start []byte, reverse bool, fn func(key, value []byte) bool) error {
	if start != nil {
		start = p.key(start)
	}
	return p.reader.Scan(p.key(prefix), start, reverse, func(key, value []byte) bool {
		return fn(key[len(p.prefix):], value)
	})
}

// Limits of one row: what a store takes in any case.
const (
	maxRowKey   = 1 << 10
	maxRowValue = 256 << 10
)

// viewRows is what a view writes through.
type viewRows struct {
	prefixed
	rows *overlay
	err  error // a row that was too long
}

func (v *viewRows) Set(key, value []byte) {
	if len(key) > maxRowKey || len(value) > maxRowValue {
		v.err = fmt.Errorf("%w: a row has a key of %d and a value of %d bytes, at most %d and %d are allowed",
			ErrTooBig, len(key), len(value), maxRowKey, maxRowValue)
		return
	}
	v.rows.Set(v.key(key), value)
}

func (v *viewRows) Delete(key []byte) { v.rows.Delete(v.key(key)) }
