package view

import (
	"encoding/binary"
	"fmt"
	"math"

	"seamshare.example/eventstore"
)

// row builds the value of a row: its fields in a fixed order, numbers as varints,
// text and lists with their length before them. The order is the format: another one
// is another version of the view. Only functions that stand beside the writer of the
// same row call read: FuzzRows writes again what each of them reads.
type row []byte

func (r row) num(v uint64) row  { return binary.AppendUvarint(r, v) }
func (r row) int(v int64) row   { return binary.AppendVarint(r, v) }
func (r row) text(s string) row { return append(r.num(uint64(len(s))), s...) }
func (r row) count(n int) row   { return r.num(uint64(n)) }
func (r row) texts(list []string) row {
	r = r.count(len(list))
	for _, s := range list {
		r = r.text(s)
	}
	return r
}

func (r row) flag(set bool) row {
	if set {
		return r.num(1)
	}
	return r.num(0)
}

// fields reads a row in the order in which it was written. After a field that can't
// be read all are zero, and done tells.
type fields struct {
	rest  []byte
	wrong bool
}

func read(value []byte) *fields { return &fields{rest: value} }

func (f *fields) fail() { f.rest, f.wrong = nil, true }

func (f *fields) num() uint64 {
	v, n := binary.Uvarint(f.rest)
	// There is one way to write a number: a last byte of 0 says nothing.
	if n <= 0 || n > 1 && f.rest[n-1] == 0 {
		f.fail()
		return 0
	}
	f.rest = f.rest[n:]
	return v
}

func (f *fields) int() int64 {
	v := f.num()
	n := int64(v >> 1)
	if v&1 != 0 {
		n = ^n
	}
	return n
}

func (f *fields) flag() bool {
	v := f.num()
	if v > 1 {
		f.fail()
	}
	return v == 1 && !f.wrong
}

func (f *fields) text() string {
	n := f.num()
	if n > uint64(len(f.rest)) {
		f.fail()
		return ""
	}
	text := string(f.rest[:n])
	f.rest = f.rest[n:]
	return text
}

// count is the length of a list whose items take at least one byte each.
func (f *fields) count() int {
	n := f.num()
	if n > uint64(len(f.rest)) {
		f.fail()
		return 0
	}
	return int(n)
}

func (f *fields) texts() (list []string) {
	for range f.count() {
		list = append(list, f.text())
	}
	return list
}

// done ends a row: all of it was read, and nothing is left.
func (f *fields) done(view, what string) error {
	if f.wrong || len(f.rest) > 0 {
		return fmt.Errorf("%w: view %s has a row that isn't a %s", eventstore.ErrCorrupt, view, what)
	}
	return nil
}

// readText, readInt and readNum read rows that hold one thing; no row is none of it.

func readText(view, what string, value []byte) (string, error) {
	if value == nil {
		return "", nil
	}
	f := read(value)
	text := f.text()
	return text, f.done(view, what)
}

func readInt(view, what string, value []byte) (int64, error) {
	if value == nil {
		return 0, nil
	}
	f := read(value)
	n := f.int()
	return n, f.done(view, what)
}

func readNum(view, what string, value []byte) (uint64, error) {
	if value == nil {
		return 0, nil
	}
	f := read(value)
	n := f.num()
	return n, f.done(view, what)
}

// code is a number of an enum.
func (f *fields) code() int32 {
	v := f.num()
	if v > math.MaxInt32 {
		f.fail()
		return 0
	}
	return int32(v)
}
