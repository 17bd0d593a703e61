package stone

import (
	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
)

// EvolveCorrection folds what a correction changes here: how the stone measures, as long
// as that goes back to the record that was wrong. What it was found to measure since
// stays.
func EvolveCorrection(s State, e *correctionv1.Event) State {
	due := &eventv1.Measured{Weighing: s.Due.GetWeighing(), Size: s.Due.GetSize()}
	switch e := e.GetEvent().(type) {
	case *correctionv1.Event_MassCorrected:
		if p := e.MassCorrected.GetPublic(); p.GetTo().GetAccount() == correctionv1.Account_ACCOUNT_THERE {
			due.Weighing, s.Weighing = p.GetRight(), p.GetRight()
		}
	case *correctionv1.Event_SizeCorrected:
		if p := e.SizeCorrected.GetPublic(); !p.GetMeasuredSince() {
			due.Size, s.Size = p.GetRight(), p.GetRight()
		}
	}
	s.Due = due
	return s
}
