package eventstore

import (
	"bytes"
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
	bytes int // of dirty keys and values, roughly
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
	old, was := o.dirty.Set(key, value)
	o.undo = append(o.undo, undone{key, old, was})
	o.bytes += len(key) + len(value)
}

// keep makes all changes so far final; back takes those since the last keep
// away again.
func (o *overlay) keep() { o.undo = o.undo[:0] }

func (o *overlay) back() {
	for i := len(o.undo) - 1; i >= 0; i-- {
		if u := o.undo[i]; u.was {
			o.dirty.Set(u.key, u.value)
		} else {
			o.dirty.Delete(u.key)
		}
	}
	o.undo = o.undo[:0]
}

// Scan merges the changes with the rows below them.
func (o *overlay) Scan(prefix, start []byte, reverse bool, fn func(key, value []byte) bool) error {
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

// viewRows is what a view writes through.
type viewRows struct {
	prefixed
	rows *overlay
}

func (v viewRows) Set(key, value []byte) { v.rows.Set(v.key(key), value) }
func (v viewRows) Delete(key []byte)     { v.rows.Delete(v.key(key)) }
