package eventstore

import (
	"bytes"
	"fmt"
	"os"
	"slices"
	"sort"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
)

// rowsReader is a Reader over a map.
type rowsReader map[string]string

func (r rowsReader) Get(key []byte) ([]byte, error) {
	if v, ok := r[string(key)]; ok {
		return []byte(v), nil
	}
	return nil, nil
}

func (r rowsReader) Scan(prefix, start []byte, reverse bool, fn func(key, value []byte) bool) error {
	for _, key := range r.keys(prefix, start, reverse) {
		if !fn([]byte(key), []byte(r[key])) {
			break
		}
	}
	return nil
}

func (r rowsReader) keys(prefix, start []byte, reverse bool) (keys []string) {
	for key := range r {
		if strings.HasPrefix(key, string(prefix)) && (start == nil || !reverse && key >= string(start) || reverse && key <= string(start)) {
			keys = append(keys, key)
		}
	}
	sort.Strings(keys)
	if reverse {
		slices.Reverse(keys)
	}
	return keys
}

func TestOverlay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		key := rapid.Custom(func(t *rapid.T) string {
			return string(rapid.SliceOfN(rapid.SampledFrom([]byte{0, 'a', 0xff}), 1, 3).Draw(t, "key"))
		})
		base := rowsReader{}
		for _, k := range rapid.SliceOfN(key, 0, 10).Draw(t, "base") {
			base[k] = "base"
		}
		o := &overlay{base: base}
		now, kept := rowsReader{}, rowsReader{} // what o should hold, now and at the last keep
		copyTo := func(to, from rowsReader) {
			clear(to)
			for k, v := range from {
				to[k] = v
			}
		}
		copyTo(now, base)
		copyTo(kept, base)
		t.Repeat(map[string]func(*rapid.T){
			"set": func(t *rapid.T) {
				k, v := key.Draw(t, "k"), rapid.SampledFrom([]string{"", "1", "22"}).Draw(t, "v")
				o.Set([]byte(k), []byte(v))
				now[k] = v
			},
			"delete": func(t *rapid.T) {
				k := key.Draw(t, "k")
				o.Delete([]byte(k))
				delete(now, k)
			},
			"keep": func(*rapid.T) { o.keep(); copyTo(kept, now) },
			"back": func(*rapid.T) { o.back(); copyTo(now, kept) },
			"get": func(t *rapid.T) {
				k := []byte(key.Draw(t, "k"))
				got, _ := o.Get(k)
				want, _ := now.Get(k)
				if !bytes.Equal(got, want) || (got == nil) != (want == nil) {
					t.Fatalf("%q holds %v, want %v", k, got, want)
				}
			},
			"scan": func(t *rapid.T) {
				prefix := []byte(rapid.OneOf(key, rapid.Just("")).Draw(t, "prefix"))
				var start []byte
				if rapid.Bool().Draw(t, "with start") {
					start = []byte(key.Draw(t, "start"))
				}
				reverse, most := rapid.Bool().Draw(t, "reverse"), rapid.IntRange(1, 12).Draw(t, "most")
				want := now.keys(prefix, start, reverse)
				want = want[:min(most, len(want))]
				var got []string
				_ = o.Scan(prefix, start, reverse, func(key, value []byte) bool {
					if string(value) != now[string(key)] || value == nil {
						t.Errorf("%q holds %v, want %q", key, value, now[string(key)])
					}
					got = append(got, string(key))
					return len(got) < most
				})
				if !slices.Equal(got, want) {
					t.Fatalf("prefix %q from %q, reverse %v: got %q, want %q", prefix, start, reverse, got, want)
				}
			},
			"": func(t *rapid.T) {
				size := 0
				for _, c := range o.changes() {
					size += len(c.Key) + len(c.Value)
				}
				if o.bytes != size {
					t.Fatalf("counts %d bytes, holds %d", o.bytes, size)
				}
			},
		})
		// What it would write leads from the base to what it should hold.
		got := rowsReader{}
		copyTo(got, base)
		for _, c := range o.changes() {
			if c.Value == nil {
				delete(got, string(c.Key))
			} else {
				got[string(c.Key)] = string(c.Value)
			}
		}
		if fmt.Sprint(got) != fmt.Sprint(now) {
			t.Fatalf("writes lead to %q, want %q", got, now)
		}
	})
}

func golden(f *testing.F, name string) []byte {
	data, err := os.ReadFile("testdata/" + name)
	if err != nil {
		f.Fatal(err)
	}
	return data
}

// FuzzOpenCommit: any bytes are a commit or an error, and the places of the
// records are where their bytes lie.
func FuzzOpenCommit(f *testing.F) {
	good := golden(f, "commit-v1.bin")
	f.Add(good)
	f.Add(good[:len(good)/2])
	f.Add([]byte{0x42, 0x01})
	codec := NewCodec(&stonev1.Event{})
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := openCommit(data, "two-fields")
		if err != nil {
			return
		}
		for i, s := range c.spans {
			if !bytes.Equal(data[s.offset:s.offset+s.length], c.Records[i]) {
				t.Fatalf("record %d does not lie at %+v", i, s)
			}
		}
		for i := range c.Decisions {
			if _, err := outcomeOf(&c.Commit, i, [32]byte{}); err != nil && err != ErrRequestReused {
				t.Fatal(err)
			}
		}
		if _, _, err := c.recordsOf(codec, 1); err != nil {
			return
		}
		// What we seal from it reads the same.
		again := &commit{id: c.id}
		proto.Merge(&again.Commit, &c.Commit)
		if err := again.seal(); err != nil {
			t.Fatal(err)
		}
		back, err := openCommit(again.data, "two-fields")
		if err != nil || !proto.Equal(&back.Commit, &c.Commit) || !slices.Equal(back.spans, again.spans) {
			t.Fatalf("sealed again it reads %v, %v", back, err)
		}
	})
}

// FuzzOpenRecord: any bytes are a record or an error, and an event that was read
// is written the same way.
func FuzzOpenRecord(f *testing.F) {
	f.Add(golden(f, "record-v1.bin"))
	f.Add([]byte{})
	codec := NewCodec(&stonev1.Event{})
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := openRecord(data)
		if err != nil {
			return
		}
		leaf := appendLeaf(nil, 1, &s.Record, author{})
		var read eventv1.Leaf
		if err := proto.Unmarshal(leaf, &read); err != nil || read.Type != s.Type || !bytes.Equal(read.Public, s.Public) {
			t.Fatalf("leaf %v, %v", &read, err)
		}
		r, err := s.record(codec, 1, 1)
		if err != nil {
			return
		}
		typ, public, private, err := codec.encode(r.Event)
		if err != nil || typ != s.Type {
			t.Fatalf("couldn't encode what was decoded: %v", err)
		}
		again, err := codec.Decode(typ, public, private)
		if err != nil || !proto.Equal(again, r.Event) {
			t.Fatalf("decoded again: %v, %v", again, err)
		}
	})
}

// FuzzRows: any bytes are a row of the store or an error.
func FuzzRows(f *testing.F) {
	f.Add(encodeNumbers(1, 2), "stone/a", "x")
	f.Add(place{1, 2, span{3, 4}}.encode(), "", "\x00")
	f.Add(Checkpoint{Sequence: 7, Position: 9, Coop: "two-fields"}.encode(), "a", "b")
	f.Fuzz(func(t *testing.T, data []byte, a, b string) {
		if n, err := decodeNumbers(data, 2); err == nil {
			if again, err := decodeNumbers(encodeNumbers(n...), 2); err != nil || !slices.Equal(n, again) {
				t.Fatalf("%v became %v, %v", n, again, err)
			}
		}
		if p, err := decodePlace(data); err == nil {
			if again, err := decodePlace(p.encode()); err != nil || again != p {
				t.Fatalf("%v became %v, %v", p, again, err)
			}
			// A place that leads nowhere is an error, whatever it says.
			store := rowsReader{string(messageKey(p.sequence, 0)): a}
			if out, err := readSpan(store, p.sequence, p.span); err == nil && len(out) != p.span.length {
				t.Fatalf("read %d bytes of %d", len(out), p.span.length)
			}
		}
		if c, err := decodeCheckpoint(data); err == nil {
			if again, err := decodeCheckpoint(c.encode()); err != nil || again != c {
				t.Fatalf("%+v became %+v, %v", c, again, err)
			}
		}
		// Keys of different things differ, and those of a prefix stay together.
		ra, rb := Request{Member: a, ID: b}, Request{Member: b, ID: a}
		if ra.check() == nil && rb.check() == nil && a != b && bytes.Equal(requestKey(a, b), requestKey(b, a)) {
			t.Fatalf("requests %q %q and %q %q have one key", a, b, b, a)
		}
		if end := after(data); end != nil && (bytes.Compare(end, data) <= 0 || bytes.HasPrefix(end, data)) {
			t.Fatalf("after %q comes %q", data, end)
		}
	})
}
