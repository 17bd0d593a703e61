package stone

import (
	"google.golang.org/protobuf/proto"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
)

// EvolveCorrection folds what a correction changes here: how the stone is measured.
func EvolveCorrection(s State, e *correctionv1.Event) State {
	switch e := e.GetEvent().(type) {
	case *correctionv1.Event_MassCorrected:
		if p := e.MassCorrected.GetPublic(); !p.GetWeighedSince() {
			s.Weighing = p.GetRight()
		}
	case *correctionv1.Event_SizeCorrected:
		if p := e.SizeCorrected.GetPublic(); proto.Equal(s.Size, p.GetWas()) { // else it was measured again since
			s.Size = p.GetRight()
		}
	}
	return s
}
