package view

import (
	"slices"
	"strings"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"

	"seamshare.example/eventstore"
)

// correct changes a piece's balance by a corrected mass, as piece.EvolveCorrection
// changes its state.
func (v Yields) correct(rows eventstore.Rows, rec eventstore.Record, event *correctionv1.Event) error {
	c := event.GetMassCorrected().GetPublic()
	if c == nil || !strings.HasPrefix(string(rec.Stream), "piece/") {
		return nil
	}
	id := c.GetPieceId()
	value, err := rows.Get(key("piece", id))
	if err != nil {
		return err
	}
	if value == nil {
		return unexpected(v.Name(), event, "piece %s was never described", id)
	}
	b, err := readPieceBalance(value)
	if err != nil {
		return err
	}
	was, right := c.GetWas().GetMassUg(), c.GetRight().GetMassUg()
	part := c.GetPart()
	switch {
	case c.GetStoneId() != "":
		if c.GetWeighedSince() {
			b.unexplained += right - was
		} else {
			b.finished += right - was
		}
		b.lose(c.GetLossReason(), was-right)
		rows.Set(key("piece", id), b.row())
		return nil
	case part == "":
		b.bought += right - was
		// The first part has the piece's name, and it is the only one that corrects without one.
		if i := slices.IndexFunc(b.parts, func(p partMass) bool { return p.massUg == was }); i >= 0 {
			part = b.parts[i].name
		}
	default:
		b.lose(c.GetLossReason(), was-right)
	}
	i := slices.IndexFunc(b.parts, func(p partMass) bool { return p.name == part })
	if c.GetWeighedSince() || i < 0 {
		b.unexplained += right - was
	} else {
		b.parts[i].massUg = right
	}
	rows.Set(key("piece", id), b.row())
	return nil
}
