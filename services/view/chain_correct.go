package view

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/measure"
)

// corrections adds what was put right of the records that are in the chain: both are
// shown ever after, in the stream of the record. Corrections of money are no part of a chain.
func (c *chain) corrections() error {
	linked := map[eventstore.Position]eventstore.Stream{}
	streams := map[eventstore.Stream]bool{}
	for _, l := range c.links {
		linked[l.Position] = l.About
		streams[l.About] = true
	}
	for about := range streams {
		kind, id, _ := strings.Cut(string(about), "/")
		if kind != "piece" && kind != "stone" && kind != "lot" && kind != "parcel" {
			continue
		}
		records, err := c.records(kind, id)
		if err != nil {
			return err
		}
		for _, rec := range records {
			event, _ := rec.Event.(*correctionv1.Event)
			if event != nil && linked[rec.Corrects] == about && correctionWords(event) != "" {
				c.add(rec)
			}
		}
	}
	return nil
}

// correctionWords say what is right, and what was recorded.
func correctionWords(event *correctionv1.Event) string {
	switch e := event.GetEvent().(type) {
	case *correctionv1.Event_MassCorrected:
		p := e.MassCorrected.GetPublic()
		what := "part " + p.GetPart()
		switch {
		case p.GetStoneId() != "":
			what = "the stone"
		case p.GetLotId() != "":
			what = "the lot"
		case p.GetPieceId() == "":
			what = "the parcel"
		case p.GetFrom().GetAccount() == correctionv1.Account_ACCOUNT_BOUGHT:
			what = "the piece"
		case p.GetWentIn():
			what += " before the step"
		}
		return fmt.Sprintf("Corrected: %s weighed %s, not %s as recorded", what,
			measure.Mass(p.GetRight().GetMassUg()).GramsAndCarats(), measure.Mass(p.GetWas().GetMassUg()).GramsAndCarats())
	case *correctionv1.Event_SizeCorrected:
		p := e.SizeCorrected.GetPublic()
		return fmt.Sprintf("Corrected: it measured %s, not %s as recorded", sizeInWords(p.GetRight()), sizeInWords(p.GetWas()))
	case *correctionv1.Event_StoneCorrected:
		was, right := e.StoneCorrected.GetPublic().GetWas(), e.StoneCorrected.GetPublic().GetRight()
		return saidWords(
			said{"treatment:", word(was.GetTreatment()), word(right.GetTreatment())}, said{"outline:", word(was.GetOutline()), word(right.GetOutline())},
			said{"kind:", word(was.GetKind()), word(right.GetKind())}, said{"takes up water:", word(was.GetHydrophane()), word(right.GetHydrophane())},
			said{"assembled:", word(was.GetComposite()), word(right.GetComposite())},
		)
	case *correctionv1.Event_PieceCorrected:
		was, right := e.PieceCorrected.GetPublic().GetWas(), e.PieceCorrected.GetPublic().GetRight()
		if words := saidWords(said{"its field is", fieldWords(was), fieldWords(right)}, said{"kind:", word(was.GetKind()), word(right.GetKind())}); words != "" {
			return words
		}
		return "Corrected: the seller named another claim on the same field"
	}
	return ""
}

// said is what was said of a thing, and what is right.
type said struct{ of, was, right string }

// saidWords say it of what changed; empty where nothing did.
func saidWords(all ...said) string {
	var words []string
	for _, s := range all {
		if s.was != s.right {
			words = append(words, fmt.Sprintf("%s %s, not %s as recorded", s.of, s.right, s.was))
		}
	}
	if len(words) == 0 {
		return ""
	}
	return "Corrected: " + strings.Join(words, "; ")
}

// word is a value of a list of words, as it is said.
func word(e protoreflect.Enum) string {
	name := string(e.Descriptor().Values().ByNumber(e.Number()).Name())
	_, of, _ := strings.Cut(name, strings.ToUpper(string(e.Descriptor().Name()))+"_")
	return strings.ToLower(strings.ReplaceAll(of, "_", " "))
}

func fieldWords(p *correctionv1.PieceSaid) string {
	switch n := len(p.GetMayBeOfFieldIds()); {
	case n > 0:
		return fmt.Sprintf("any of %d (%s)", n, strings.Join(p.GetMayBeOfFieldIds(), ", "))
	case p.GetFieldId() == "":
		return "not shown"
	}
	return p.GetFieldName()
}

func sizeInWords(s *eventv1.Size) string {
	return fmt.Sprintf("%v × %v × %v", measure.Length(s.GetLengthUm()), measure.Length(s.GetWidthUm()), measure.Length(s.GetDepthUm()))
}
