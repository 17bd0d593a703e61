package stone

import correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"

// EvolveCorrection folds what a correction changes here: how the stone is measured.
func EvolveCorrection(s State, e *correctionv1.Event) State {
	switch e := e.GetEvent().(type) {
	case *correctionv1.Event_MassCorrected:
		s.Weighing = e.MassCorrected.GetPublic().GetRight()
	case *correctionv1.Event_SizeCorrected:
		s.Size = e.SizeCorrected.GetPublic().GetRight()
	}
	return s
}
