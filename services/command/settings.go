package command

import (
	"fmt"
	"time"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/stream"
)

// Settings are the co-op's settings that hold at a moment: a decision gives its Tx and
// Tx.Now, a query its Query and Query.Now.
func Settings(l eventstore.Loader, coopID string, now time.Time) (member.Settings, error) {
	c, _, err := eventstore.Load(l, stream.Coop, coopID)
	if err != nil {
		return member.Settings{}, fmt.Errorf("couldn't look up the co-op's settings: %w", err)
	}
	return c.SettingsAt(now), nil
}

// Under is a parcel for a decision under what the co-op asks of agreements now.
func Under(tx *eventstore.Tx, coopID string, lot parcel.State) (parcel.State, error) {
	s, err := Settings(tx, coopID, tx.Now())
	return lot.Under(parcel.House{ParcelLevyBP: s.ParcelLevyMinBP, SaleLevyBP: s.SaleLevyMinBP, PaymentDays: s.PurchaseDueDays}), err
}
