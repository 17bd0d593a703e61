package piece

import (
	"fmt"
	"slices"
	"strings"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/rule"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// What keeps a piece's state and its views' rows bounded.
const (
	MaxPartsOut = 50  // parts that one step leaves
	MaxParts    = 500 // parts of a piece in all, used-up ones included
)

// Describe says what the piece is (rule 1): d to anyone, p to those concerned.
func (s State) Describe(d *piecev1.Described_Public, p *piecev1.Described_Private) (*piecev1.Event, error) {
	if s.ID != "" {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: s.ID, Rule: "a piece is described once", Hint: "look it up under this id"}
	}
	var broken rule.All
	broken.PartName("label", d.GetLabel())
	broken.Weighing("weighing", d.GetWeighing())
	broken.Answered("kind", int32(d.GetKind()), eventv1.Kind_name)
	switch {
	case d.GetCount() < 1:
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "count", Value: "0", Rule: "a line counts at least one stone", Hint: "1 for a piece, more for a lot of chips"})
	case d.GetSize() != nil:
		broken.Size("size", d.GetSize())
	case d.GetCount() == 1:
		broken.Add(rule.Broken{Reason: rule.SizeInvalid, Field: "size", Value: "missing", Rule: "a single piece has its three longest dimensions", Hint: "measure it, or list chips as a counted lot"})
	}
	checkRange(&broken, d)
	CheckPhotos(&broken, "photos", d.GetPhotos())
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &piecev1.Event{Event: &piecev1.Event_Described{Described: &piecev1.Described{Public: d, Private: p}}}, nil
}

// checkRange holds the size range of a counted lot, where it was measured.
func checkRange(broken *rule.All, d *piecev1.Described_Public) {
	small, large := d.GetSmallestUm(), d.GetLargestUm()
	switch {
	case small == 0 && large == 0:
	case d.GetCount() < 2:
		broken.Add(rule.Broken{Reason: rule.SizeInvalid, Field: "smallest_um", Value: fmt.Sprint(small), Rule: "a size range is of a counted lot; a piece has its dimensions", Hint: "give its size"})
	case small < 1 || large < small || large > rule.MaxLengthUm:
		broken.Add(rule.Broken{
			Reason: rule.SizeInvalid, Field: "smallest_um", Value: fmt.Sprintf("%d to %d", small, large),
			Rule: fmt.Sprintf("a size range goes from 1 to %d micrometres, the smallest first", int64(rule.MaxLengthUm)), Hint: "measure the smallest and the largest stone",
		})
	}
}

// Work is one bench step on one part.
type Work struct {
	Member  string
	Part    string
	Step    piecev1.Step
	MassIn  *eventv1.Weighing // nil: as last weighed
	Out     []Out
	Reason  piecev1.Reason
	How     string
	AreaUm2 int64 // of the cut; 0: not measured
	Note    string

	NotWeighed bool // then there is no MassIn and nothing in Out
	Tray, Dop  string
	Minutes    uint32 // at the bench
	When       When
}

// Out is a part that a step leaves.
type Out struct {
	Name     string
	Weighing *eventv1.Weighing
	Fate     Fate // 0: in work
}

// Work records a step (rules 2 to 8 and 12 to 14). That the member has the piece in
// hand is the parcel's rule.
func (s State) Work(w Work) (*piecev1.Event, error) {
	part, err := s.inWork(w.Part)
	if err != nil {
		return nil, err
	}
	if w.NotWeighed {
		if err := checkNotWeighed(w); err != nil {
			return nil, err
		}
		w.Out = []Out{{Name: part.Name, Weighing: part.Weighing}}
	}
	in := w.MassIn
	if in == nil {
		in = part.Weighing
	}
	var broken rule.All
	broken.Answered("step", int32(w.Step), piecev1.Step_name)
	broken.Weighing("mass_in", in)
	s.checkOut(&broken, w)
	if err := broken.Err(); err != nil { // sums over impossible masses say nothing
		return nil, err
	}
	if w.MassIn != nil { // else it goes on from a weighing that was held against this rule
		checkAgain(&broken, "mass_in.mass_ug", part, in)
	}
	var out int64
	parts := make([]*piecev1.Part, len(w.Out))
	for i, o := range w.Out {
		out += o.Weighing.GetMassUg()
		fate := o.Fate
		if fate == 0 {
			fate = InWork
		}
		parts[i] = &piecev1.Part{Name: o.Name, Weighing: o.Weighing, Fate: piecev1.Fate(fate)}
	}
	loss := in.GetMassUg() - out
	reason := w.Reason
	if loss == 0 {
		reason = piecev1.Reason_REASON_UNSPECIFIED // there is nothing it could be the reason for
	}
	checkLoss(&broken, w, in, out)
	checkMinutes(&broken, w.Minutes)
	w.When.check(&broken, part)
	rested := int64(0)
	if w.Step == piecev1.Step_STEP_SAND || w.Step == piecev1.Step_STEP_POLISH {
		rested = w.When.checkRest(&broken, part)
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	whyEarly := w.When.WhyEarly
	if rested == 0 {
		whyEarly = "" // there is nothing it could be the reason for
	}
	return &piecev1.Event{Event: &piecev1.Event_Worked{Worked: &piecev1.Worked{
		Public: &piecev1.Worked_Public{
			PieceId: s.ID, Part: w.Part, Step: w.Step, MassIn: in, PartsOut: parts,
			LossUg: loss, Reason: reason, AreaUm2: w.AreaUm2,
			MassInNotWeighed: w.MassIn == nil, NotWeighed: w.NotWeighed, DoneAtUs: w.When.us(), RestedS: rested,
		},
		Private: &piecev1.Worked_Private{
			MemberId: w.Member, Note: w.Note, Tray: w.Tray, Dop: w.Dop, Minutes: w.Minutes, WhyEarly: whyEarly, How: w.How,
		},
	}}}, nil
}

// inWork is the part, if it can be worked (rules 2 and 3).
func (s State) inWork(name string) (Part, error) {
	part, err := s.there(name)
	if err != nil {
		return Part{}, err
	}
	if part.Fate != InWork {
		hint := "place it back in work first"
		switch part.Fate {
		case Stone:
			hint = "choose another part"
		case Waiting:
			hint = "say what was decided first"
		case MovedOn:
			hint = "take it back first, or choose another part"
		}
		return Part{}, rule.Broken{Reason: rule.PartNotInWork, Field: "part", Value: name, Rule: "the part is " + part.Fate.String(), Hint: hint}
	}
	if s.Count > 1 {
		return Part{}, rule.Broken{
			Reason: rule.CountedLot, Field: "piece_id", Value: s.ID,
			Rule: fmt.Sprintf("it is a counted lot of %d, not one piece", s.Count), Hint: "open the lot into pieces first",
		}
	}
	return part, nil
}

func (s State) there(name string) (Part, error) {
	if s.ID == "" {
		return Part{}, rule.NotThere("piece_id", "piece")
	}
	part, ok := s.Part(name)
	if !ok {
		hint := "choose one of the piece's parts as they are now"
		if slices.Contains(s.Gone, name) {
			hint = "it was cut up or set aside; choose one of the parts as they are now"
		}
		return Part{}, rule.Broken{Reason: rule.NotFound, Field: "part", Value: name, Rule: "the piece has no part of this name", Hint: hint}
	}
	return part, nil
}

// checkOut holds each part out by itself: form, name, fate (rules 7 and 8).
func (s State) checkOut(broken *rule.All, w Work) {
	if n := len(w.Out); n > MaxPartsOut {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "parts_out", Value: fmt.Sprintf("%d parts", n), Rule: fmt.Sprintf("a step leaves at most %d", MaxPartsOut), Hint: "record it as several steps"})
	}
	if n := len(s.Parts) + len(s.Gone) + len(w.Out); n > MaxParts {
		broken.Add(rule.Broken{Reason: rule.TooManyParts, Field: "parts_out", Value: fmt.Sprintf("%d parts", len(w.Out)), Rule: fmt.Sprintf("a piece has at most %d parts in all, used-up ones included", MaxParts), Hint: "let a part keep its name where it isn't parted"})
	}
	if len(w.Out) > 0 && w.Step == piecev1.Step_STEP_SET_ASIDE {
		broken.Add(rule.Broken{Reason: rule.SetAsideLeavesParts, Field: "parts_out", Value: fmt.Sprintf("%d parts", len(w.Out)), Rule: "nothing is left of a part that is set aside", Hint: "leave them out, or name the step that left them"})
	}
	for i, o := range w.Out {
		at := fmt.Sprintf("parts_out[%d].", i)
		broken.Weighing(at+"weighing", o.Weighing)
		if o.Fate < 0 || o.Fate > Offcut {
			broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: at + "fate", Value: o.Fate.String(), Rule: "a part goes on in work, to the shelf or to the off-cuts", Hint: "finish a stone with its own step"})
		}
		if !broken.PartName(at+"name", o.Name) {
			continue
		}
		twice := slices.ContainsFunc(w.Out[:i], func(other Out) bool { return other.Name == o.Name })
		if twice || o.Name != w.Part && (s.index(o.Name) >= 0 || slices.Contains(s.Gone, o.Name)) {
			broken.Add(rule.Broken{
				Reason: rule.NamedTwice, Field: at + "name", Value: fmt.Sprintf("%q", o.Name),
				Rule: "a name is given once in a piece, used-up parts included", Hint: "take a new one; one part may keep the name of the part worked on",
			})
		}
	}
}

// checkAgain compares a weighing with what the part should weigh (rule 4).
func checkAgain(broken *rule.All, field string, part Part, in *eventv1.Weighing) {
	was, now := measure.Mass(part.Due.GetMassUg()), measure.Mass(in.GetMassUg())
	allowed := measure.Mass(part.Due.GetDivisionUg() + in.GetDivisionUg())
	if apart := max(was-now, now-was); apart > allowed {
		broken.Add(rule.Broken{
			Reason: rule.WeighingsDiffer, Field: field, Value: now.OnScale(measure.Mass(in.GetDivisionUg())),
			Rule: fmt.Sprintf("part %s should weigh %s, as weighed before and less what was taken off since: %s apart, where the two scales allow %s",
				part.Name, was.OnScale(measure.Mass(part.Due.GetDivisionUg())), apart, allowed),
			Hint: "check that it is the same part, dry it and weigh again, or leave " + strings.TrimSuffix(field, ".mass_ug") + " out to go on from the last weighing",
		})
	}
}

// checkLoss holds rules 5 and 6.
func checkLoss(broken *rule.All, w Work, in *eventv1.Weighing, out int64) {
	loss := in.GetMassUg() - out
	if loss < 0 {
		broken.Add(rule.Broken{
			Reason: rule.HeavierThanBefore, Field: "parts_out", Value: measure.Mass(out).String(),
			Rule: fmt.Sprintf("no more comes out than the %s that went in", measure.Mass(in.GetMassUg())), Hint: "weigh the part before and the parts after on one scale, dry",
		})
	}
	if _, known := piecev1.Reason_name[int32(w.Reason)]; !known || loss > 0 && w.Reason == piecev1.Reason_REASON_UNSPECIFIED {
		broken.Add(rule.Broken{
			Reason: rule.LossNeedsReason, Field: "reason", Value: "missing",
			Rule: fmt.Sprintf("%s was lost, and lost mass has a reason", measure.Mass(loss)), Hint: "say why, as kerf or ground off",
		})
	}
	if loss > 0 && w.Reason == piecev1.Reason_REASON_KERF && w.Step != piecev1.Step_STEP_SAW {
		broken.Add(rule.Broken{
			Reason: rule.KerfWithoutSaw, Field: "reason", Value: "kerf",
			Rule: "only a saw has a kerf", Hint: "name the saw as the step, or another reason",
		})
	}
}
