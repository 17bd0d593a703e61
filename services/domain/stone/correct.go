package stone

import (
	"google.golang.org/protobuf/proto"

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
		if p := e.MassCorrected.GetPublic(); !p.GetWeighedSince() {
			due.Weighing, s.Weighing = p.GetRight(), p.GetRight()
		}
	case *correctionv1.Event_SizeCorrected:
		p := e.SizeCorrected.GetPublic()
		if proto.Equal(due.GetSize(), p.GetWas()) {
			due.Size, s.Size = p.GetRight(), p.GetRight()
		}
	}
	s.Due = due
	return s
}
