package stone

import (
	"time"

	"google.golang.org/protobuf/proto"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
)

// Told is the newest correction of what a stone is said to be or comes from, and who had
// to do with the stone then: they learn of it.
type Told struct {
	Jeweller   string // empty: nobody
	At         time.Time
	Correction *correctionv1.Event
}

// With is the jeweller who has the stone, holds it at a moment or has ordered it; empty:
// nobody.
func (s State) With(now time.Time) string {
	switch {
	case s.Stage == Sold:
		return s.Buyer
	case s.Stage == AtJeweller || s.Stage == Lost || s.Stage == Broken:
		return s.Out.Jeweller
	}
	return s.HeldBy(now)
}

// Said is what the stone is said to be: in the record of its finish, or, of its outline,
// of its last cut. Each can only be corrected where it was said.
func (s State) Said(recut bool) *correctionv1.StoneSaid {
	f := s.Facts
	if recut {
		return &correctionv1.StoneSaid{Outline: f.GetOutline()}
	}
	said := &correctionv1.StoneSaid{Kind: f.GetKind(), Treatment: f.GetTreatment(), Hydrophane: f.GetHydrophane(), Composite: f.GetComposite()}
	if s.Recuts == 0 {
		said.Outline = f.GetOutline()
	}
	return said
}

// saidAnew are the facts with what is said of them; what isn't said stays.
func saidAnew(f *stonev1.Finished_Public, right *correctionv1.StoneSaid) *stonev1.Finished_Public {
	f = proto.CloneOf(f)
	proto.Merge(f, &stonev1.Finished_Public{
		Outline: right.GetOutline(), Kind: right.GetKind(), Treatment: right.GetTreatment(), Hydrophane: right.GetHydrophane(), Composite: right.GetComposite(),
	})
	return f
}

// EvolveCorrection folds what a correction changes here: what the stone is said to be, and
// how it measures as long as that goes back to the record that was wrong. What it was found
// to measure since stays, and so does a kind that was said of the stone by itself.
func EvolveCorrection(s State, event *correctionv1.Event) State {
	due := &eventv1.Measured{Weighing: s.Due.GetWeighing(), Size: s.Due.GetSize()}
	switch e := event.GetEvent().(type) {
	case *correctionv1.Event_MassCorrected:
		if p := e.MassCorrected.GetPublic(); p.GetTo().GetAccount() == correctionv1.Account_ACCOUNT_THERE {
			due.Weighing, s.Weighing = p.GetRight(), p.GetRight()
		}
	case *correctionv1.Event_SizeCorrected:
		if p := e.SizeCorrected.GetPublic(); !p.GetMeasuredSince() {
			due.Size, s.Size = p.GetRight(), p.GetRight()
		}
	case *correctionv1.Event_StoneCorrected:
		p := e.StoneCorrected
		s.Facts = saidAnew(s.Facts, p.GetPublic().GetRight())
		s.Told = Told{Jeweller: p.GetPrivate().GetJewellerId(), At: time.UnixMicro(p.GetPrivate().GetAtUs()).UTC(), Correction: event}
	case *correctionv1.Event_PieceCorrected:
		p := e.PieceCorrected
		if s.Facts.GetKind() == p.GetPublic().GetWas().GetKind() {
			s.Facts = saidAnew(s.Facts, &correctionv1.StoneSaid{Kind: p.GetPublic().GetRight().GetKind()})
		}
		s.Told = Told{Jeweller: p.GetPrivate().GetJewellerId(), At: time.UnixMicro(p.GetPrivate().GetAtUs()).UTC(), Correction: event}
	}
	s.Due = due
	return s
}
