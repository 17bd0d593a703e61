package command

import (
	"time"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/stream"
)

// PayBy is the moment by which an order that is made now has to be paid.
func PayBy(s member.Settings, now time.Time) time.Time {
	return now.Add(time.Duration(s.PaymentDays) * day)
}

// CallOff brings one line of an order back to where it was sold from, as it was.
func CallOff(tx *eventstore.Tx, orderID string, l order.Line, why string) error {
	if l.LotID != "" {
		from, err := Open(tx, stream.Lot, l.LotID)
		if err != nil {
			return err
		}
		back, err := from.State.CallOff(orderID, why)
		if err != nil {
			return err
		}
		from.Record(back)
		return nil
	}
	st, err := Open(tx, stream.Stone, l.StoneID)
	if err != nil {
		return err
	}
	unsold, err := st.State.CancelSale(orderID)
	if err != nil {
		return err
	}
	st.Record(unsold)
	return nil
}
