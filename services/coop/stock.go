package coop

import (
	"context"
	"errors"
	"fmt"
	"strings"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/lot"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stock"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"
)

// custodyID is the id of a thing's custody stream: "stone-01k..." of "stone/01k...".
func custodyID(thing string) string { return strings.Replace(thing, "/", "-", 1) }

// isThere refuses a thing that the books don't know.
func isThere(l eventstore.Loader, field, thing string) error {
	kind, id, _ := strings.Cut(thing, "/")
	var version uint64
	var err error
	switch kind {
	case stream.Parcel.Name:
		_, version, err = eventstore.Load(l, stream.Parcel, id)
	case stream.Piece.Name:
		_, version, err = eventstore.Load(l, stream.Piece, id)
	case stream.Stone.Name:
		_, version, err = eventstore.Load(l, stream.Stone, id)
	case stream.Lot.Name:
		_, version, err = eventstore.Load(l, stream.Lot, id)
	}
	if err == nil && version == 0 {
		err = rule.NotThere(field, "thing")
	}
	return err
}

// isKept refuses a thing that the books don't know, and a stone that by its chain is in
// no safe.
func isKept(l eventstore.Loader, field, thing string) error {
	id, isStone := strings.CutPrefix(thing, stream.Stone.Name+"/")
	if !isStone {
		return isThere(l, field, thing)
	}
	st, _, err := eventstore.Load(l, stream.Stone, id)
	if err != nil {
		return err
	}
	delivered := false
	if st.OrderID != "" {
		o, _, err := eventstore.Load(l, stream.Order, st.OrderID)
		if err != nil {
			return err
		}
		line, _ := o.Line(id)
		delivered = line.Dispatched
	}
	return st.MayBeKept(delivered, field)
}

// MoveStock implements coopv1.CoopServiceServer. What changed hands since it was moved last
// may be moved back to where it was.
func (s *Server) MoveStock(ctx context.Context, req *coopv1.MoveStockRequest) (*coopv1.MoveStockResponse, error) {
	who := access.Caller(ctx)
	did, err := command.Run(ctx, s.node, req, stream.Custody, func(tx *eventstore.Tx) (*command.Thing[stock.Custody], error) {
		if err := isKept(tx, "thing", req.GetThing()); err != nil {
			return nil, err
		}
		m, _, err := eventstore.Load(tx, stream.Member, req.GetHolderId())
		if err != nil {
			return nil, err
		}
		if !m.Stands() {
			return nil, rule.Broken{Reason: rule.MemberNotThere, Field: "holder_id", Value: req.GetHolderId(), Rule: "a thing is held by a member who was admitted", Hint: "name one of the members"}
		}
		c, err := command.Open(tx, stream.Custody, custodyID(req.GetThing()))
		if err != nil {
			return nil, err
		}
		now, err := custody(tx, req.GetThing())
		if err != nil {
			return nil, err
		}
		was := c.State
		if now.GetHolderId() != was.Holder || now.GetPlace() != was.Place {
			was = stock.Custody{}
		}
		moved, err := was.Move(req.GetThing(), req.GetHolderId(), req.GetPlace(), who.Person)
		if err != nil {
			return nil, err
		}
		c.Record(moved)
		return c, nil
	})
	if err != nil {
		return nil, err
	}
	c := did.State
	return &coopv1.MoveStockResponse{Custody: &coopv1.Custody{Thing: c.Thing, HolderId: c.Holder, Place: c.Place}, Position: uint64(did.Position)}, nil
}

// CountStock implements coopv1.CoopServiceServer. What should be at the place is what
// was moved there last. What is weighed is weighed anew in the books too: a difference
// is unexplained mass.
func (s *Server) CountStock(ctx context.Context, req *coopv1.CountStockRequest) (*coopv1.CountStockResponse, error) {
	who := access.Caller(ctx)
	id := command.NewID()
	did, err := command.Run(ctx, s.node, req, stream.Count, func(tx *eventstore.Tx) (*command.Thing[stock.Count], error) {
		count, err := command.Open(tx, stream.Count, id)
		if err != nil {
			return nil, err
		}
		t := tally{tx: tx, req: req, id: id, person: who.Person, pieces: map[string]*command.Thing[piece.State]{}}
		if err := t.take(); err != nil {
			return nil, err
		}
		counted, err := count.State.Take(id, req.GetPlace(), who.Person, req.GetNote(), t.found, t.strange)
		if err != nil {
			return nil, err
		}
		count.Record(counted)
		return count, nil
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.CountStockResponse{Count: shownCount(did.State), Position: uint64(did.Position)}, nil
}

// tally compares what was found at a place with what should be there.
type tally struct {
	tx         *eventstore.Tx
	req        *coopv1.CountStockRequest
	id, person string
	pieces     map[string]*command.Thing[piece.State] // each is opened once

	found   []stock.Found
	strange []string
}

func (t *tally) piece(id string) (*command.Thing[piece.State], error) {
	if rough := t.pieces[id]; rough != nil {
		return rough, nil
	}
	rough, err := command.Open(t.tx, stream.Piece, id)
	t.pieces[id] = rough
	return rough, err
}

func (t *tally) take() error {
	v := view.Exceptions{}
	seen := map[string]bool{}
	var broken rule.All
	for i, f := range t.req.GetFound() {
		field := fmt.Sprintf("found[%d].thing", i)
		thing := f.GetThing()
		if err := isKept(t.tx, field, thing); err != nil {
			return err
		}
		if seen[thing+f.GetPart()] {
			broken.Add(rule.Broken{Reason: rule.NamedTwice, Field: field, Value: thing, Rule: "a thing is counted once", Hint: "leave it out"})
		}
		seen[thing], seen[thing+f.GetPart()] = true, true
		place, err := v.Place(t.tx.View(v.Name()), thing)
		if err != nil {
			return err
		}
		if place != t.req.GetPlace() {
			t.strange = append(t.strange, thing)
		}
		found := stock.Found{Thing: thing, There: true, Weighing: wire.ReadWeighing(f.GetWeighing()), Count: f.GetCount()}
		if err := broken.Merge(fmt.Sprintf("found[%d]", i), t.look(&found, f.GetPart())); err != nil {
			return err
		}
		t.found = append(t.found, found)
	}
	if err := broken.Err(); err != nil {
		return err
	}
	return t.missing(seen)
}

// missing adds what should be there and wasn't found. What left the safe since, by its
// chain, isn't missing.
func (t *tally) missing(seen map[string]bool) error {
	v := view.Exceptions{}
	for after, more := "", true; more; more = after != "" {
		var here []view.Held
		var err error
		if here, after, err = v.Where(t.tx.View(v.Name()), t.req.GetPlace(), after, view.MaxPage); err != nil {
			return err
		}
		for _, h := range here {
			if seen[h.Thing] {
				continue
			}
			gone, err := t.gone(h.Thing)
			if err != nil {
				return err
			}
			var left rule.Broken
			switch err := isKept(t.tx, "found", h.Thing); {
			case gone || errors.As(err, &left):
			case err != nil:
				return err
			default:
				t.found = append(t.found, stock.Found{Thing: h.Thing})
			}
		}
		if len(t.found) > stock.MaxFound {
			return nil // the count's own rule refuses it
		}
	}
	return nil
}

// gone tells whether a thing is a lot of which nothing is left: it is nowhere.
func (t *tally) gone(thing string) (bool, error) {
	id, is := strings.CutPrefix(thing, stream.Lot.Name+"/")
	if !is {
		return false, nil
	}
	l, _, err := eventstore.Load(t.tx, stream.Lot, id)
	return l.Count == 0 || l.Stage == lot.Unmade, err
}

// look holds one thing against the books.
func (t *tally) look(f *stock.Found, part string) (err error) {
	kind, id, _ := strings.Cut(f.Thing, "/")
	switch {
	case kind == stream.Lot.Name && (f.Weighing != nil || f.Count > 0):
		return t.lot(f, id)
	case f.Count > 0:
		return rule.Broken{Reason: rule.FieldInvalid, Field: "count", Value: fmt.Sprint(f.Count), Rule: "only a counted lot is counted by number", Hint: "leave it out"}
	case f.Weighing != nil:
		f.ExpectedUg, err = t.weigh(f.Thing, part, f.Weighing)
	}
	return err
}

// lot records what is left of a counted lot, counted and weighed anew.
func (t *tally) lot(f *stock.Found, id string) error {
	l, err := command.Open(t.tx, stream.Lot, id)
	if err != nil {
		return err
	}
	f.ExpectedUg, f.ExpectedCount = l.State.Weighing.GetMassUg(), l.State.Count
	if f.Count == 0 {
		f.Count = f.ExpectedCount
	}
	counted, err := l.State.Recount(lot.Counting{CountID: t.id, Person: t.person, Note: t.req.GetNote(), Count: f.Count, Weighing: f.Weighing})
	if err != nil {
		return err
	}
	l.Record(counted)
	return nil
}

// weigh records a part or stone weighed anew, and gives what the books said.
func (t *tally) weigh(thing, part string, w *eventv1.Weighing) (expectedUg int64, err error) {
	kind, id, _ := strings.Cut(thing, "/")
	switch kind {
	case stream.Piece.Name:
		rough, err := t.piece(id)
		if err != nil {
			return 0, err
		}
		if part == "" {
			part = rough.State.Label
		}
		return t.weighPart(rough, part, w)
	case stream.Stone.Name:
		st, err := command.Open(t.tx, stream.Stone, id)
		if err != nil {
			return 0, err
		}
		expectedUg = st.State.Weighing.GetMassUg()
		counted, err := st.State.Recount(stone.Counting{CountID: t.id, Person: t.person, Note: t.req.GetNote(), Weighing: w})
		if err != nil {
			return 0, err
		}
		st.Record(counted)
		rough, err := t.piece(st.State.Facts.GetPieceId())
		if err != nil {
			return 0, err
		}
		_, err = t.weighPart(rough, st.State.Facts.GetPart(), w)
		return expectedUg, err
	case stream.Parcel.Name:
		of, _, err := eventstore.Load(t.tx, stream.Parcel, id)
		return of.BoughtUg(), err
	}
	return 0, nil
}

func (t *tally) weighPart(rough *command.Thing[piece.State], part string, w *eventv1.Weighing) (expectedUg int64, err error) {
	for _, p := range rough.State.Parts {
		if p.Name == part {
			expectedUg = p.Weighing.GetMassUg()
		}
	}
	counted, err := rough.State.Recount(piece.Counting{CountID: t.id, Person: t.person, Note: t.req.GetNote(), Part: part, Weighing: w})
	if err != nil {
		return 0, err
	}
	rough.Record(counted)
	return expectedUg, nil
}

func shownCount(c stock.Count) *coopv1.StockCount {
	out := &coopv1.StockCount{Id: c.ID, Place: c.Place, Strange: c.Strange}
	for _, f := range c.Found {
		if !f.There {
			out.Missing = append(out.Missing, f.Thing)
		} else if f.Differs() {
			out.Differences = append(out.Differences, &coopv1.MassDifference{
				Thing: f.Thing, ExpectedUg: f.ExpectedUg, FoundUg: f.Weighing.GetMassUg(), ExpectedCount: f.ExpectedCount, FoundCount: f.Count,
			})
		}
	}
	return out
}
