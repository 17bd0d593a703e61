package view

import (
	"fmt"
	"slices"
	"strings"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	lotv1 "seamshare.example/proto/gen/seamshare/event/lot/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stockv1 "seamshare.example/proto/gen/seamshare/event/stock/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/measure"
)

// Exceptions is what doesn't add up: written where an event says so, until somebody has
// looked into it. What follows from sums and dates (unexplained mass, overdue goods,
// payouts) has no row but is reckoned when it is asked for. And it is where things are.
//
//	open, exception id            → kind, thing, words, whom it concerns, no note, nobody who closed it
//	closed, exception id          → the same with both
//	of, thing                     → the parcel of a piece, stone or lot, and whether its field is shown
//	parties, parcel id            → seller, buyer
//	where, place, thing           → holder
//	place, thing                  → place
//
// An exception's id begins with its kind and names its thing, so that the same one never
// stands twice.
type Exceptions struct{}

// Name implements eventstore.View.
func (Exceptions) Name() string { return "exceptions" }

// Version implements eventstore.View.
func (Exceptions) Version() uint32 { return 2 }

// The kinds of exceptions, as people say them.
const (
	UnexplainedMass    = "unexplained mass"
	HandoverDifference = "handover difference"
	CountDifference    = "count difference"
	MixUp              = "mix-up"
	OverdueApproval    = "overdue approval"
	ClosedNotPaid      = "closed and not paid"
	OrderNotPaid       = "order not paid"
	ChainNotFull       = "chain not full"
	PayoutDiffers      = "payout doesn't recompute"
	PayoutAbove        = "payout above what is earned"
)

// Exception is something that doesn't add up.
type Exception struct {
	ID, Kind, Thing, What string
	Members               []string // whom it concerns
	Note, ClosedBy        string   // once it was closed
}

// Apply implements eventstore.View.
func (v Exceptions) Apply(rows eventstore.Rows, rec eventstore.Record) error {
	v.changedHands(rows, rec)
	switch event := rec.Event.(type) {
	case *parcelv1.Event:
		return v.parcel(rows, rec, event)
	case *piecev1.Event:
		return v.piece(rows, rec, event)
	case *stonev1.Event:
		return v.stone(rows, event)
	case *lotv1.Event:
		return v.lot(rows, rec, event)
	case *stockv1.Event:
		return v.stock(rows, event)
	case *correctionv1.Event:
		return v.corrected(rows, rec, event)
	}
	return nil
}

func (v Exceptions) parcel(rows eventstore.Rows, rec eventstore.Record, event *parcelv1.Event) error {
	switch e := event.GetEvent().(type) {
	case *parcelv1.Event_Listed:
		rows.Set(key("parties", e.Listed.GetPublic().GetParcelId()), parties{seller: e.Listed.GetPrivate().GetSellerId()}.row())
	case *parcelv1.Event_DealMade:
		id := e.DealMade.GetPublic().GetParcelId()
		p, err := v.parties(rows, id)
		if err != nil {
			return err
		}
		p.buyer = e.DealMade.GetPrivate().GetBuyerId()
		rows.Set(key("parties", id), p.row())
	case *parcelv1.Event_HandedOver:
		p := e.HandedOver.GetPublic()
		who := tookOver
		if c := e.HandedOver.GetPrivate(); c.GetBuyerCount() != c.GetSellerCount() {
			who = fmt.Sprintf("the buyer counted %d stones and the seller %d; the buyer", c.GetBuyerCount(), c.GetSellerCount())
		}
		return v.handover(rows, rec.Position, p.GetParcelId(), who, p.GetDifferenceUg(), p.GetCountDifference(), p.GetBeyondTolerance())
	case *parcelv1.Event_HandedBack:
		p := e.HandedBack.GetPublic()
		return v.handover(rows, rec.Position, p.GetParcelId(), tookBack, p.GetDifferenceUg(), p.GetCountDifference(), p.GetBeyondTolerance())
	case *parcelv1.Event_ViewingStarted:
		p := e.ViewingStarted.GetPrivate()
		return v.handover(rows, rec.Position, e.ViewingStarted.GetPublic().GetParcelId(), goesOut, p.GetDifferenceUg(), p.GetCountDifference(), p.GetBeyondTolerance())
	case *parcelv1.Event_ViewingEnded:
		p := e.ViewingEnded.GetPrivate()
		return v.handover(rows, rec.Position, e.ViewingEnded.GetPublic().GetParcelId(), comesBack, p.GetDifferenceUg(), p.GetCountDifference(), p.GetBeyondTolerance())
	}
	return nil
}

// Who weighed, at a handover, as rough came back, and at the two ends of a viewing.
const (
	tookOver  = "the buyer"
	tookBack  = "the seller, as it came back,"
	goesOut   = "the seller, as it went out for a viewing,"
	comesBack = "the seller, after a viewing,"
)

func handoverID(at eventstore.Position) string { return fmt.Sprintf("handover-%d", at) }

// handover notes a difference beyond what the scales allow, at a handover, as rough came
// back, or after a viewing.
func (v Exceptions) handover(rows eventstore.Rows, at eventstore.Position, parcelID, who string, ug, count int64, beyond bool) error {
	if !beyond {
		return nil
	}
	p, err := v.parties(rows, parcelID)
	if err != nil {
		return err
	}
	what := fmt.Sprintf("%s weighed %s", who, sign(-ug))
	switch {
	case count > 0:
		what += fmt.Sprintf(" and counted %d stones fewer", count)
	case count < 0:
		what += fmt.Sprintf(" and counted %d stones more", -count)
	case ug == 0:
		what += ", and the other side doesn't agree"
	}
	v.open(rows, Exception{ID: handoverID(at), Kind: HandoverDifference, Thing: "parcel/" + parcelID, What: what, Members: p.members()})
	return nil
}

// sign is a difference in mass against what the books say.
func sign(ug int64) string {
	switch {
	case ug < 0:
		return measure.Mass(-ug).String() + " less than the books say"
	case ug > 0:
		return measure.Mass(ug).String() + " more than the books say"
	}
	return "what the books say"
}

// fieldShown tells whether a piece's field is shown, or each of those it may be of.
func fieldShown(fieldID string, mayBeOf []string) bool {
	return fieldID != "" || len(mayBeOf) > 0 && !slices.Contains(mayBeOf, "")
}

func (v Exceptions) piece(rows eventstore.Rows, rec eventstore.Record, event *piecev1.Event) error {
	switch e := event.GetEvent().(type) {
	case *piecev1.Event_Described:
		p := e.Described.GetPublic()
		rows.Set(key("of", "piece/"+p.GetPieceId()), partOf{p.GetParcelId(), fieldShown(p.GetFieldId(), p.GetMayBeOfFieldIds())}.row())
	case *piecev1.Event_MixedUp:
		p := e.MixedUp.GetPublic()
		id := "mixup-" + p.GetMixId()
		if p.GetMixId() == "" {
			id = fmt.Sprintf("mixup-%d", rec.Position)
		}
		v.open(rows, Exception{
			ID: id, Kind: MixUp, Thing: "piece/" + p.GetPieceId(), Members: []string{e.MixedUp.GetPrivate().GetMemberId()},
			What: fmt.Sprintf("part %s may be one of %d parts", p.GetPart(), len(p.GetCandidates())),
		})
	case *piecev1.Event_Counted:
		p := e.Counted.GetPublic()
		return v.counted(rows, rec.Position, "piece/"+p.GetPieceId(), "part "+p.GetPart(), p.GetWas().GetMassUg()-p.GetWeighing().GetMassUg(), 0, 0)
	}
	return nil
}

func countID(at eventstore.Position) string { return fmt.Sprintf("count-%d", at) }

// counted notes a part or a lot that weighs or counts otherwise than the books say.
func (v Exceptions) counted(rows eventstore.Rows, at eventstore.Position, thing, name string, missingUg, fewer int64, expected uint32) error {
	if missingUg == 0 && fewer == 0 {
		return nil
	}
	members, _, err := v.concerned(rows, thing)
	if err != nil {
		return err
	}
	what := name + " weighs " + sign(-missingUg)
	if fewer != 0 {
		what += fmt.Sprintf(", and counts %d where the books say %d", int64(expected)-fewer, expected)
	}
	v.open(rows, Exception{ID: countID(at), Kind: CountDifference, Thing: thing, Members: members, What: what})
	return nil
}

func (v Exceptions) stone(rows eventstore.Rows, event *stonev1.Event) error {
	e := event.GetFinished()
	if e == nil {
		return nil
	}
	p := e.GetPublic()
	members, shown, err := v.concerned(rows, "piece/"+p.GetPieceId())
	if err != nil {
		return err
	}
	rows.Set(key("of", "stone/"+p.GetStoneId()), partOf{p.GetParcelId(), shown}.row())
	if shown {
		return nil
	}
	if !slices.Contains(members, p.GetCutterId()) {
		members = append(members, p.GetCutterId())
	}
	v.notFull(rows, p.GetStoneId(), members)
	return nil
}

// lot notes a counted lot that counts or weighs otherwise than the books say.
func (v Exceptions) lot(rows eventstore.Rows, rec eventstore.Record, event *lotv1.Event) error {
	switch e := event.GetEvent().(type) {
	case *lotv1.Event_Made:
		p := e.Made.GetPublic()
		rows.Set(key("of", "lot/"+p.GetLotId()), partOf{p.GetParcelId(), true}.row())
	case *lotv1.Event_Counted:
		p := e.Counted.GetPublic()
		return v.counted(rows, rec.Position, "lot/"+p.GetLotId(), "the lot", p.GetWas().GetMassUg()-p.GetWeighing().GetMassUg(), int64(p.GetWasCount())-int64(p.GetCount()), p.GetWasCount())
	}
	return nil
}

func (v Exceptions) stock(rows eventstore.Rows, event *stockv1.Event) error {
	switch e := event.GetEvent().(type) {
	case *stockv1.Event_Moved:
		p := e.Moved.GetPrivate()
		was, err := v.Place(rows, p.GetThing())
		if err != nil {
			return err
		}
		if was != "" {
			rows.Delete(key("where", was, p.GetThing()))
		}
		rows.Set(key("where", p.GetPlace(), p.GetThing()), row{}.text(p.GetHolderId()))
		rows.Set(key("place", p.GetThing()), row{}.text(p.GetPlace()))
	case *stockv1.Event_Counted:
		p, id := e.Counted.GetPrivate(), e.Counted.GetPublic().GetCountId()
		for i, f := range p.GetFound() {
			if f.GetThere() {
				continue
			}
			members, _, err := v.concerned(rows, f.GetThing())
			if err != nil {
				return err
			}
			v.open(rows, Exception{
				ID: fmt.Sprintf("count-%s-%d", id, i+1), Kind: CountDifference, Thing: f.GetThing(), Members: members,
				What: "it wasn't at " + p.GetPlace() + " when that was counted",
			})
		}
		for i, thing := range p.GetStrange() {
			members, _, err := v.concerned(rows, thing)
			if err != nil {
				return err
			}
			v.open(rows, Exception{
				ID: fmt.Sprintf("count-%s-s%d", id, i+1), Kind: CountDifference, Thing: thing, Members: members,
				What: "it was found at " + p.GetPlace() + " and belongs elsewhere",
			})
		}
	case *stockv1.Event_ExceptionClosed:
		p := e.ExceptionClosed.GetPrivate()
		id := p.GetExceptionId()
		found := Exception{ID: id}
		value, err := rows.Get(key("open", id))
		if err != nil {
			return err
		}
		if value != nil {
			if found, err = readException(id, value); err != nil {
				return err
			}
			rows.Delete(key("open", id))
		}
		found.Note, found.ClosedBy = p.GetNote(), p.GetClosedBy()
		rows.Set(key("closed", id), exceptionRow(found))
	}
	return nil
}

func (Exceptions) open(rows eventstore.Rows, e Exception) {
	rows.Set(key("open", e.ID), exceptionRow(e))
}

func exceptionRow(e Exception) row {
	return row{}.text(e.Kind).text(e.Thing).text(e.What).texts(e.Members).text(e.Note).text(e.ClosedBy)
}

func readException(id string, value []byte) (Exception, error) {
	f := read(value)
	e := Exception{ID: id, Kind: f.text(), Thing: f.text(), What: f.text(), Members: f.texts(), Note: f.text(), ClosedBy: f.text()}
	return e, f.done("exceptions", "exception")
}

// partOf is the parcel that a piece, stone or lot is of, and whether its field is shown.
type partOf struct {
	parcelID string
	shown    bool
}

func (p partOf) row() row { return row{}.text(p.parcelID).flag(p.shown) }

func readPartOf(value []byte) (partOf, error) {
	f := read(value)
	p := partOf{f.text(), f.flag()}
	return p, f.done("exceptions", "thing's parcel")
}

// parties are a parcel's seller and its last buyer; empty: none yet.
type parties struct{ seller, buyer string }

func (p parties) row() row { return row{}.text(p.seller).text(p.buyer) }

func readParties(value []byte) (parties, error) {
	f := read(value)
	p := parties{f.text(), f.text()}
	return p, f.done("exceptions", "parcel's parties")
}

func (p parties) members() []string {
	return slices.DeleteFunc([]string{p.seller, p.buyer}, func(id string) bool { return id == "" })
}

// concerned are the members whom a parcel, piece, stone or lot concerns, and whether its
// field is shown.
func (v Exceptions) concerned(r eventstore.Reader, thing string) (members []string, shown bool, err error) {
	parcelID, isParcel := strings.CutPrefix(thing, "parcel/")
	if !isParcel {
		value, err := r.Get(key("of", thing))
		if err != nil || value == nil {
			return nil, true, err
		}
		of, err := readPartOf(value)
		if err != nil {
			return nil, false, err
		}
		parcelID, shown = of.parcelID, of.shown
	}
	p, err := v.parties(r, parcelID)
	return p.members(), shown, err
}

func (Exceptions) parties(r eventstore.Reader, parcelID string) (parties, error) {
	value, err := r.Get(key("parties", parcelID))
	if err != nil || value == nil {
		return parties{}, err
	}
	return readParties(value)
}

// Open gives the exceptions that events tell of and nobody has closed, by id.
func (Exceptions) Open(r eventstore.Reader, after string, limit int) (all []Exception, next string, err error) {
	return exceptions(r, "open", after, limit)
}

// Closed gives the exceptions that were looked into, by id.
func (Exceptions) Closed(r eventstore.Reader, after string, limit int) (all []Exception, next string, err error) {
	return exceptions(r, "closed", after, limit)
}

func exceptions(r eventstore.Reader, which, after string, limit int) (all []Exception, next string, err error) {
	next, err = page(r, table(which), after, limit, func(id string, value []byte) error {
		e, err := readException(id, value)
		all = append(all, e)
		return err
	})
	return all, next, err
}

// Find finds an exception that an event told of; ok is false where none with this id is
// open.
func (Exceptions) Find(r eventstore.Reader, id string) (e Exception, ok bool, err error) {
	value, err := r.Get(key("open", id))
	if err != nil || value == nil {
		return e, false, err
	}
	e, err = readException(id, value)
	return e, err == nil, err
}

// WasClosed tells whether somebody looked into an exception.
func (Exceptions) WasClosed(r eventstore.Reader, id string) (bool, error) {
	value, err := r.Get(key("closed", id))
	return value != nil, err
}

// Place is where a thing was put last; empty: nobody said.
func (Exceptions) Place(r eventstore.Reader, thing string) (string, error) {
	value, err := r.Get(key("place", thing))
	if err != nil {
		return "", err
	}
	return readText("exceptions", "place", value)
}

// Held is a thing at a place.
type Held struct{ Thing, Place, Holder string }

// Where gives what is at a place, by thing; place empty: everything, by place.
func (Exceptions) Where(r eventstore.Reader, place, after string, limit int) (all []Held, next string, err error) {
	prefix := table("where")
	if place != "" {
		prefix = table("where", place)
	}
	next, err = page(r, prefix, after, limit, func(rest string, value []byte) error {
		at := place
		if place == "" {
			at, rest, _ = strings.Cut(rest, "\x00")
		}
		holder, err := readText("exceptions", "thing at a place", value)
		all = append(all, Held{Thing: rest, Place: at, Holder: holder})
		return err
	})
	return all, next, err
}
