package command

import (
	"fmt"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/stream"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// CheckParties notes each member named by an agreement, beside seller and buyer, who
// doesn't trade here. It spans aggregates, so it stands here and not in one of them.
func CheckParties(tx *eventstore.Tx, broken *rule.All, field string, a *parcelv1.Agreement) error {
	for _, id := range parcel.Others(a) {
		m, _, err := eventstore.Load(tx, stream.Member, id)
		if err != nil {
			return fmt.Errorf("couldn't look up member %s: %w", id, err)
		}
		if !m.Stands() {
			broken.Add(rule.Broken{
				Reason: rule.MemberNotThere, Field: field + ".tiers", Value: fmt.Sprintf("%q", id),
				Rule: "a party is miner, cutter, coop or the id of a member", Hint: "write one of these",
			})
		}
	}
	return nil
}
