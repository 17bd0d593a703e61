package view

import (
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	lotv1 "seamshare.example/proto/gen/seamshare/event/lot/v1"
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
	case *correctionv1.Event:
		return correctionWords(event)
	case *memberv1.Event:
		return originWords(event)
	case *parcelv1.Event:
		return parcelWords(event)
	case *piecev1.Event:
		return pieceWords(event)
	case *stonev1.Event:
		return chainStoneWords(event)
	case *lotv1.Event:
		return lotWords(event)
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
		if e.HandedOver.GetPublic().GetBeyondTolerance() {
			return "Parcel handed over, counted and weighed by both sides, with a difference beyond what the scales allow"
		}
		return "Parcel handed over, counted and weighed by both sides"
	case *parcelv1.Event_LineOpened:
		return fmt.Sprintf("%d pieces taken out of a counted lot of the parcel", len(e.LineOpened.GetPublic().GetPieces()))
	case *parcelv1.Event_FellThrough:
		return "The deal on the parcel fell through"
	case *parcelv1.Event_HandedBack:
		return "The rough went back to its seller, counted and weighed by both sides"
	case *parcelv1.Event_Closed:
		return "All of the parcel accounted for"
	}
	return ""
}

func pieceWords(event *piecev1.Event) string {
	switch e := event.GetEvent().(type) {
	case *piecev1.Event_Described:
		p := e.Described.GetPublic()
		origin := ""
		switch may := p.GetMayBeOfFieldIds(); {
		case len(may) > 0 && slices.Contains(may, ""):
			origin = fmt.Sprintf("; it may be of any of %d fields, one of them not shown", len(may))
		case len(may) > 0:
			origin = fmt.Sprintf("; it may be of any of %d fields", len(may))
		case p.GetFieldId() == "":
			origin = "; its field is not shown"
		}
		if p.GetOrigin() != nil {
			origin += "; listed anew from part " + p.GetOrigin().GetPart() + " of an older parcel"
		}
		return fmt.Sprintf("Piece %s, %s%s", p.GetLabel(), massWords(p.GetWeighing()), origin)
	case *piecev1.Event_Worked:
		return workedWords(e.Worked.GetPublic())
	case *piecev1.Event_Finished:
		p := e.Finished.GetPublic()
		return fmt.Sprintf("Part %s, %s, was ground and polished to the stone; %s ground off%s", p.GetPart(), massWords(p.GetMassIn()), measure.Mass(p.GetLossUg()),
			restWords(p.GetRestedS(), p.GetRestNotKnown()))
	case *piecev1.Event_Recut:
		p := e.Recut.GetPublic()
		return fmt.Sprintf("Cut again, from %s to %s; %s lost", caratWords(p.GetMassIn()), caratWords(p.GetStone()), measure.Mass(p.GetLossUg()))
	case *piecev1.Event_MovedOn:
		p := e.MovedOn.GetPublic()
		where := "into a new parcel"
		if p.GetLotId() != "" {
			where = "into a counted lot"
		}
		return fmt.Sprintf("Part %s, %s, went %s", p.GetPart(), massWords(p.GetWeighing()), where)
	case *piecev1.Event_MixedUp:
		p := e.MixedUp.GetPublic()
		var may []string
		for _, c := range p.GetCandidates() {
			may = append(may, fmt.Sprintf("part %s of piece %s", c.GetPart(), c.GetLabel()))
		}
		return fmt.Sprintf("Part %s was mixed up at the bench: it is one of %s, and nobody knows which", p.GetPart(), strings.Join(may, ", "))
	case *piecev1.Event_DecisionRecorded:
		p := e.DecisionRecorded.GetPublic()
		if p.GetKept() {
			return fmt.Sprintf("Part %s: an inclusion in the face was kept", p.GetPart())
		}
		return fmt.Sprintf("Part %s: an inclusion in the face was ground away", p.GetPart())
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
	case *stonev1.Event_SaleCancelled:
		return "The sale was called off"
	case *stonev1.Event_SentOut:
		return "Went out to a jeweller, not sold: " + measuredWords(e.SentOut.GetPublic().GetMeasured())
	case *stonev1.Event_CameBack:
		p := e.CameBack.GetPublic()
		return "Came back from there: " + measuredWords(p.GetMeasured()) + differsWords(p.GetMassDiffers() || p.GetSizeDiffers())
	case *stonev1.Event_Lost:
		return "Lost while it was out"
	case *stonev1.Event_Broken:
		return "Broke while it was out"
	case *stonev1.Event_Returned:
		p := e.Returned.GetPublic()
		return fmt.Sprintf("Came back and was measured again: %s, %s", caratWords(p.GetWeighing()), sizeWords(p.GetSize()))
	case *stonev1.Event_Regraded:
		return "Its grade was revised"
	case *stonev1.Event_Checked:
		p := e.Checked.GetPublic()
		return fmt.Sprintf("Final check: back flat, wall even, bevel clear, candled; %s, %s, photographed in %s", caratWords(p.GetWeighing()), sizeWords(p.GetSize()), p.GetPhoto().GetLight())
	case *stonev1.Event_CheckConfirmed:
		return "A second person confirmed the final check"
	case *stonev1.Event_Recut:
		p := e.Recut.GetPublic()
		return fmt.Sprintf("New facts after it was cut again: %s, %s; papers from before are void", caratWords(p.GetWeighing()), sizeWords(p.GetSize()))
	case *stonev1.Event_Counted:
		return "Weighed at a stock count: " + caratWords(e.Counted.GetPublic().GetWeighing())
	case *stonev1.Event_PutInLot:
		return "Went into a counted lot, in which no stone has a name of its own"
	case *stonev1.Event_TakenFromLot:
		return "Came out of the counted lot, which was unmade"
	}
	return ""
}

func lotWords(event *lotv1.Event) string {
	switch e := event.GetEvent().(type) {
	case *lotv1.Event_Made:
		p := e.Made.GetPublic()
		return fmt.Sprintf("Counted lot %s, %d of it, %s together, made of %d parts and stones of one parcel; a portion may hold any of them",
			p.GetLabel(), p.GetCount(), massWords(p.GetWeighing()), len(p.GetSources()))
	case *lotv1.Event_Counted:
		p := e.Counted.GetPublic()
		return fmt.Sprintf("The rest of the lot at a stock count: %d of it, %s", p.GetCount(), massWords(p.GetWeighing()))
	case *lotv1.Event_Unmade:
		return "The lot was unmade, and all went back to where it came from"
	}
	return ""
}

func differsWords(differs bool) string {
	if differs {
		return "; it measures otherwise than it went"
	}
	return ""
}

func measuredWords(m *eventv1.Measured) string {
	return caratWords(m.GetWeighing()) + ", " + sizeWords(m.GetSize())
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
	piecev1.Step_STEP_SET_ASIDE: "set aside", piecev1.Step_STEP_WAIT: "left to rest",
}

func workedWords(p *piecev1.Worked_Public) string {
	if p.GetNotWeighed() {
		return fmt.Sprintf("Part %s was %s, not weighed%s", p.GetPart(), stepWords[p.GetStep()], restWords(p.GetRestedS(), false))
	}
	var out []string
	for _, part := range p.GetPartsOut() {
		out = append(out, part.GetName()+" "+massWords(part.GetWeighing()))
	}
	return fmt.Sprintf("Part %s, %s, was %s: %s%s", p.GetPart(), massWords(p.GetMassIn()), stepWords[p.GetStep()], strings.Join(out, ", "), restWords(p.GetRestedS(), false))
}

// restWords say that a part was worked on before it had rested as long as is set; empty
// where it had.
func restWords(restedS int64, notKnown bool) string {
	switch {
	case notKnown:
		return "; how long it rested after shaping isn't recorded"
	case restedS >= 3600:
		return fmt.Sprintf("; it had rested %d h since it was shaped, less than is set", restedS/3600)
	case restedS > 0:
		return "; it had rested less than an hour since it was shaped, less than is set"
	}
	return ""
}
