package view

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/measure"
)

// ErrNoStone: the log knows of no such stone.
var ErrNoStone = errors.New("there is no such stone")

// History reads whole streams: an eventstore.Query.
type History interface {
	Records(stream eventstore.Stream) ([]eventstore.Record, error)
}

// Link is one record of a stone's chain. Its words say nothing that is not in the
// record's public part.
type Link struct {
	Position eventstore.Position
	About    eventstore.Stream
	What     string
}

// Chain walks a stone back to its field: the field, the claim, the parcel as listed
// and handed over, the piece, those bench steps that led to the stone's own part, and
// what became of the stone, in the order of the log. It has no rows: the streams are
// the chain. Where the seller didn't show the field, the link of the piece says so.
//
// The error is ErrNoStone where the stone was never finished.
func Chain(q History, stoneID string) ([]Link, error) {
	c := chain{history: q}
	finished, err := c.stone(stoneID)
	if err != nil {
		return nil, err
	}
	origin, err := c.piece(finished)
	if err != nil {
		return nil, err
	}
	if err := c.parcel(finished.GetParcelId()); err != nil {
		return nil, err
	}
	if err := c.field(origin); err != nil {
		return nil, err
	}
	slices.SortFunc(c.links, func(a, b Link) int { return cmp.Compare(a.Position, b.Position) })
	return c.links, nil
}

type chain struct {
	history History
	links   []Link
}

func (c *chain) add(rec eventstore.Record, format string, args ...any) {
	c.links = append(c.links, Link{rec.Position, rec.Stream, fmt.Sprintf(format, args...)})
}

func (c *chain) records(kind, id string) ([]eventstore.Record, error) {
	records, err := c.history.Records(eventstore.Stream(kind + "/" + id))
	if err != nil {
		return nil, fmt.Errorf("couldn't read the chain at %s %s: %w", kind, id, err)
	}
	return records, nil
}

// broken: a link names something of which the log has no record.
func broken(kind, id string) error {
	return fmt.Errorf("the chain breaks off at %s %s: %w", kind, id, eventstore.ErrCorrupt)
}

// stone adds what became of the stone, and returns how it was finished.
func (c *chain) stone(id string) (*stonev1.Finished_Public, error) {
	records, err := c.records("stone", id)
	if err != nil {
		return nil, err
	}
	var finished *stonev1.Finished_Public
	for _, rec := range records {
		event, _ := rec.Event.(*stonev1.Event)
		switch e := event.GetEvent().(type) {
		case *stonev1.Event_Finished:
			finished = e.Finished.GetPublic()
			c.add(rec, "Finished from part %s: %s", finished.GetPart(), stoneWords(finished))
		case *stonev1.Event_Sold:
			c.add(rec, "Sold")
			if err := c.order(e.Sold.GetPublic().GetOrderId()); err != nil {
				return nil, err
			}
		case *stonev1.Event_Returned:
			p := e.Returned.GetPublic()
			c.add(rec, "Came back and was measured again: %s, %s", caratWords(p.GetWeighing()), sizeWords(p.GetSize()))
		}
	}
	if finished == nil {
		return nil, ErrNoStone
	}
	return finished, nil
}

func (c *chain) order(id string) error {
	records, err := c.records("order", id)
	if err != nil {
		return err
	}
	for _, rec := range records {
		event, _ := rec.Event.(*orderv1.Event)
		if placed := event.GetPlaced(); placed != nil {
			stones := len(placed.GetPublic().GetStoneIds())
			if stones == 1 {
				c.add(rec, "Ordered by itself")
			} else {
				c.add(rec, "Ordered together with %d more", stones-1)
			}
			return nil
		}
	}
	return broken("order", id)
}

// piece adds the piece and the steps that led to the stone's part, found backwards
// from the stone, and returns how the piece was described.
func (c *chain) piece(stone *stonev1.Finished_Public) (*piecev1.Described_Public, error) {
	records, err := c.records("piece", stone.GetPieceId())
	if err != nil {
		return nil, err
	}
	part, found := "", false
	for _, rec := range slices.Backward(records) {
		event, _ := rec.Event.(*piecev1.Event)
		switch e := event.GetEvent().(type) {
		case *piecev1.Event_Finished:
			p := e.Finished.GetPublic()
			if p.GetStoneId() == stone.GetStoneId() {
				part, found = p.GetPart(), true
				c.add(rec, "Part %s, %s, was ground and polished to the stone; %s ground off", part, massWords(p.GetMassIn()), measure.Mass(p.GetLossUg()))
			}
		case *piecev1.Event_Worked:
			p := e.Worked.GetPublic()
			if found && slices.ContainsFunc(p.GetPartsOut(), func(out *piecev1.Part) bool { return out.GetName() == part }) {
				part = p.GetPart()
				c.add(rec, "%s", workedWords(p))
			}
		case *piecev1.Event_Described:
			p := e.Described.GetPublic()
			if !found || part != p.GetLabel() {
				return nil, broken("part", part+" of piece "+p.GetPieceId())
			}
			origin := ""
			if p.GetFieldId() == "" {
				origin = "; its field is not shown"
			}
			c.add(rec, "Piece %s, %s%s", p.GetLabel(), massWords(p.GetWeighing()), origin)
			return p, nil
		}
	}
	return nil, broken("piece", stone.GetPieceId())
}

func (c *chain) parcel(id string) error {
	records, err := c.records("parcel", id)
	if err != nil {
		return err
	}
	listed := false
	for _, rec := range records {
		event, _ := rec.Event.(*parcelv1.Event)
		switch e := event.GetEvent().(type) {
		case *parcelv1.Event_Listed:
			p := e.Listed.GetPublic()
			listed = true
			c.add(rec, "Parcel %s listed: %d lines, %s together, by the seller's own word", p.GetLabel(), len(p.GetLines()), massWords(p.GetTotal()))
		case *parcelv1.Event_HandedOver:
			c.add(rec, "Parcel handed over, counted and weighed by both sides")
		}
	}
	if !listed {
		return broken("parcel", id)
	}
	return nil
}

// field adds the claim and the field, where the seller showed them.
func (c *chain) field(piece *piecev1.Described_Public) error {
	if id := piece.GetClaimId(); id != "" {
		if err := c.origin("claim", id); err != nil {
			return err
		}
	}
	if id := piece.GetFieldId(); id != "" {
		return c.origin("field", id)
	}
	return nil
}

func (c *chain) origin(kind, id string) error {
	records, err := c.records(kind, id)
	if err != nil {
		return err
	}
	for _, rec := range records {
		event, _ := rec.Event.(*memberv1.Event)
		switch e := event.GetEvent().(type) {
		case *memberv1.Event_FieldRecorded:
			p := e.FieldRecorded.GetPublic()
			if p.GetCountry() == "" {
				c.add(rec, "The field: %s", p.GetName())
			} else {
				c.add(rec, "The field: %s, %s", p.GetName(), p.GetCountry())
			}
			return nil
		case *memberv1.Event_ClaimRecorded:
			c.add(rec, "The claim was recorded on its field")
			return nil
		}
	}
	return broken(kind, id)
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
