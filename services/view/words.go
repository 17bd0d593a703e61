package view

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/services/domain/measure"
)

// Words says in one sentence what the public part of an event states: nothing that
// a stranger with its leaf could not read there. It is empty for an event that no
// chain shows.
func Words(event proto.Message) string {
	switch event := event.(type) {
	case *memberv1.Event:
		return originWords(event)
	case *parcelv1.Event:
		return parcelWords(event)
	case *piecev1.Event:
		return pieceWords(event)
	case *stonev1.Event:
		return chainStoneWords(event)
	case *orderv1.Event:
		if event.GetPlaced() != nil {
			return "Ordered"
		}
	}
	return ""
}

func originWords(event *memberv1.Event) string {
	if event.GetFieldRecorded() == nil {
		return ""
	}
	p := event.GetFieldRecorded().GetPublic()
	if p.GetCountry() == "" {
		return "The field: " + p.GetName()
	}
	return fmt.Sprintf("The field: %s, %s", p.GetName(), p.GetCountry())
}

func parcelWords(event *parcelv1.Event) string {
	switch e := event.GetEvent().(type) {
	case *parcelv1.Event_Listed:
		p := e.Listed.GetPublic()
		return fmt.Sprintf("Parcel %s listed: %d lines, %s together, by the seller's own word", p.GetLabel(), len(p.GetLines()), massWords(p.GetTotal()))
	case *parcelv1.Event_HandedOver:
		return "Parcel handed over, counted and weighed by both sides"
	}
	return ""
}

func pieceWords(event *piecev1.Event) string {
	switch e := event.GetEvent().(type) {
	case *piecev1.Event_Described:
		p := e.Described.GetPublic()
		origin := ""
		if p.GetFieldId() == "" {
			origin = "; its field is not shown"
		}
		return fmt.Sprintf("Piece %s, %s%s", p.GetLabel(), massWords(p.GetWeighing()), origin)
	case *piecev1.Event_Worked:
		return workedWords(e.Worked.GetPublic())
	case *piecev1.Event_Finished:
		p := e.Finished.GetPublic()
		return fmt.Sprintf("Part %s, %s, was ground and polished to the stone; %s ground off", p.GetPart(), massWords(p.GetMassIn()), measure.Mass(p.GetLossUg()))
	}
	return ""
}

func chainStoneWords(event *stonev1.Event) string {
	switch e := event.GetEvent().(type) {
	case *stonev1.Event_Finished:
		p := e.Finished.GetPublic()
		return fmt.Sprintf("Finished from part %s: %s", p.GetPart(), stoneWords(p))
	case *stonev1.Event_Sold:
		return "Sold"
	case *stonev1.Event_Returned:
		p := e.Returned.GetPublic()
		return fmt.Sprintf("Came back and was measured again: %s, %s", caratWords(p.GetWeighing()), sizeWords(p.GetSize()))
	}
	return ""
}

// massWords is a mass as its scale showed it.
func massWords(w *eventv1.Weighing) string {
	return measure.Mass(w.GetMassUg()).OnScale(measure.Mass(max(1, w.GetDivisionUg())))
}

func caratWords(w *eventv1.Weighing) string { return measure.Mass(w.GetMassUg()).Carats() }

func sizeWords(s *eventv1.Size) string {
	var words []string
	for _, n := range []int64{s.GetLengthUm(), s.GetWidthUm(), s.GetDepthUm()} {
		words = append(words, strings.TrimSuffix(measure.Length(n).Millimetres(0), " mm"))
	}
	return strings.Join(words, " × ") + " mm"
}

func stoneWords(p *stonev1.Finished_Public) string {
	outline := strings.ToLower(strings.TrimPrefix(p.GetOutline().String(), "OUTLINE_"))
	return fmt.Sprintf("stone %s, %s, %s, %s", p.GetLabel(), outline, caratWords(p.GetWeighing()), sizeWords(p.GetSize()))
}

// stepWords are the bench steps as one says that they were done.
var stepWords = map[piecev1.Step]string{
	piecev1.Step_STEP_SAW: "sawn", piecev1.Step_STEP_SPLIT: "split", piecev1.Step_STEP_TRIM: "trimmed",
	piecev1.Step_STEP_GRIND: "ground", piecev1.Step_STEP_SHAPE: "shaped", piecev1.Step_STEP_SAND: "sanded",
	piecev1.Step_STEP_POLISH: "polished", piecev1.Step_STEP_FLATTEN_BACK: "flattened at the back",
	piecev1.Step_STEP_BEVEL: "bevelled at the back", piecev1.Step_STEP_LOOK: "opened to look", piecev1.Step_STEP_DOP: "dopped",
	piecev1.Step_STEP_SET_ASIDE: "set aside",
}

func workedWords(p *piecev1.Worked_Public) string {
	var out []string
	for _, part := range p.GetPartsOut() {
		out = append(out, part.GetName()+" "+massWords(part.GetWeighing()))
	}
	how := ""
	if p.GetHow() != "" {
		how = " " + p.GetHow()
	}
	return fmt.Sprintf("Part %s, %s, was %s%s: %s", p.GetPart(), massWords(p.GetMassIn()), stepWords[p.GetStep()], how, strings.Join(out, ", "))
}
