package storetest

import (
	"bytes"
	"fmt"
	"slices"
	"sort"
	"strings"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/eventstore"
)

// TestStore holds an implementation to the contract of eventstore.Store. create
// makes an empty store's place and returns what opens it, one at a time.
func TestStore(t *testing.T, create func(t *testing.T) (open func() eventstore.Store)) {
	set := func(key, value string) eventstore.Change {
		return eventstore.Change{Key: []byte(key), Value: append([]byte{}, value...)}
	}
	remove := func(key string) eventstore.Change { return eventstore.Change{Key: []byte(key)} }
	write := func(t *testing.T, s eventstore.Store, changes ...eventstore.Change) {
		t.Helper()
		if err := s.Write(changes); err != nil {
			t.Fatal(err)
		}
	}
	expect := func(t *testing.T, r eventstore.Reader, want map[string]string) {
		t.Helper()
		got := map[string]string{}
		err := r.Scan(nil, nil, false, func(key, value []byte) bool {
			got[string(key)] = string(value)
			return true
		})
		if err != nil || fmt.Sprint(got) != fmt.Sprint(want) {
			t.Fatalf("store holds %q, want %q (%v)", got, want, err)
		}
	}

	t.Run("OK: rows are set, replaced and deleted together", func(t *testing.T) {
		s := create(t)()
		write(t, s)
		write(t, s, set("a", "1"), set("b", "2"))
		write(t, s, set("a", "3"), remove("b"), remove("never there"), set("c", "4"))
		r := s.Snapshot()
		defer r.Close()
		expect(t, r, map[string]string{"a": "3", "c": "4"})
	})

	t.Run("OK: an empty value is not a missing one", func(t *testing.T) {
		s := create(t)()
		write(t, s, set("empty", ""))
		r := s.Snapshot()
		defer r.Close()
		if v, err := r.Get([]byte("empty")); v == nil || len(v) != 0 || err != nil {
			t.Fatalf("got %v, %v", v, err)
		}
		if v, err := r.Get([]byte("missing")); v != nil || err != nil {
			t.Fatalf("got %v, %v", v, err)
		}
		seen := false
		_ = r.Scan([]byte("empty"), nil, false, func(_, value []byte) bool {
			seen = true
			if value == nil {
				t.Error("scan passed a nil value")
			}
			return true
		})
		if !seen {
			t.Error("scan left the empty value out")
		}
	})

	t.Run("OK: a snapshot stays as it was", func(t *testing.T) {
		s := create(t)()
		write(t, s, set("a", "1"), set("b", "2"))
		before := s.Snapshot()
		defer before.Close()
		for i := range 50 {
			write(t, s, set("a", fmt.Sprint("later ", i)), remove("b"), set(fmt.Sprint("c", i), "x"))
		}
		expect(t, before, map[string]string{"a": "1", "b": "2"})
		if v, err := before.Get([]byte("b")); string(v) != "2" || err != nil {
			t.Fatalf("got %q, %v", v, err)
		}
	})

	t.Run("OK: what was read may be kept", func(t *testing.T) {
		s := create(t)()
		write(t, s, set("key1", "first"), set("key2", "second"))
		r := s.Snapshot()
		var keys, values [][]byte
		_ = r.Scan([]byte("key"), nil, false, func(key, value []byte) bool {
			keys, values = append(keys, key), append(values, value)
			return true
		})
		got, err := r.Get([]byte("key1"))
		r.Close()
		if err != nil {
			t.Fatal(err)
		}
		for i := range 20 {
			write(t, s, set("key1", fmt.Sprint("later", i)), set("key2", fmt.Sprint("later", i)))
		}
		if string(got) != "first" || string(bytes.Join(keys, nil)) != "key1key2" || string(bytes.Join(values, nil)) != "firstsecond" {
			t.Fatalf("kept %q, %q, %q", got, keys, values)
		}
	})

	t.Run("OK: the caller's slices are its own again", func(t *testing.T) {
		s := create(t)()
		key, value := []byte("key"), []byte("value")
		write(t, s, eventstore.Change{Key: key, Value: value})
		clear(key)
		clear(value)
		r := s.Snapshot()
		defer r.Close()
		expect(t, r, map[string]string{"key": "value"})
	})

	t.Run("OK: a snapshot serves many readers at once", func(t *testing.T) {
		s := create(t)()
		want := map[string]string{}
		for i := range 500 {
			key := fmt.Sprintf("k%03d", i)
			want[key] = fmt.Sprint(i)
			write(t, s, set(key, want[key]))
		}
		r := s.Snapshot()
		defer r.Close()
		var wg sync.WaitGroup
		for range 8 {
			wg.Go(func() {
				n := 0
				err := r.Scan([]byte("k"), nil, true, func(key, value []byte) bool {
					n++
					return want[string(key)] == string(value)
				})
				if n != len(want) || err != nil {
					t.Errorf("saw %d rows of %d, %v", n, len(want), err)
				}
			})
		}
		for i := range 50 {
			write(t, s, set("k000", fmt.Sprint("later", i)))
		}
		wg.Wait()
	})

	t.Run("OK: rows stay when the store is closed", func(t *testing.T) {
		open := create(t)
		s := open()
		write(t, s, set("a", "1"), set("b", ""), set("c", "3"))
		write(t, s, remove("c"))
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		s = open()
		r := s.Snapshot()
		defer r.Close()
		expect(t, r, map[string]string{"a": "1", "b": ""})
	})

	t.Run("OK: the largest write is taken whole", func(t *testing.T) {
		s := create(t)()
		var changes []eventstore.Change
		for i := range 50_000 {
			changes = append(changes, eventstore.Change{Key: fmt.Appendf(nil, "row %06d", i), Value: bytes.Repeat([]byte{byte(i)}, 100)})
		}
		write(t, s, changes...)
		r := s.Snapshot()
		defer r.Close()
		n := 0
		if err := r.Scan([]byte("row "), nil, false, func(_, _ []byte) bool { n++; return true }); n != 50_000 || err != nil {
			t.Fatalf("%d rows, %v", n, err)
		}
	})

	t.Run("OK: scans of any prefix and start, both ways, agree with a sorted list", func(t *testing.T) {
		s := create(t)()
		rapid.Check(t, func(rt *rapid.T) {
			// Each case has a corner of its own, between rows of others.
			clean(rt, s)
			rows := map[string]string{}
			var changes []eventstore.Change
			for _, key := range rapid.SliceOfN(oddKey(1), 0, 12).Draw(rt, "keys") {
				rows[key] = rapid.SampledFrom([]string{"", "x", "yy"}).Draw(rt, "value")
			}
			for key, value := range rows {
				changes = append(changes, set(key, value))
			}
			if err := s.Write(changes); err != nil {
				rt.Fatal(err)
			}
			r := s.Snapshot()
			defer r.Close()
			for range 8 {
				CheckScan(rt, r, rows)
			}
		})
	})
}

func clean(t rapid.TB, s eventstore.Store) {
	r := s.Snapshot()
	defer r.Close()
	var gone []eventstore.Change
	err := r.Scan(nil, nil, false, func(key, _ []byte) bool {
		gone = append(gone, eventstore.Change{Key: key})
		return true
	})
	if err == nil {
		err = s.Write(gone)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// oddKey draws keys that lie close together, with the bytes at both ends of the
// order.
func oddKey(least int) *rapid.Generator[string] {
	return rapid.Custom(func(t *rapid.T) string {
		return string(rapid.SliceOfN(rapid.SampledFrom([]byte{0, 1, 'a', 0xfe, 0xff}), least, 4).Draw(t, "key"))
	})
}

// CheckScan draws a scan and compares what r passes with what rows hold.
func CheckScan(t *rapid.T, r eventstore.Reader, rows map[string]string) {
	prefix := oddKey(0).Draw(t, "prefix")
	var start []byte
	if rapid.Bool().Draw(t, "with start") {
		start = []byte(oddKey(1).Draw(t, "start"))
	}
	reverse := rapid.Bool().Draw(t, "reverse")
	most := rapid.IntRange(1, 15).Draw(t, "most")

	var want []string
	for key := range rows {
		if strings.HasPrefix(key, prefix) && (start == nil || !reverse && key >= string(start) || reverse && key <= string(start)) {
			want = append(want, key)
		}
	}
	sort.Strings(want)
	if reverse {
		slices.Reverse(want)
	}
	want = want[:min(most, len(want))]
	var got []string
	err := r.Scan([]byte(prefix), start, reverse, func(key, value []byte) bool {
		if value == nil || string(value) != rows[string(key)] {
			t.Errorf("row %q has %q, want %q", key, value, rows[string(key)])
		}
		got = append(got, string(key))
		return len(got) < most
	})
	if err != nil || !slices.Equal(got, want) {
		t.Fatalf("scan of prefix %q from %q, reverse %v, at most %d: got %q, want %q (%v)", prefix, start, reverse, most, got, want, err)
	}
}
