package parcel

import (
	"fmt"
	"slices"
	"time"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/rule"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// What each member may have with one parcel, so that nobody takes it all.
const (
	MaxOpenViewings  = 5 // asked for, agreed or under way
	MaxViewingsOfOne = 20
	MaxNotesOfOne    = 50
)

// What keeps a parcel bounded whoever comes: viewings that aren't over, and notes. Those
// that are over don't keep others out; each member's own bound holds for them.
const (
	MaxViewings = 100
	MaxNotes    = 2000
)

// Viewing is a buyer looking at a parcel before the deal.
type Viewing struct {
	ID, Viewer  string
	Stage       ViewingStage
	At          time.Time // asked for, then set for
	Rub, MayRub bool
	Asked       string // what the viewer asked besides
	Answered    string // what the seller answered
	Why         string // it was called off

	Out, Back     Word
	OutDifference Difference // of what went out from the listing
	Light         string
	Candled       bool
	Rubbed        bool
	Difference    Difference // of what came back from what went out
	Note          string     // the seller's, at its end
}

// Note is what a buyer noted for themselves.
type Note struct {
	By      string
	PieceID string // empty: the whole parcel
	Text    string
}

// ViewingStage is where a viewing stands.
type ViewingStage int

// The stages of a viewing.
const (
	ViewingAsked ViewingStage = iota + 1
	ViewingAgreed
	ViewingOut
	ViewingEnded
	ViewingCalledOff
)

func (s ViewingStage) String() string {
	switch s {
	case ViewingAsked:
		return "asked for"
	case ViewingAgreed:
		return "agreed"
	case ViewingOut:
		return "under way"
	case ViewingEnded:
		return "over"
	case ViewingCalledOff:
		return "called off"
	}
	return "not there"
}

// Viewing finds a viewing.
func (s State) Viewing(id string) (Viewing, bool) {
	i := slices.IndexFunc(s.Viewings, func(v Viewing) bool { return v.ID == id })
	if i < 0 {
		return Viewing{}, false
	}
	return s.Viewings[i], true
}

// AskViewing asks to see the parcel (rule 24).
func (s State) AskViewing(v Viewing, now time.Time) (*parcelv1.Event, error) {
	if err := s.onMarket(v.Viewer); err != nil {
		return nil, err
	}
	if err := s.roomToView(v.Viewer); err != nil {
		return nil, err
	}
	var broken rule.All
	checkWhen(&broken, v.At, now)
	optional(&broken, "note", v.Asked, maxWhy)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &parcelv1.Event{Event: &parcelv1.Event_ViewingAsked{ViewingAsked: &parcelv1.ViewingAsked{
		Public:  &parcelv1.ViewingAsked_Public{ParcelId: s.ID},
		Private: &parcelv1.ViewingAsked_Private{ViewingId: v.ID, ViewerId: v.Viewer, AtUs: v.At.UnixMicro(), Rub: v.Rub, Note: v.Asked},
	}}}, nil
}

// roomToView refuses a buyer who has as many viewings as one may (rule 24). It says
// nothing of others.
func (s State) roomToView(viewer string) error {
	var mine, mineOpen, open int
	for _, v := range s.Viewings {
		if v.Viewer == viewer {
			mine++
		}
		if v.Stage == ViewingEnded || v.Stage == ViewingCalledOff {
			continue
		}
		if open++; v.Viewer == viewer {
			mineOpen++
		}
	}
	full := func(what, hint string) error {
		return rule.Broken{Reason: rule.TooManyViewings, Field: "parcel_id", Value: s.ID, Rule: what, Hint: hint}
	}
	switch {
	case mine >= MaxViewingsOfOne:
		return full(fmt.Sprintf("a parcel is shown to one buyer %d times at most", MaxViewingsOfOne), "make an offer")
	case mineOpen >= MaxOpenViewings:
		return full(fmt.Sprintf("a buyer has %d viewings of a parcel to come at most", MaxOpenViewings), "call one off, or wait until one is over")
	case open >= MaxViewings:
		return full("the parcel takes no more viewings now", "try again later, or make an offer")
	}
	return nil
}

func checkWhen(broken *rule.All, at, now time.Time) {
	if !now.Before(at) || at.Year() > 9999 {
		broken.Add(rule.Broken{
			Reason: rule.TimeInvalid, Field: "at", Value: rule.Moment(at),
			Rule: "a viewing is set for a moment after now, which is " + rule.Moment(now), Hint: "give another moment",
		})
	}
}

// viewing is one that the member has to do with, in one of some stages. One of another
// looks like none.
func (s State) viewing(member, id string, stages ...ViewingStage) (Viewing, error) {
	v, ok := s.Viewing(id)
	if !s.Shown() || !ok || member != s.Seller && member != v.Viewer {
		return v, rule.NotThere("viewing_id", "viewing")
	}
	if !slices.Contains(stages, v.Stage) {
		return v, rule.Broken{
			Reason: rule.ViewingNotThere, Field: "viewing_id", Value: id,
			Rule: "the viewing is " + v.Stage.String(), Hint: "look at where it stands",
		}
	}
	return v, nil
}

// sellersViewing is viewing for the seller alone.
func (s State) sellersViewing(seller, id string, stages ...ViewingStage) (Viewing, error) {
	if s.Seller != seller {
		return Viewing{}, rule.NotThere("viewing_id", "viewing")
	}
	return s.viewing(seller, id, stages...)
}

// AgreeViewing says that the parcel will be shown (rule 24). A zero moment is the one
// that was asked for.
func (s State) AgreeViewing(seller, id string, at time.Time, mayRub bool, note string, now time.Time) (*parcelv1.Event, error) {
	v, err := s.sellersViewing(seller, id, ViewingAsked)
	if err != nil {
		return nil, err
	}
	if at.IsZero() {
		at = v.At
	}
	var broken rule.All
	checkWhen(&broken, at, now)
	optional(&broken, "note", note, maxWhy)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &parcelv1.Event{Event: &parcelv1.Event_ViewingAgreed{ViewingAgreed: &parcelv1.ViewingAgreed{
		Public:  &parcelv1.ViewingAgreed_Public{ParcelId: s.ID},
		Private: &parcelv1.ViewingAgreed_Private{ViewingId: id, AtUs: at.UnixMicro(), MayRub: mayRub, Note: note},
	}}}, nil
}

// CallOffViewing says that it won't take place (rule 24).
func (s State) CallOffViewing(member, id, why string) (*parcelv1.Event, error) {
	if _, err := s.viewing(member, id, ViewingAsked, ViewingAgreed); err != nil {
		return nil, err
	}
	var broken rule.All
	optional(&broken, "why", why, maxWhy)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &parcelv1.Event{Event: &parcelv1.Event_ViewingCalledOff{ViewingCalledOff: &parcelv1.ViewingCalledOff{
		Public:  &parcelv1.ViewingCalledOff_Public{ParcelId: s.ID},
		Private: &parcelv1.ViewingCalledOff_Private{ViewingId: id, MemberId: member, Why: why},
	}}}, nil
}

// StartViewing gives the rough into the viewer's hands (rule 24). Differences from the
// listing stand as they are.
func (s State) StartViewing(seller, id string, count uint32, total *eventv1.Weighing) (*parcelv1.Event, error) {
	if _, err := s.sellersViewing(seller, id, ViewingAgreed); err != nil {
		return nil, err
	}
	if s.Custody() != s.Seller {
		return nil, s.isOut()
	}
	var broken rule.All
	broken.Weighing("total", total)
	if count < 1 {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "count", Value: "0", Rule: "something is shown", Hint: "count what goes out"})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	out := Word{Count: count, Total: total}
	d := difference(Word{Count: s.Count(), Total: s.Total}, out, out)
	return &parcelv1.Event{Event: &parcelv1.Event_ViewingStarted{ViewingStarted: &parcelv1.ViewingStarted{
		Public: &parcelv1.ViewingStarted_Public{ParcelId: s.ID},
		Private: &parcelv1.ViewingStarted_Private{
			ViewingId: id, Count: count, Total: total, DifferenceUg: d.Ug, CountDifference: d.Count, BeyondTolerance: d.Beyond,
		},
	}}}, nil
}

// EndViewing takes the rough back; v holds what came back and what was done to it
// (rule 24). Differences stand as they are.
func (s State) EndViewing(seller string, v Viewing) (*parcelv1.Event, error) {
	out, err := s.sellersViewing(seller, v.ID, ViewingOut)
	if err != nil {
		return nil, err
	}
	var broken rule.All
	if v.Back.Count > 0 || v.Back.Total != nil {
		broken.Weighing("total", v.Back.Total)
	}
	broken.Text("light", v.Light, 120)
	optional(&broken, "note", v.Note, maxNote)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	d := difference(out.Out, v.Back, v.Back)
	return &parcelv1.Event{Event: &parcelv1.Event_ViewingEnded{ViewingEnded: &parcelv1.ViewingEnded{
		Public: &parcelv1.ViewingEnded_Public{ParcelId: s.ID},
		Private: &parcelv1.ViewingEnded_Private{
			ViewingId: v.ID, Count: v.Back.Count, Total: v.Back.Total, Light: v.Light, Candled: v.Candled, Rubbed: v.Rubbed,
			DifferenceUg: d.Ug, CountDifference: d.Count, BeyondTolerance: d.Beyond, Note: v.Note,
		},
	}}}, nil
}

// AddNote keeps a note of a buyer's about a parcel that they can see (rule 25).
func (s State) AddNote(n Note) (*parcelv1.Event, error) {
	if !s.Shown() || s.Seller == n.By || !s.OnMarket() && s.LastDeal().Buyer != n.By {
		return nil, rule.NotThere("parcel_id", "parcel on the market or")
	}
	mine := 0
	for _, old := range s.Notes {
		if old.By == n.By {
			mine++
		}
	}
	switch {
	case mine >= MaxNotesOfOne:
		return nil, rule.Broken{Reason: rule.TooManyNotes, Field: "parcel_id", Value: s.ID, Rule: fmt.Sprintf("each buyer keeps %d notes on a parcel at most", MaxNotesOfOne), Hint: "keep more elsewhere"}
	case len(s.Notes) >= MaxNotes:
		return nil, rule.Broken{Reason: rule.TooManyNotes, Field: "parcel_id", Value: s.ID, Rule: "the parcel takes no more notes", Hint: "keep them elsewhere"}
	}
	var broken rule.All
	broken.Text("text", n.Text, maxNote)
	if n.PieceID != "" && !slices.ContainsFunc(s.Lines, func(l Line) bool { return l.PieceID == n.PieceID }) {
		broken.Add(rule.NotThere("piece_id", "line of this parcel"))
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &parcelv1.Event{Event: &parcelv1.Event_InspectionNoted{InspectionNoted: &parcelv1.InspectionNoted{
		Public:  &parcelv1.InspectionNoted_Public{ParcelId: s.ID},
		Private: &parcelv1.InspectionNoted_Private{ViewerId: n.By, PieceId: n.PieceID, Text: n.Text},
	}}}, nil
}

// viewed folds what happens to viewings.
func viewed(s State, event *parcelv1.Event) State {
	if e := event.GetViewingAsked().GetPrivate(); e != nil {
		s.Viewings = append(slices.Clip(s.Viewings), Viewing{
			ID: e.GetViewingId(), Viewer: e.GetViewerId(), Stage: ViewingAsked, At: moment(e.GetAtUs()), Rub: e.GetRub(), Asked: e.GetNote(),
		})
		return s
	}
	var id string
	var change func(*Viewing)
	switch e := event.GetEvent().(type) {
	case *parcelv1.Event_ViewingAgreed:
		p := e.ViewingAgreed.GetPrivate()
		id, change = p.GetViewingId(), func(v *Viewing) {
			v.Stage, v.At, v.MayRub, v.Answered = ViewingAgreed, moment(p.GetAtUs()), p.GetMayRub(), p.GetNote()
		}
	case *parcelv1.Event_ViewingCalledOff:
		p := e.ViewingCalledOff.GetPrivate()
		id, change = p.GetViewingId(), func(v *Viewing) { v.Stage, v.Why = ViewingCalledOff, p.GetWhy() }
	case *parcelv1.Event_ViewingStarted:
		p := e.ViewingStarted.GetPrivate()
		id, change = p.GetViewingId(), func(v *Viewing) {
			v.Stage, v.Out = ViewingOut, Word{Count: p.GetCount(), Total: p.GetTotal()}
			v.OutDifference = Difference{p.GetDifferenceUg(), p.GetCountDifference(), p.GetBeyondTolerance()}
		}
	case *parcelv1.Event_ViewingEnded:
		p := e.ViewingEnded.GetPrivate()
		id, change = p.GetViewingId(), func(v *Viewing) {
			v.Stage, v.Back = ViewingEnded, Word{Count: p.GetCount(), Total: p.GetTotal()}
			v.Light, v.Candled, v.Rubbed, v.Note = p.GetLight(), p.GetCandled(), p.GetRubbed(), p.GetNote()
			v.Difference = Difference{p.GetDifferenceUg(), p.GetCountDifference(), p.GetBeyondTolerance()}
		}
	}
	s.Viewings = slices.Clone(s.Viewings)
	for i := range s.Viewings {
		if s.Viewings[i].ID == id {
			change(&s.Viewings[i])
		}
	}
	return s
}
