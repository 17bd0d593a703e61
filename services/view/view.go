// Package view holds the projections: rows derived from the log and nothing else,
// each in one file with its key layout, its Apply and its queries. A row holds what a
// list or a sum needs and what the streams don't give in one read; whatever can be
// loaded from a stream by its id has no row.
//
// Keys are text segments between zero bytes, the first naming the table; ids are
// [a-z0-9_-], so no segment holds a zero byte and no key is another's prefix. Values
// are written by row and read by fields, in this package only.
package view

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"

	"seamshare.example/eventstore"
)

// All lists every view there is.
func All() []eventstore.View {
	return append([]eventstore.View{Members{}, Parcels{}, Stones{}, Orders{}, Yields{}, Selling{}, Shares{}, Register{}, Payouts{}, Exceptions{}, Lots{}, Decisions{}}, raised()...)
}

// MaxPage bounds the page that a list gives.
const MaxPage = 200

// present is the value of a row whose key says it all. It isn't empty, so that no
// store has to tell an empty value from none.
var present = []byte{1}

func key(segments ...string) []byte { return []byte(strings.Join(segments, "\x00")) }

// table is the prefix of all keys that begin with these segments.
func table(segments ...string) []byte { return append(key(segments...), 0) }

// placeOf is a position as a key segment: segments then sort as positions do.
func placeOf(p eventstore.Position) string { return fmt.Sprintf("%016x", uint64(p)) }

// page gives fn the last segments and values of the keys under prefix that follow the
// segment after (empty: from the start), at most limit. next is the segment to go on
// after, empty at the end. An error of fn ends it.
func page(r eventstore.Reader, prefix []byte, after string, limit int, fn func(segment string, value []byte) error) (next string, err error) {
	var start []byte
	if after != "" {
		start = append(append(append([]byte(nil), prefix...), after...), 0)
	}
	limit = max(1, min(limit, MaxPage))
	type found struct {
		segment string
		value   []byte
	}
	var rows []found
	more := false
	err = r.Scan(prefix, start, false, func(k, value []byte) bool {
		if more = len(rows) == limit; !more {
			rows = append(rows, found{string(k[len(prefix):]), value})
		}
		return !more
	})
	if err != nil {
		return "", err
	}
	for _, row := range rows { // after the scan, since fn may read other rows
		if err := fn(row.segment, row.value); err != nil {
			return "", err
		}
	}
	if more {
		next = rows[len(rows)-1].segment
	}
	return next, nil
}

// ids is a page of bare ids.
func ids(r eventstore.Reader, prefix []byte, after string, limit int) (found []string, next string, err error) {
	next, err = page(r, prefix, after, limit, func(id string, _ []byte) error {
		found = append(found, id)
		return nil
	})
	return found, next, err
}

// unexpected is the error of Apply where the log says something that the decisions
// never let happen.
func unexpected(view string, event proto.Message, format string, args ...any) error {
	return fmt.Errorf("view %s can't follow a %s: %s", view, event.ProtoReflect().Descriptor().FullName(), fmt.Sprintf(format, args...))
}
