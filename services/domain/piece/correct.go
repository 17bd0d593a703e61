package piece

import (
	"slices"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
)

// EvolveCorrection folds what a correction changes here. Where the part still weighs
// what was wrong, it weighs what is right from now on; where it was weighed again or
// used up since, the difference is in what two weighings of the same thing disagree by.
// What a step's part weighed more was not lost there.
func EvolveCorrection(s State, e *correctionv1.Event) State {
	if c := e.GetSizeCorrected().GetPublic(); c != nil {
		s.Size = c.GetRight()
	}
	c := e.GetMassCorrected().GetPublic()
	if c == nil {
		return s
	}
	more := c.GetRight().GetMassUg() - c.GetWas().GetMassUg()
	if c.GetPart() == "" {
		s.Weighing = c.GetRight()
	} else {
		s.Losses = s.Losses.with(c.GetLossReason(), -more)
	}
	part := c.GetPart()
	if part == "" {
		part = s.Label
	}
	i := s.index(part)
	if c.GetWeighedSince() || i < 0 {
		s.UnexplainedUg += more
		return s
	}
	s.Parts = slices.Clone(s.Parts)
	due := s.Parts[i].Due
	s.Parts[i].Weighing = c.GetRight()
	s.Parts[i].Due = &eventv1.Weighing{MassUg: due.GetMassUg() + more, DivisionUg: max(due.GetDivisionUg(), c.GetRight().GetDivisionUg())}
	return s
}
