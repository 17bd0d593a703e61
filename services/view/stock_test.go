package view_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	approvalv1 "seamshare.example/proto/gen/seamshare/event/approval/v1"
	holdv1 "seamshare.example/proto/gen/seamshare/event/hold/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/view"
)

// counter is stones, as the domain folds them, and the book that follows them.
type counter struct {
	*book
	stones map[string]stone.State
}

func (c *counter) did(id string, e *stonev1.Event) {
	c.t.Helper()
	c.stoneEvent(id, e)
	c.stones[id] = stone.Evolve(c.stones[id], e)
}

func (c *counter) finish(id string, f *stonev1.Finished_Public) {
	c.t.Helper()
	f.StoneId, f.CutterId = id, "wetwheel"
	c.did(id, &stonev1.Event{Event: &stonev1.Event_Finished{Finished: &stonev1.Finished{Public: f}}})
}

func (c *counter) offer(id string, price int64, kind stonev1.SetKind) {
	c.t.Helper()
	c.did(id, &stonev1.Event{Event: &stonev1.Event_PutOnSale{PutOnSale: &stonev1.PutOnSale{
		Public: &stonev1.PutOnSale_Public{StoneId: id, SetKind: kind}, Private: &stonev1.PutOnSale_Private{Price: aud(price)},
	}}})
}

// passes is what a filter says, written out once more.
func passes(s stone.State, w view.Filter) bool {
	g, between := s.Facts.GetGrade(), func(n, least, most int64) bool { return n >= least && (most == 0 || n <= most) }
	switch {
	case s.Stage != stone.OnSale,
		w.Outline != 0 && s.Facts.GetOutline() != w.Outline,
		w.Kind != 0 && s.Facts.GetKind() != w.Kind,
		w.Pattern != 0 && g.GetPattern() != w.Pattern,
		w.Composite != 0 && s.Facts.GetComposite() != w.Composite,
		(w.MinTone != 0 || w.MaxTone != 0) && (g.GetBodyTone() == 0 || !between(int64(g.GetBodyTone()), int64(w.MinTone), int64(w.MaxTone))),
		!strings.Contains(strings.ToLower(g.GetColours()), strings.ToLower(w.Colours)),
		!between(s.Price.GetMinor(), w.MinPrice, w.MaxPrice),
		!between(s.Weighing.GetMassUg(), w.MinMassUg, w.MaxMassUg),
		!between(s.Size.GetLengthUm(), w.MinLengthUm, w.MaxLengthUm),
		w.SetKind != 0 && s.Set.Kind != w.SetKind:
		return false
	}
	by := s.HeldBy(time.UnixMicro(w.NowUs))
	return w.AvailableTo == "" || by == "" || by == w.AvailableTo
}

// Stones are finished, offered, held, sold, called off, out and back, regraded, in any order: pages
// of any size hold what passes the filter, each once, in order.
func TestStockIsWhatPassesTheFilter(t *testing.T) {
	colours := []string{"", "green and blue", "Orange", "blue, violet"}
	rapid.Check(t, func(t *rapid.T) {
		c := &counter{newBookRapid(t), map[string]stone.State{}}
		small := func(name string, most int) int { return rapid.IntRange(0, most).Draw(t, name) }
		measured := func() (*eventv1.Weighing, *eventv1.Size) {
			return &eventv1.Weighing{MassUg: int64(1 + small("mass", 4)), DivisionUg: 1}, &eventv1.Size{LengthUm: int64(1 + small("length", 4)), WidthUm: 1, DepthUm: 1}
		}
		grade := func() *stonev1.Grade {
			return &stonev1.Grade{BodyTone: uint32(small("tone", 9)), Pattern: stonev1.Pattern(small("pattern", 2)), Colours: rapid.SampledFrom(colours).Draw(t, "colours")}
		}
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			id := fmt.Sprintf("s%02d", small("stone", 12))
			s := c.stones[id]
			w, size := measured()
			public := &eventv1.Measured{Weighing: w, Size: size}
			switch step := small("step", 6); {
			case s.Facts == nil:
				c.finish(id, &stonev1.Finished_Public{
					Outline: stonev1.Outline(1 + small("outline", 2)), Kind: eventv1.Kind(1 + small("kind", 1)), Composite: stonev1.Composite(1 + small("composite", 1)),
					Grade: grade(), Weighing: w, Size: size,
				})
			case s.Stage == stone.InStock && step == 0:
				c.did(id, &stonev1.Event{Event: &stonev1.Event_Recut{Recut: &stonev1.Recut{Public: &stonev1.Recut_Public{StoneId: id, Weighing: w, Size: size, Outline: stonev1.Outline(1 + small("outline", 2)), Grade: grade()}}}})
			case s.Stage == stone.InStock, s.Stage == stone.OnSale && step == 0:
				c.offer(id, int64(1+small("price", 4)), stonev1.SetKind(small("set", 2)))
			case s.Stage == stone.OnSale && step == 1:
				c.did(id, &stonev1.Event{Event: &stonev1.Event_Held{Held: &stonev1.Held{
					Public: &stonev1.Held_Public{StoneId: id}, Private: &stonev1.Held_Private{HoldId: "h", HolderId: rapid.SampledFrom([]string{"marrow", "fernhook"}).Draw(t, "holder"), EndsAtUs: int64(small("until", 4))},
				}}})
			case s.Stage == stone.OnSale && step == 2:
				c.did(id, &stonev1.Event{Event: &stonev1.Event_HoldReleased{HoldReleased: &stonev1.HoldReleased{Public: &stonev1.HoldReleased_Public{StoneId: id}}}})
			case s.Stage == stone.OnSale && step == 3:
				c.did(id, &stonev1.Event{Event: &stonev1.Event_TakenOffSale{TakenOffSale: &stonev1.TakenOffSale{Public: &stonev1.TakenOffSale_Public{StoneId: id}}}})
			case s.Stage == stone.OnSale && step == 4:
				c.did(id, &stonev1.Event{Event: &stonev1.Event_SentOut{SentOut: &stonev1.SentOut{Public: &stonev1.SentOut_Public{StoneId: id, Measured: public}, Private: &stonev1.SentOut_Private{ApprovalId: "a", Price: s.Price}}}})
			case s.Stage == stone.OnSale && step == 5:
				c.did(id, &stonev1.Event{Event: &stonev1.Event_Regraded{Regraded: &stonev1.Regraded{Public: &stonev1.Regraded_Public{StoneId: id, Grade: grade()}}}})
			case s.Stage == stone.OnSale:
				c.did(id, &stonev1.Event{Event: &stonev1.Event_Sold{Sold: &stonev1.Sold{Public: &stonev1.Sold_Public{StoneId: id, OrderId: "o"}, Private: &stonev1.Sold_Private{Price: s.Price}}}})
			case s.Stage == stone.AtJeweller:
				c.did(id, &stonev1.Event{Event: &stonev1.Event_CameBack{CameBack: &stonev1.CameBack{Public: &stonev1.CameBack_Public{StoneId: id, Measured: public}}}})
			case s.Stage == stone.Sold && step < 3:
				c.did(id, &stonev1.Event{Event: &stonev1.Event_SaleCancelled{SaleCancelled: &stonev1.SaleCancelled{Public: &stonev1.SaleCancelled_Public{StoneId: id, OrderId: "o"}}}})
			case s.Stage == stone.Sold:
				c.did(id, &stonev1.Event{Event: &stonev1.Event_Returned{Returned: &stonev1.Returned{Public: &stonev1.Returned_Public{StoneId: id, OrderId: "o", Weighing: w, Size: size}}}})
			}
		}
		size := rapid.IntRange(1, 15).Draw(t, "page")
		for range 10 {
			w := view.Filter{
				Outline: stonev1.Outline(small("w outline", 3)), Kind: eventv1.Kind(small("w kind", 2)), Pattern: stonev1.Pattern(small("w pattern", 2)),
				Composite: stonev1.Composite(small("w composite", 2)), MinTone: uint32(small("w tone", 3)), MaxTone: uint32(small("w to tone", 9)),
				Colours: rapid.SampledFrom([]string{"", "BLUE", "orange"}).Draw(t, "w colours"), MinPrice: int64(small("w price", 2)), MaxPrice: int64(small("w to price", 5)),
				MinMassUg: int64(small("w mass", 2)), MaxMassUg: int64(small("w to mass", 5)), MinLengthUm: int64(small("w length", 2)), MaxLengthUm: int64(small("w to length", 5)),
				SetKind: stonev1.SetKind(small("w set", 2)), NowUs: int64(small("now", 4)), AvailableTo: rapid.SampledFrom([]string{"", "marrow"}).Draw(t, "w who"),
			}
			if rapid.Bool().Draw(t, "anything") { // so that pages fill, too
				w = view.Filter{Outline: w.Outline, NowUs: w.NowUs, AvailableTo: w.AvailableTo}
			}
			var want, got []string
			for id, s := range c.stones {
				if passes(s, w) {
					want = append(want, id)
				}
			}
			slices.Sort(want)
			for after, more := "", true; more; more = after != "" {
				some, next, err := view.Stones{}.Stock(c.rows["stones"], w, after, size)
				if err != nil || len(some) > size {
					t.Fatalf("a page of %d has %d, %v", size, len(some), err)
				}
				got, after = append(got, some...), next
			}
			if !slices.Equal(got, want) {
				t.Fatalf("%+v by %d: got %v, want %v", w, size, got, want)
			}
		}
	})
}

// A filter that few stones pass looks at a bounded number of stones for each page, and
// comes to an end.
func TestStockLooksAtBoundedNumbers(t *testing.T) {
	c := &counter{newBook(t), map[string]stone.State{}}
	for n := range 1300 {
		id := fmt.Sprintf("s%04d", n)
		c.finish(id, &stonev1.Finished_Public{Outline: 1, Weighing: &eventv1.Weighing{MassUg: 1, DivisionUg: 1}})
		c.offer(id, 1, 0)
	}
	for _, id := range []string{"s0600x", "s1250x"} { // of another outline, which is at its end at once
		c.finish(id, &stonev1.Finished_Public{Outline: 2, Weighing: &eventv1.Weighing{MassUg: 1, DivisionUg: 1}})
		c.offer(id, 2, 0)
	}
	var found []string
	reads, pages := 0, 0
	for after, more := "", true; more; more = after != "" {
		r := &counted{Snapshot: c.rows["stones"].Snapshot}
		some, next, err := view.Stones{}.Stock(r, view.Filter{MinPrice: 2}, after, 10)
		if err != nil {
			t.Fatal(err)
		}
		found = append(found, some...)
		reads, pages, after = max(reads, r.seen), pages+1, next
	}
	if !slices.Equal(found, []string{"s0600x", "s1250x"}) {
		t.Errorf("found %v", found)
	}
	if reads > 1000 || pages < 2 || pages > 4 {
		t.Errorf("a page looked at %d rows, and there were %d", reads, pages)
	}
}

func holdPlaced(id, holder string, untilUs int64, stones ...string) *holdv1.Event {
	return &holdv1.Event{Event: &holdv1.Event_Placed{Placed: &holdv1.Placed{
		Public: &holdv1.Placed_Public{HoldId: id}, Private: &holdv1.Placed_Private{HolderId: holder, StoneIds: stones, EndsAtUs: untilUs},
	}}}
}

func TestHeldByCountsWhatHoldsNow(t *testing.T) {
	b := newBook(t)
	b.record("hold/h1", holdPlaced("h1", "marrow", 10, "s1", "s2"))
	b.record("hold/h2", holdPlaced("h2", "marrow", 20, "s3", "s4", "s5"))
	b.record("hold/h3", holdPlaced("h3", "fernhook", 20, "s6"))
	b.record("hold/h2", &holdv1.Event{Event: &holdv1.Event_Used{Used: &holdv1.Used{Public: &holdv1.Used_Public{HoldId: "h2"}, Private: &holdv1.Used_Private{StoneIds: []string{"s3"}}}}})
	held := func(now int64) int {
		n, err := view.Selling{}.HeldBy(b.rows["selling"], "marrow", time.UnixMicro(now), 100)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	for now, want := range map[int64]int{9: 4, 10: 2, 19: 2, 20: 0} {
		if got := held(now); got != want {
			t.Errorf("at %d: %d, want %d", now, got, want)
		}
	}
	b.record("hold/h2", &holdv1.Event{Event: &holdv1.Event_Released{Released: &holdv1.Released{Public: &holdv1.Released_Public{HoldId: "h2"}}}})
	if got := held(9); got != 2 {
		t.Errorf("after a release: %d", got)
	}
}

// counted counts the rows that are scanned.
type counted struct {
	eventstore.Snapshot
	seen int
}

func (c *counted) Scan(prefix, start []byte, reverse bool, fn func(key, value []byte) bool) error {
	return c.Snapshot.Scan(prefix, start, reverse, func(key, value []byte) bool {
		c.seen++
		return fn(key, value)
	})
}

func TestSwappedStonesAreExceptions(t *testing.T) {
	b := newBook(t)
	back := func(stone string, mass, size bool) *approvalv1.Event {
		return &approvalv1.Event{Event: &approvalv1.Event_TakenBack{TakenBack: &approvalv1.TakenBack{Private: &approvalv1.TakenBack_Private{StoneId: stone, MassDiffers: mass, SizeDiffers: size}}}}
	}
	e := view.Exceptions{}
	for _, event := range []*approvalv1.Event{back("s1", false, false), back("s2", true, false), back("s3", true, true)} {
		b.position++
		if err := e.Apply(b.rows[e.Name()], eventstore.Record{Position: b.position, Member: "wetwheel", Event: event}); err != nil {
			t.Fatal(err)
		}
	}
	found, _, err := e.Open(b.rows[e.Name()], "", 10)
	if err != nil || len(found) != 2 || found[0].Thing != "stone/s2" || found[1].Kind != view.StoneDiffers {
		t.Errorf("got %+v, %v", found, err)
	}
}
