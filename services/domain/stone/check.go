package stone

import (
	"crypto/sha256"
	"fmt"

	"google.golang.org/protobuf/proto"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/rule"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// Check is the final check. The zero Check: none stands.
type Check struct {
	By          string // the person who checked
	ConfirmedBy string // the second person; empty: not confirmed yet
	Photo       *eventv1.Photo
}

// Stands tells whether the check was made and confirmed.
func (c Check) Stands() bool { return c.ConfirmedBy != "" }

// Checking is what a person says who checks a stone.
type Checking struct {
	Cutter, Person                           string
	BackFlat, WallEven, BevelClears, Candled bool
	CornerRadiusUm                           int64 // the smallest; 0: no corners
	MinCornerRadiusUm                        int64 // as the co-op has set
	Weighing                                 *eventv1.Weighing
	Size                                     *eventv1.Size
	Photo                                    *eventv1.Photo
}

// MakeCheck records the final check (rule 12). What it finds wanting is refused, all of
// it at once: the stone goes back to the bench. It measures what it should, or it isn't
// the stone; one that is really lighter or smaller was cut again.
func (s State) MakeCheck(c Checking) (*stonev1.Event, error) {
	if err := s.inCuttersStock(c.Cutter); err != nil {
		return nil, err
	}
	var broken rule.All
	for _, q := range []struct {
		field, is, do string
		ok            bool
	}{
		{"back_flat", "the back is flat and parallel to the face", "flatten the back", c.BackFlat},
		{"wall_even", "the wall is even in height all round", "even it out", c.WallEven},
		{"bevel_clears", "a bevel round the back clears the fillet at the foot of a bezel", "bevel the back", c.BevelClears},
		{"candled", "a stone is held before a light and looked through before it is sold", "candle it", c.Candled},
	} {
		if !q.ok {
			broken.Add(rule.Broken{Reason: rule.CheckFailed, Field: q.field, Value: "no", Rule: q.is, Hint: q.do + ", then check again"})
		}
	}
	if r := c.CornerRadiusUm; r < 0 || r > 0 && r < c.MinCornerRadiusUm {
		broken.Add(rule.Broken{
			Reason: rule.CheckFailed, Field: "corner_radius_um", Value: fmt.Sprint(r),
			Rule: "no corner is sharper than " + measure.Length(c.MinCornerRadiusUm).Millimetres(0), Hint: "round it, or give 0 for a stone without corners",
		})
	}
	broken.Weighing("weighing", c.Weighing)
	broken.Size("size", c.Size)
	checkPhoto(&broken, "photo", c.Photo)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	if err := s.asDue(&eventv1.Measured{Weighing: c.Weighing, Size: c.Size}); err != nil {
		return nil, err
	}
	return &stonev1.Event{Event: &stonev1.Event_Checked{Checked: &stonev1.Checked{
		Public: &stonev1.Checked_Public{
			StoneId: s.id(), BackFlat: true, WallEven: true, BevelClears: true, CornerRadiusUm: c.CornerRadiusUm, Candled: true,
			Weighing: c.Weighing, Size: c.Size, Photo: c.Photo,
		},
		Private: &stonev1.Checked_Private{PersonId: c.Person},
	}}}, nil
}

// asDue refuses a measurement that isn't what the stone should measure.
func (s State) asDue(m *eventv1.Measured) error {
	var broken rule.All
	differs := Differs(s.Due, m)
	if differs.Mass {
		w, due := m.GetWeighing(), s.Due.GetWeighing()
		is, was := measure.Mass(w.GetMassUg()), measure.Mass(due.GetMassUg())
		broken.Add(rule.Broken{
			Reason: rule.WeighingsDiffer, Field: "weighing.mass_ug", Value: is.GramsAndCarats(),
			Rule: fmt.Sprintf("the stone should weigh %s, %s apart, where the two scales allow %s", was.GramsAndCarats(), max(is-was, was-is), measure.Mass(due.GetDivisionUg()+w.GetDivisionUg())),
			Hint: "check that it is the same stone and weigh again; if more was taken off it, record that it was cut again; if it was weighed wrong at first, have that corrected",
		})
	}
	for _, d := range []struct {
		field   string
		is, was int64
	}{
		{"size.length_um", m.GetSize().GetLengthUm(), s.Due.GetSize().GetLengthUm()},
		{"size.width_um", m.GetSize().GetWidthUm(), s.Due.GetSize().GetWidthUm()},
		{"size.depth_um", m.GetSize().GetDepthUm(), s.Due.GetSize().GetDepthUm()},
	} {
		if apart := max(d.is-d.was, d.was-d.is); apart > SizeToleranceUm {
			broken.Add(rule.Broken{
				Reason: rule.SizesDiffer, Field: d.field, Value: measure.Length(d.is).Millimetres(0),
				Rule: fmt.Sprintf("the stone should measure %s there, %s apart, where two readings may differ by %s", measure.Length(d.was).Millimetres(0), measure.Length(apart).Millimetres(0), measure.Length(SizeToleranceUm).Millimetres(0)),
				Hint: "check that it is the same stone and measure again; if more was taken off it, record that it was cut again; if it was measured wrong at first, have that corrected",
			})
		}
	}
	return broken.Err()
}

func checkPhoto(broken *rule.All, field string, p *eventv1.Photo) {
	if len(p.GetSha256()) != sha256.Size {
		broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: field + ".sha256", Value: fmt.Sprintf("%x", p.GetSha256()), Rule: "a photo is named by the SHA-256 of its bytes, 32 of them", Hint: "take it from where the photo was stored"})
	}
	broken.Text(field+".media_type", p.GetMediaType(), 40)
	broken.Text(field+".light", p.GetLight(), 120)
}

// ConfirmCheck is a second person's word (rule 12). That the person acts for the cutter
// or keeps the co-op's stock is for the caller to know.
func (s State) ConfirmCheck(person, member string) (*stonev1.Event, error) {
	switch {
	case s.Facts == nil:
		return nil, rule.NotThere("stone_id", "stone")
	case s.Stage != InStock || s.Check.By == "":
		return nil, rule.Broken{Reason: rule.StoneNotChecked, Field: "stone_id", Value: s.id(), Rule: "there is no final check that waits to be confirmed", Hint: "check the stone first"}
	case s.Check.Stands():
		return nil, rule.Broken{Reason: rule.AlreadyThere, Field: "stone_id", Value: s.id(), Rule: "the final check is confirmed", Hint: "nothing needs to be done"}
	case s.Check.By == person:
		return nil, rule.Broken{Reason: rule.SecondPersonNeeded, Field: "stone_id", Value: s.id(), Rule: "whoever checked a stone doesn't confirm it", Hint: "let another person of the cutter confirm it, or the stock keeper"}
	}
	return &stonev1.Event{Event: &stonev1.Event_CheckConfirmed{CheckConfirmed: &stonev1.CheckConfirmed{
		Public:  &stonev1.CheckConfirmed_Public{StoneId: s.id()},
		Private: &stonev1.CheckConfirmed_Private{PersonId: person, MemberId: member},
	}}}, nil
}

// Regrading revises a grade.
type Regrading struct {
	Cutter  string
	Grade   *stonev1.Grade
	Class   string
	Classes []string // the co-op's own words
	Why     string
}

// Regrade revises the grade (rule 14).
func (s State) Regrade(r Regrading) (*stonev1.Event, error) {
	if s.Facts == nil || s.Facts.GetCutterId() != r.Cutter {
		return nil, rule.NotThere("stone_id", "stone")
	}
	if s.Stage != InStock && s.Stage != OnSale {
		return nil, rule.Broken{Reason: rule.StoneNotInStock, Field: "stone_id", Value: s.id(), Rule: "a grade is revised while the stone is with its cutter", Hint: "take it back first"}
	}
	var broken rule.All
	checkGrade(&broken, r.Grade)
	CheckClass(&broken, "class", r.Class, r.Classes)
	broken.Text("why", r.Why, 500)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &stonev1.Event{Event: &stonev1.Event_Regraded{Regraded: &stonev1.Regraded{
		Public:  &stonev1.Regraded_Public{StoneId: s.id(), Grade: r.Grade},
		Private: &stonev1.Regraded_Private{Class: r.Class, Why: r.Why},
	}}}, nil
}

// CheckClass: a class is one of the co-op's own words, or not said.
func CheckClass(broken *rule.All, field, class string, classes []string) {
	for _, c := range classes {
		if c == class {
			return
		}
	}
	if class != "" {
		broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: field, Value: fmt.Sprintf("%q", class), Rule: fmt.Sprintf("the co-op's classes are %q", classes), Hint: "use one of these, or none"})
	}
}

// Recutting is what a stone is after it was cut again.
type Recutting struct {
	Cutter   string
	Weighing *eventv1.Weighing
	Size     *eventv1.Size
	Outline  stonev1.Outline
	Grade    *stonev1.Grade
	Remarks  string
	Why      string
}

// Recut gives the stone new facts (rule 13). What it lost is the piece's to account for
// (piece.State.Recut).
func (s State) Recut(r Recutting) (*stonev1.Event, error) {
	if err := s.inCuttersStock(r.Cutter); err != nil {
		return nil, err
	}
	var broken rule.All
	broken.Weighing("weighing", r.Weighing)
	broken.Size("size", r.Size)
	broken.Answered("outline", int32(r.Outline), stonev1.Outline_name)
	checkGrade(&broken, r.Grade)
	broken.Text("why", r.Why, 500)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &stonev1.Event{Event: &stonev1.Event_Recut{Recut: &stonev1.Recut{
		Public: &stonev1.Recut_Public{
			StoneId: s.id(), Weighing: r.Weighing, Size: r.Size, Outline: r.Outline, Grade: r.Grade,
		},
		Private: &stonev1.Recut_Private{Why: r.Why, Remarks: r.Remarks},
	}}}, nil
}

// Counting is what a stock keeper weighed at a stock count.
type Counting struct {
	CountID, Person, Note string
	Weighing              *eventv1.Weighing
}

// Recount weighs the stone again at a stock count (rule 15). The difference is the
// piece's to account for (piece.State.Recount).
func (s State) Recount(c Counting) (*stonev1.Event, error) {
	if s.Facts == nil {
		return nil, rule.NotThere("stone_id", "stone")
	}
	if s.Stage != InStock && s.Stage != OnSale {
		return nil, rule.Broken{Reason: rule.StoneNotInStock, Field: "stone_id", Value: s.id(), Rule: "the stone isn't with its cutter or in the safe", Hint: "count it where it is"}
	}
	var broken rule.All
	broken.Weighing("weighing", c.Weighing)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &stonev1.Event{Event: &stonev1.Event_Counted{Counted: &stonev1.Counted{
		Public:  &stonev1.Counted_Public{StoneId: s.id(), Was: s.Weighing, Weighing: c.Weighing},
		Private: &stonev1.Counted_Private{CountId: c.CountID, PersonId: c.Person, Note: c.Note},
	}}}, nil
}

// MayBeKept refuses where the stone is in nobody's safe by what its chain says: it was
// delivered to its buyer, is out with a jeweller, in a counted lot or gone (rule 6).
func (s State) MayBeKept(delivered bool, field string) error {
	refuse := func(reason rule.Reason, is, hint string) error {
		return rule.Broken{Reason: reason, Field: field, Value: s.id(), Rule: is + ", so that it is in no safe", Hint: hint}
	}
	switch {
	case s.Facts == nil:
		return rule.NotThere(field, "stone")
	case s.Stage == Sold && delivered:
		return refuse(rule.StoneSold, "the stone was sold and sent to its buyer with order "+s.OrderID, "if it is here, its cutter takes it back first (stone return)")
	case s.Stage == AtJeweller:
		return refuse(rule.StoneOut, "the stone is out with a jeweller on approval "+s.Out.ApprovalID, "if it is here, its cutter takes it back first (approval take-back)")
	case s.Stage == Lost || s.Stage == Broken:
		return refuse(rule.StoneGone, "the stone was lost or broke", "if it is here, its cutter takes it back first (approval take-back)")
	case s.Stage == InLot:
		return refuse(rule.StoneNotInStock, "the stone is in a counted lot", "move or count the lot")
	}
	return nil
}

// PutInLot makes the stone one of a counted lot (rule 16).
func (s State) PutInLot(cutter, lotID string) (*stonev1.Event, error) {
	if err := s.inCuttersStock(cutter); err != nil {
		return nil, err
	}
	return &stonev1.Event{Event: &stonev1.Event_PutInLot{PutInLot: &stonev1.PutInLot{
		Public: &stonev1.PutInLot_Public{StoneId: s.id(), LotId: lotID}, Private: &stonev1.PutInLot_Private{},
	}}}, nil
}

// TakeFromLot gives the stone its name back (rule 16). That the lot is unmade is the
// lot's rule.
func (s State) TakeFromLot(lotID string) (*stonev1.Event, error) {
	if s.Stage != InLot || s.LotID != lotID {
		return nil, rule.Broken{Reason: rule.StoneNotInStock, Field: "stone_id", Value: s.id(), Rule: "the stone isn't in this lot", Hint: "nothing needs to be done"}
	}
	return &stonev1.Event{Event: &stonev1.Event_TakenFromLot{TakenFromLot: &stonev1.TakenFromLot{
		Public: &stonev1.TakenFromLot_Public{StoneId: s.id(), LotId: lotID}, Private: &stonev1.TakenFromLot_Private{},
	}}}, nil
}

// inCuttersStock refuses what is done only to a stone that lies in stock.
func (s State) inCuttersStock(cutter string) error {
	if s.Facts == nil || s.Facts.GetCutterId() != cutter {
		return rule.NotThere("stone_id", "stone")
	}
	if s.Stage != InStock {
		return rule.Broken{Reason: rule.StoneNotInStock, Field: "stone_id", Value: s.id(), Rule: "the stone is " + s.Standing() + ", not in stock", Hint: "take it off sale or back first"}
	}
	return nil
}

// evolveBench folds what the bench does to a stone.
func evolveBench(s State, e *stonev1.Event) State {
	switch e := e.GetEvent().(type) {
	case *stonev1.Event_Regraded:
		facts := proto.CloneOf(s.Facts)
		if facts != nil {
			facts.Grade = e.Regraded.GetPublic().GetGrade()
		}
		s.Facts, s.Class = facts, e.Regraded.GetPrivate().GetClass()
	case *stonev1.Event_Checked:
		p := e.Checked.GetPublic()
		s.Check = Check{By: e.Checked.GetPrivate().GetPersonId(), Photo: p.GetPhoto()}
		s.Weighing, s.Size = p.GetWeighing(), p.GetSize()
	case *stonev1.Event_CheckConfirmed:
		s.Check.ConfirmedBy = e.CheckConfirmed.GetPrivate().GetPersonId()
	case *stonev1.Event_Recut:
		p := e.Recut.GetPublic()
		if facts := proto.CloneOf(s.Facts); facts != nil {
			facts.Weighing, facts.Size, facts.Outline, facts.Grade = p.GetWeighing(), p.GetSize(), p.GetOutline(), p.GetGrade()
			s.Facts = facts
		}
		s.Weighing, s.Size, s.Check = p.GetWeighing(), p.GetSize(), Check{}
		s.Due = s.Measured()
		s.Remarks = e.Recut.GetPrivate().GetRemarks()
		s.Recuts++
	case *stonev1.Event_Counted:
		s.Weighing = e.Counted.GetPublic().GetWeighing()
		s.Due = &eventv1.Measured{Weighing: s.Weighing, Size: s.Due.GetSize()}
	case *stonev1.Event_PutInLot:
		s.Stage, s.LotID, s.Check = InLot, e.PutInLot.GetPublic().GetLotId(), Check{}
	case *stonev1.Event_TakenFromLot:
		s.Stage, s.LotID = InStock, ""
	}
	return s
}
