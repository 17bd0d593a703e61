package view

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/eventstore"
)

// facts is what a stock filter asks of a stone, whatever its price.
type facts struct {
	outline               stonev1.Outline
	kind                  eventv1.Kind
	treatment             eventv1.Treatment
	hydrophane            stonev1.Hydrophane
	composite             stonev1.Composite
	bodyTone              uint32
	transparency          stonev1.Transparency
	pattern               stonev1.Pattern
	brightness            stonev1.Brightness
	colours               string
	massUg                int64
	length, width, depthU int64 // micrometres
}

func factsOf(p *stonev1.Finished_Public) facts {
	f := facts{outline: p.GetOutline(), kind: p.GetKind(), treatment: p.GetTreatment(), hydrophane: p.GetHydrophane(), composite: p.GetComposite()}
	return f.graded(p.GetGrade()).measured(p.GetWeighing(), p.GetSize())
}

func (f facts) graded(g *stonev1.Grade) facts {
	f.bodyTone, f.transparency, f.pattern, f.brightness, f.colours = g.GetBodyTone(), g.GetTransparency(), g.GetPattern(), g.GetBrightness(), g.GetColours()
	return f
}

// said are the facts with what a correction says of them; what it doesn't say stays.
func (f facts) said(right *correctionv1.StoneSaid) facts {
	f.outline, f.kind = cmp.Or(right.GetOutline(), f.outline), cmp.Or(right.GetKind(), f.kind)
	f.treatment, f.hydrophane, f.composite = cmp.Or(right.GetTreatment(), f.treatment), cmp.Or(right.GetHydrophane(), f.hydrophane), cmp.Or(right.GetComposite(), f.composite)
	return f
}

func (f facts) measured(w *eventv1.Weighing, s *eventv1.Size) facts {
	f.massUg = w.GetMassUg()
	if s != nil {
		f.length, f.width, f.depthU = s.GetLengthUm(), s.GetWidthUm(), s.GetDepthUm()
	}
	return f
}

func (f facts) row() []byte {
	return row{}.num(uint64(f.outline)).num(uint64(f.kind)).num(uint64(f.treatment)).num(uint64(f.hydrophane)).num(uint64(f.composite)).
		num(uint64(f.bodyTone)).num(uint64(f.transparency)).num(uint64(f.pattern)).num(uint64(f.brightness)).text(f.colours).
		int(f.massUg).int(f.length).int(f.width).int(f.depthU)
}

func readFacts(value []byte) (facts, error) {
	f := read(value)
	return facts{
		outline: stonev1.Outline(f.code()), kind: eventv1.Kind(f.code()), treatment: eventv1.Treatment(f.code()),
		hydrophane: stonev1.Hydrophane(f.code()), composite: stonev1.Composite(f.code()), bodyTone: uint32(f.code()),
		transparency: stonev1.Transparency(f.code()), pattern: stonev1.Pattern(f.code()), brightness: stonev1.Brightness(f.code()),
		colours: f.text(), massUg: f.int(), length: f.int(), width: f.int(), depthU: f.int(),
	}, f.done("stones", "stone's facts")
}

// onSale is what a filter asks of a stone that is on sale.
type onSale struct {
	currency string
	price    int64
	setKind  stonev1.SetKind
	heldBy   string
	heldToUs int64
}

func (s onSale) row() []byte {
	return row{}.text(s.currency).int(s.price).num(uint64(s.setKind)).text(s.heldBy).int(s.heldToUs)
}

func readOnSale(value []byte) (onSale, error) {
	f := read(value)
	return onSale{currency: f.text(), price: f.int(), setKind: stonev1.SetKind(f.code()), heldBy: f.text(), heldToUs: f.int()}, f.done("stones", "stone on sale")
}

// change follows what happens to a stone after it is finished.
func (v Stones) change(rows eventstore.Rows, event *stonev1.Event) error {
	switch e := event.Event.(type) {
	case *stonev1.Event_PutOnSale:
		p := e.PutOnSale.GetPrivate().GetPrice()
		return v.sale(rows, event, e.PutOnSale.GetPublic().GetStoneId(), func(onSale) (onSale, bool) {
			return onSale{currency: p.GetCurrency(), price: p.GetMinor(), setKind: e.PutOnSale.GetPublic().GetSetKind()}, true
		})
	case *stonev1.Event_TakenOffSale:
		return v.offSale(rows, event, e.TakenOffSale.GetPublic().GetStoneId())
	case *stonev1.Event_Held:
		p := e.Held.GetPrivate()
		return v.sale(rows, event, e.Held.GetPublic().GetStoneId(), func(s onSale) (onSale, bool) {
			s.heldBy, s.heldToUs = p.GetHolderId(), p.GetEndsAtUs()
			return s, s.currency != ""
		})
	case *stonev1.Event_HoldReleased:
		return v.sale(rows, event, e.HoldReleased.GetPublic().GetStoneId(), func(s onSale) (onSale, bool) {
			s.heldBy, s.heldToUs = "", 0
			return s, s.currency != ""
		})
	case *stonev1.Event_Sold:
		return v.sold(rows, event, e.Sold)
	case *stonev1.Event_SaleCancelled:
		return v.unsold(rows, event, e.SaleCancelled)
	case *stonev1.Event_SentOut:
		return v.offSale(rows, event, e.SentOut.GetPublic().GetStoneId())
	case *stonev1.Event_Returned:
		p := e.Returned.GetPublic()
		if err := v.forget(rows, p.GetStoneId()); err != nil {
			return err
		}
		return v.remeasure(rows, event, p.GetStoneId(), func(f facts) facts { return f.measured(p.GetWeighing(), p.GetSize()) })
	case *stonev1.Event_CameBack:
		m := e.CameBack.GetPublic().GetMeasured()
		return v.remeasure(rows, event, e.CameBack.GetPublic().GetStoneId(), func(f facts) facts { return f.measured(m.GetWeighing(), m.GetSize()) })
	case *stonev1.Event_Regraded:
		return v.remeasure(rows, event, e.Regraded.GetPublic().GetStoneId(), func(f facts) facts { return f.graded(e.Regraded.GetPublic().GetGrade()) })
	case *stonev1.Event_Checked:
		p := e.Checked.GetPublic()
		return v.remeasure(rows, event, p.GetStoneId(), func(f facts) facts { return f.measured(p.GetWeighing(), p.GetSize()) })
	case *stonev1.Event_Counted:
		return v.remeasure(rows, event, e.Counted.GetPublic().GetStoneId(), func(f facts) facts { return f.measured(e.Counted.GetPublic().GetWeighing(), nil) })
	case *stonev1.Event_Recut:
		p := e.Recut.GetPublic()
		return v.remeasure(rows, event, p.GetStoneId(), func(f facts) facts {
			f.outline = p.GetOutline()
			return f.graded(p.GetGrade()).measured(p.GetWeighing(), p.GetSize())
		})
	}
	return nil
}

// sold takes the stone off the list and keeps what it was offered at, for a sale that is
// called off.
func (v Stones) sold(rows eventstore.Rows, event *stonev1.Event, e *stonev1.Sold) error {
	id := e.GetPublic().GetStoneId()
	k, value, err := v.saleRow(rows, event, id)
	if err != nil {
		return err
	}
	if value == nil { // sold where it was out: no way back to the list but through stock
		return nil
	}
	rows.Delete(k)
	rows.Set(key("sold", id), value)
	return nil
}

func (v Stones) unsold(rows eventstore.Rows, event *stonev1.Event, e *stonev1.SaleCancelled) error {
	id := e.GetPublic().GetStoneId()
	value, err := rows.Get(key("sold", id))
	if err != nil {
		return err
	}
	if value == nil {
		return unexpected(v.Name(), event, "stone %s was not sold from the stock", id)
	}
	s, err := readOnSale(value)
	if err != nil {
		return err
	}
	s.heldBy, s.heldToUs = "", 0
	rows.Delete(key("sold", id))
	k, _, err := v.saleRow(rows, event, id)
	if err != nil {
		return err
	}
	rows.Set(k, s.row())
	return nil
}

// forget drops what a sold stone was offered at.
func (v Stones) forget(rows eventstore.Rows, id string) error {
	value, err := rows.Get(key("sold", id))
	if value != nil {
		rows.Delete(key("sold", id))
	}
	return err
}

func (v Stones) sale(rows eventstore.Rows, event proto.Message, id string, change func(onSale) (onSale, bool)) error {
	k, value, err := v.saleRow(rows, event, id)
	if err != nil {
		return err
	}
	var s onSale
	if value != nil {
		if s, err = readOnSale(value); err != nil {
			return err
		}
	}
	s, ok := change(s)
	if !ok {
		return unexpected(v.Name(), event, "stone %s is not on sale", id)
	}
	rows.Set(k, s.row())
	return nil
}

func (v Stones) offSale(rows eventstore.Rows, event proto.Message, id string) error {
	k, _, err := v.saleRow(rows, event, id)
	if err != nil {
		return err
	}
	rows.Delete(k)
	return nil
}

// remeasure changes a stone's facts; one on sale moves to the list of its outline.
func (v Stones) remeasure(rows eventstore.Rows, event proto.Message, id string, change func(facts) facts) error {
	f, err := v.facts(rows, event, id)
	if err != nil {
		return err
	}
	changed := change(f)
	if changed.outline != f.outline {
		value, err := rows.Get(saleKey(f.outline, id))
		if err != nil {
			return err
		}
		if value != nil {
			rows.Delete(saleKey(f.outline, id))
			rows.Set(saleKey(changed.outline, id), value)
		}
	}
	rows.Set(key("facts", id), changed.row())
	return nil
}

func (v Stones) facts(r eventstore.Reader, event proto.Message, id string) (facts, error) {
	value, err := r.Get(key("facts", id))
	if err != nil {
		return facts{}, err
	}
	if value == nil {
		return facts{}, unexpected(v.Name(), event, "stone %s was never finished", id)
	}
	return readFacts(value)
}

// saleRow is a stone's row among those on sale; value is nil where it isn't.
func (v Stones) saleRow(r eventstore.Reader, event proto.Message, id string) (k, value []byte, err error) {
	f, err := v.facts(r, event, id)
	if err != nil {
		return nil, nil, err
	}
	k = saleKey(f.outline, id)
	value, err = r.Get(k)
	return k, value, err
}

func saleKey(outline stonev1.Outline, id string) []byte {
	return key("sale", strconv.Itoa(int(outline)), id)
}

// Filter says what stones are to be. Zero values ask for nothing; bounds are included.
type Filter struct {
	Outline      stonev1.Outline
	Kind         eventv1.Kind
	MinTone      uint32
	MaxTone      uint32
	Pattern      stonev1.Pattern
	Transparency stonev1.Transparency
	Brightness   stonev1.Brightness
	Colours      string
	Currency     string // of the prices below
	MinPrice     int64
	MaxPrice     int64
	MinMassUg    int64
	MaxMassUg    int64
	MinLengthUm  int64
	MaxLengthUm  int64
	MinWidthUm   int64
	MaxWidthUm   int64
	MaxDepthUm   int64
	Composite    stonev1.Composite
	Treatment    eventv1.Treatment
	Hydrophane   stonev1.Hydrophane
	SetKind      stonev1.SetKind
	// AvailableTo is the jeweller who must be able to have the stone; empty: sold or
	// held by others doesn't matter.
	AvailableTo string
	NowUs       int64 // the moment, for holds
}

func (w Filter) sale(s onSale) bool {
	held := s.heldBy != "" && w.NowUs < s.heldToUs
	return (w.Currency == "" || w.Currency == s.currency) && within(s.price, w.MinPrice, w.MaxPrice) &&
		(w.SetKind == 0 || w.SetKind == s.setKind) && (w.AvailableTo == "" || !held || s.heldBy == w.AvailableTo)
}

func (w Filter) facts(f facts) bool {
	tone := w.MinTone == 0 && w.MaxTone == 0 || f.bodyTone != 0 && within(int64(f.bodyTone), int64(w.MinTone), int64(w.MaxTone))
	return tone && is(w.Kind, f.kind) && is(w.Pattern, f.pattern) && is(w.Transparency, f.transparency) && is(w.Brightness, f.brightness) &&
		is(w.Composite, f.composite) && is(w.Treatment, f.treatment) && is(w.Hydrophane, f.hydrophane) &&
		(w.Colours == "" || strings.Contains(strings.ToLower(f.colours), strings.ToLower(w.Colours))) &&
		within(f.massUg, w.MinMassUg, w.MaxMassUg) && within(f.length, w.MinLengthUm, w.MaxLengthUm) &&
		within(f.width, w.MinWidthUm, w.MaxWidthUm) && within(f.depthU, 0, w.MaxDepthUm)
}

// is holds a fact against what is asked; 0 asks for nothing.
func is[E ~int32](asked, fact E) bool { return asked == 0 || asked == fact }

// within holds a number against bounds; 0 is no bound.
func within(n, least, most int64) bool { return n >= least && (most == 0 || n <= most) }

// maxLooked is how many stones one page looks at, for each outline: it bounds the work
// of a filter that few stones pass.
const maxLooked = 500

// Stock gives the ids of stones on sale that pass the filter, oldest first. It looks at
// a bounded number of stones: a page may hold fewer than limit, or none, and still have
// a next one.
func (v Stones) Stock(r eventstore.Reader, w Filter, after string, limit int) (stones []string, next string, err error) {
	limit = max(1, min(limit, MaxPage))
	outlines := []stonev1.Outline{w.Outline}
	if w.Outline == stonev1.Outline_OUTLINE_UNSPECIFIED {
		outlines = outlines[:0]
		for number := range stonev1.Outline_name {
			outlines = append(outlines, stonev1.Outline(number))
		}
	}
	// Each outline is a list of its own. What all of them were looked at for is known up
	// to the least place where one of them stopped before its end.
	frontier := ""
	for _, outline := range outlines {
		found, stopped, err := v.look(r, w, outline, after, limit)
		if err != nil {
			return nil, "", err
		}
		stones = append(stones, found...)
		if stopped != "" && (frontier == "" || stopped < frontier) {
			frontier = stopped
		}
	}
	slices.Sort(stones)
	if frontier != "" {
		stones = slices.DeleteFunc(stones, func(id string) bool { return id > frontier })
	}
	if len(stones) > limit {
		stones = stones[:limit]
		return stones, stones[limit-1], nil
	}
	return stones, frontier, nil
}

// look goes through one outline's stones. stopped is the last that was looked at, empty
// at the end.
func (v Stones) look(r eventstore.Reader, w Filter, outline stonev1.Outline, after string, limit int) (found []string, stopped string, err error) {
	for looked := 0; ; {
		n := min(MaxPage, maxLooked-looked)
		next, err := page(r, table("sale", strconv.Itoa(int(outline))), after, n, func(id string, value []byte) error {
			looked++
			if len(found) > limit {
				return nil
			}
			s, err := readOnSale(value)
			if err != nil || !w.sale(s) {
				return err
			}
			facts, err := r.Get(key("facts", id))
			if err != nil {
				return err
			}
			f, err := readFacts(facts)
			if err == nil && w.facts(f) {
				found = append(found, id)
			}
			return err
		})
		switch {
		case err != nil:
			return nil, "", err
		case len(found) > limit:
			return found, found[limit], nil
		case next == "" || looked >= maxLooked:
			return found, next, nil
		}
		after = next
	}
}

// OnSale gives the ids of the stones on sale, oldest first: those of one outline, or
// all where it is OUTLINE_UNSPECIFIED.
func (v Stones) OnSale(r eventstore.Reader, outline stonev1.Outline, after string, limit int) (stones []string, next string, err error) {
	return v.Stock(r, Filter{Outline: outline}, after, limit)
}
