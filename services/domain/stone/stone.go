// Package stone holds a finished stone: what it is and whose it is.
//
// Deciding methods look at a State and return what happened or a refusal (package
// rule); Evolve assigns and never refuses. All of it is pure.
package stone

import (
	"fmt"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/rule"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// State is a stone as far as has happened. Rules:
//
//  1. A stone is finished once, weighed and measured.
//  2. Outline, kind, treatment, hydrophane and composite are always answered.
//  3. Only its cutter puts it on sale, while it is in stock or on sale and nobody holds it; a new price replaces the old one.
//  4. A price is more than nothing, in the currency of the stone's parcel.
//  5. It is sold only while on sale, at the price asked, and to nobody else while somebody holds it.
//  6. Only a sold stone comes back, to its cutter; then it is in stock, measured again.
//  7. A pair or suite has a price for each stone; its stones are offered, held, sold and sent out together or not at all.
//  8. A hold ends at its moment, whether or not anybody says so; before, only its holder lets go of it.
//  9. A stone goes out only while on sale, measured, at the price asked; out, it is sold only to whom it is with.
//  10. A stone that was out comes back, to its cutter, measured again; also one that was lost or broken at the cutter's cost.
//  11. A sale is called off only into what it was sold from: on sale, at its price, in its set.
//  12. Before it is first offered its final check stands: all that a bezel setting needs is there, it measures what
//     it should, however often it is checked, and a second person has confirmed it. A stone that came back otherwise
//     than it went is checked again.
//  13. A stone is cut again while it is in stock: it is the same stone with new facts, unchecked; papers from before
//     are void.
//  14. A grade is revised as long as the stone is with its cutter.
//  15. A stock count weighs it again, wherever the cutter has it.
//  16. In a counted lot a stone has no name of its own; it gets it back when the lot is unmade, unchecked.
//
// States are shared between goroutines: nothing that is reachable from one is ever
// changed.
type State struct {
	Facts *stonev1.Finished_Public // as finished; nil: no stone
	Stage Stage

	Weighing *eventv1.Weighing // as last measured
	Size     *eventv1.Size
	// Due is what it should measure: as it was finished, or since then cut again, counted,
	// corrected, or back from somewhere otherwise than it went. Measuring it once more
	// doesn't change it, so small differences never add up.
	Due *eventv1.Measured

	Price   *eventv1.Amount // asked while on sale, agreed while sold or out
	Buyer   string          // while sold
	OrderID string          // while sold

	Set  Set  // while on sale or sold
	Hold Hold // the last one, while on sale
	Out  Out  // while out, or lost or broken there

	Check   Check  // the final check that stands
	Class   string // the co-op's own word; empty: not classed
	Remarks string // what else is to be said
	Recuts  int    // how many times it was cut again
	LotID   string // while in a counted lot
	Told    Told   // of the newest correction of what it is said to be
}

// Stage is where a stone stands.
type Stage int

// The stages; the zero Stage is a stone that isn't there.
const (
	InStock Stage = iota + 1
	OnSale
	Sold
	AtJeweller // out on approval or consignment
	Lost       // while it was out, at its cutter's cost
	Broken     // likewise

	// InLot has the number of the API's state.
	InLot Stage = 10 // one of a counted lot
)

func (s State) id() string { return s.Facts.GetStoneId() }

// Finish makes the stone (rules 1 and 2). Its mass against its part is the piece's
// rule.
func (s State) Finish(f *stonev1.Finished_Public, p *stonev1.Finished_Private) (*stonev1.Event, error) {
	if s.Facts != nil {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: s.id(), Rule: "a stone is finished once", Hint: "look it up under this id"}
	}
	var broken rule.All
	broken.Text("label", f.GetLabel(), 40)
	broken.Weighing("weighing", f.GetWeighing())
	broken.Size("size", f.GetSize())
	broken.Answered("outline", int32(f.GetOutline()), stonev1.Outline_name)
	broken.Answered("kind", int32(f.GetKind()), eventv1.Kind_name)
	broken.Answered("treatment", int32(f.GetTreatment()), eventv1.Treatment_name)
	broken.Answered("hydrophane", int32(f.GetHydrophane()), stonev1.Hydrophane_name)
	broken.Answered("composite", int32(f.GetComposite()), stonev1.Composite_name)
	checkGrade(&broken, f.GetGrade())
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &stonev1.Event{Event: &stonev1.Event_Finished{Finished: &stonev1.Finished{Public: f, Private: p}}}, nil
}

// checkGrade: every attribute may be left unjudged, but a judged one is one of the words.
func checkGrade(broken *rule.All, g *stonev1.Grade) {
	if t := g.GetBodyTone(); t > 9 {
		broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: "grade.body_tone", Value: fmt.Sprint(t), Rule: "body tone is 1 (darkest) to 9 (lightest)", Hint: "0 where it isn't judged"})
	}
	for _, a := range []struct {
		field  string
		number int32
		known  map[int32]string
	}{
		{"grade.transparency", int32(g.GetTransparency()), stonev1.Transparency_name},
		{"grade.pattern", int32(g.GetPattern()), stonev1.Pattern_name},
		{"grade.brightness", int32(g.GetBrightness()), stonev1.Brightness_name},
	} {
		if _, ok := a.known[a.number]; !ok {
			broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: a.field, Value: fmt.Sprint(a.number), Rule: "it is one of the words offered", Hint: "0 where it isn't judged"})
		}
	}
}

// Evolve folds one event.
func Evolve(s State, e *stonev1.Event) State {
	switch e := e.GetEvent().(type) {
	case *stonev1.Event_Finished:
		s.Facts = e.Finished.GetPublic()
		s.Stage, s.Weighing, s.Size = InStock, s.Facts.GetWeighing(), s.Facts.GetSize()
		s.Due = s.Measured()
		s.Class, s.Remarks = e.Finished.GetPrivate().GetClass(), e.Finished.GetPrivate().GetRemarks()
	}
	return evolveSelling(evolveBench(s, e), e)
}
