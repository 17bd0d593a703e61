package view

import (
	"bytes"

	"seamshare.example/eventstore"
)

// newest reads a view's lists from their end.
type newest struct{ eventstore.Reader }

// Newest reads a view so that its lists come newest first: for who looks at a few of
// the last of many. Only lists that go page by page are read with it.
func Newest(r eventstore.Reader) eventstore.Reader { return newest{r} }

// Scan implements eventstore.Reader. A page goes on one byte behind the last key it
// gave; from the end it goes on before that key.
func (n newest) Scan(prefix, start []byte, reverse bool, fn func(key, value []byte) bool) error {
	last := bytes.TrimSuffix(start, []byte{0})
	return n.Reader.Scan(prefix, last, !reverse, func(k, value []byte) bool {
		if start != nil && bytes.Equal(k, last) {
			return true
		}
		return fn(k, value)
	})
}
