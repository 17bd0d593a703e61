package view

import (
	"strings"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"

	"seamshare.example/eventstore"
)

// correct changes a piece's balance by a corrected mass, as piece.EvolveCorrection
// changes its state: it comes from one account and goes to another.
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
	more := c.GetRight().GetMassUg() - c.GetWas().GetMassUg()
	if c.GetFrom().GetAccount() == correctionv1.Account_ACCOUNT_BOUGHT {
		b.bought += more
	}
	b.move(c.GetFrom(), -more)
	if c.GetTo().GetAccount() != correctionv1.Account_ACCOUNT_THERE {
		b.move(c.GetTo(), more)
	} else if i := b.find(c.GetPart()); i >= 0 {
		b.parts[i].massUg += more
	} else { // the stone that it became
		b.finished += more
	}
	rows.Set(key("piece", id), b.row())
	return nil
}

// move puts mass into an account of the balance that is no part's.
func (b *pieceBalance) move(at *correctionv1.Entry, ug int64) {
	switch at.GetAccount() {
	case correctionv1.Account_ACCOUNT_LOST:
		b.lose(at.GetReason(), ug)
	case correctionv1.Account_ACCOUNT_UNEXPLAINED:
		b.unexplained += ug
	case correctionv1.Account_ACCOUNT_OPENED:
		b.opened += ug
	}
}
