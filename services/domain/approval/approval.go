// Package approval holds goods that are out with a jeweller on approval (for days) or on
// consignment (for months): asked for, sent, and each stone bought, back, lost or
// broken.
//
// Deciding methods look at a State and return what happened or a refusal (package
// rule); Evolve assigns and never refuses. All of it is pure.
package approval

import (
	"slices"
	"time"

	approvalv1 "seamshare.example/proto/gen/seamshare/event/approval/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
)

// MaxLines is how many stones go out together at most.
const MaxLines = 100

// State is goods on approval or consignment as far as has happened. Rules:
//
//  1. A jeweller asks once, for at least one stone, each once, all of one cutter. What they ask under is the most that may
//     become theirs to pay: the prices then, a latest day, and loss and breakage borne by the cutter unless they offer to.
//  2. They are due on a day that lies ahead, no further than the settings allow for the kind, counted from when they are
//     sent; the cutter may give more time while something is out, by the same measure from then.
//  3. Only the cutter sends them, all of them, each measured and photographed, and says who bears loss and breakage;
//     nothing of it to the jeweller's cost beyond what they asked under.
//  4. What one jeweller has out in one currency stays within the settings' limit.
//  5. The cutter may decline, the jeweller withdraw, until they are sent.
//  6. When now is not before the day they are due, what is out is overdue, in decisions and queries alike; it can still
//     be bought or come back.
//  7. The jeweller buys what is out at the prices it went out with; of a pair or suite all that is still out.
//  8. A stone that comes back is measured and photographed again; where that isn't what went out, the record says so: it
//     may be another stone.
//  9. Jeweller or cutter says that a stone is lost or broke. Where the jeweller bears it, they owe its price; where the
//     cutter does, nobody owes anything, and the stone may still come back. At the jeweller's cost the cutter says so only
//     after the day they are due, and after the one asked for.
//
// States are shared between goroutines: nothing that is reachable from one is ever
// changed.
type State struct {
	ID       string
	Kind     approvalv1.GoodsKind
	Jeweller string
	Cutter   string
	StoneIDs []string // as asked for
	Seen     []int64  // the price of each then, in minor units
	AskedFor time.Time
	Note     string

	// As asked, until they are sent.
	DueAt    time.Time
	Currency string
	Loss     approvalv1.Bearer
	Breakage approvalv1.Bearer

	Sent      bool
	Lines     []Line // once sent
	Carrier   string
	Reference string

	Declined  bool
	Why       string // it was declined
	Withdrawn bool
}

// Line is one stone that went out.
type Line struct {
	StoneID  string
	ParcelID string
	SetID    string
	Price    int64 // minor units
	Out      *eventv1.Measured
	Stage    LineStage

	Back        *eventv1.Measured
	MassDiffers bool
	SizeDiffers bool
	OrderID     string // bought, or to be paid
	How         string // it was lost or broken
}

// LineStage is where one stone stands.
type LineStage int

// The stages of a stone; the zero LineStage isn't sent.
const (
	Out LineStage = iota + 1
	Bought
	Returned
	Lost
	Broken
)

// Stage is where all of it stands.
type Stage int

// The stages; the zero Stage is what isn't there.
const (
	Asked Stage = iota + 1
	AllOut
	Overdue
	Settled
	Declined
	Withdrawn
)

// Stage says where it stands at a moment (rule 6).
func (s State) Stage(now time.Time) Stage {
	switch {
	case s.ID == "":
		return 0
	case s.Declined:
		return Declined
	case s.Withdrawn:
		return Withdrawn
	case !s.Sent:
		return Asked
	case !slices.ContainsFunc(s.Lines, func(l Line) bool { return l.Stage == Out }):
		return Settled
	case !now.Before(s.DueAt):
		return Overdue
	}
	return AllOut
}

// Line finds a stone's line.
func (s State) Line(stoneID string) (Line, bool) {
	i := slices.IndexFunc(s.Lines, func(l Line) bool { return l.StoneID == stoneID })
	if i < 0 {
		return Line{}, false
	}
	return s.Lines[i], true
}

// Bearer is who bears that a stone is lost or broke.
func (s State) Bearer(broken bool) approvalv1.Bearer {
	if broken {
		return s.Breakage
	}
	return s.Loss
}

// Value is what the stones that are out are worth together, at the prices they went
// out with.
func (s State) Value() int64 {
	var sum int64
	for _, l := range s.Lines {
		if l.Stage == Out {
			sum += l.Price
		}
	}
	return sum
}

// Evolve folds one event.
func Evolve(s State, e *approvalv1.Event) State {
	switch e := e.GetEvent().(type) {
	case *approvalv1.Event_Asked:
		p := e.Asked.GetPrivate()
		s.ID, s.Kind, s.Jeweller, s.Cutter = e.Asked.GetPublic().GetApprovalId(), p.GetKind(), p.GetJewellerId(), p.GetCutterId()
		s.StoneIDs, s.Seen, s.Currency, s.Note = p.GetStoneIds(), p.GetPricesMinor(), p.GetCurrency(), p.GetNote()
		s.AskedFor, s.Loss, s.Breakage = moment(p.GetDueAtUs()), p.GetLoss(), p.GetBreakage()
		s.DueAt = s.AskedFor
	case *approvalv1.Event_Sent:
		p := e.Sent.GetPrivate()
		s.Sent, s.Currency, s.DueAt, s.Loss, s.Breakage = true, p.GetCurrency(), moment(p.GetDueAtUs()), p.GetLoss(), p.GetBreakage()
		s.Carrier, s.Reference = p.GetCarrier(), p.GetReference()
		s.Lines = make([]Line, len(p.GetLines()))
		for i, l := range p.GetLines() {
			s.Lines[i] = Line{StoneID: l.GetStoneId(), ParcelID: l.GetParcelId(), SetID: l.GetSetId(), Price: l.GetPriceMinor(), Out: l.GetMeasured(), Stage: Out}
		}
	case *approvalv1.Event_Declined:
		s.Declined, s.Why = true, e.Declined.GetPrivate().GetWhy()
	case *approvalv1.Event_Withdrawn:
		s.Withdrawn = true
	case *approvalv1.Event_Extended:
		s.DueAt = moment(e.Extended.GetPrivate().GetDueAtUs())
	case *approvalv1.Event_Kept:
		p := e.Kept.GetPrivate()
		for _, id := range p.GetStoneIds() {
			s.change(id, func(l *Line) { l.Stage, l.OrderID = Bought, p.GetOrderId() })
		}
	case *approvalv1.Event_TakenBack:
		p := e.TakenBack.GetPrivate()
		s.change(p.GetStoneId(), func(l *Line) {
			l.Stage, l.Back, l.MassDiffers, l.SizeDiffers = Returned, p.GetMeasured(), p.GetMassDiffers(), p.GetSizeDiffers()
		})
	case *approvalv1.Event_Lost:
		p := e.Lost.GetPrivate()
		s.change(p.GetStoneId(), func(l *Line) { l.Stage, l.OrderID, l.How = Lost, p.GetOrderId(), p.GetHow() })
	case *approvalv1.Event_Broken:
		p := e.Broken.GetPrivate()
		s.change(p.GetStoneId(), func(l *Line) { l.Stage, l.OrderID, l.How = Broken, p.GetOrderId(), p.GetHow() })
	}
	return s
}

func moment(us int64) time.Time { return time.UnixMicro(us).UTC() }

// change replaces one line in a copy of the lines.
func (s *State) change(stoneID string, how func(*Line)) {
	s.Lines = slices.Clone(s.Lines)
	for i := range s.Lines {
		if s.Lines[i].StoneID == stoneID {
			how(&s.Lines[i])
		}
	}
}
