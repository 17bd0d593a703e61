package parcel

import (
	"slices"
	"time"

	"seamshare.example/services/domain/rule"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// SoleCutters refuses rough that its cutter can't sell on as rough: where others share
// in what the parcel brings, or it isn't the cutter's own yet, it stays with its parcel,
// and what is cut of it is shared as agreed.
func (s State) SoleCutters(cutter string) error {
	if s.Owner == cutter && !slices.ContainsFunc(s.Deal.Agreement.GetTiers(), func(t *parcelv1.Tier) bool {
		if r := t.GetRecoup(); r != nil {
			return r.GetParty() != Cutter && r.GetParty() != Coop
		}
		return slices.ContainsFunc(t.GetSplit().GetRatios(), func(r *parcelv1.Ratio) bool { return r.GetParty() != Cutter })
	}) {
		return nil
	}
	return rule.Broken{
		Reason: rule.NotYoursToSell, Field: "lines", Value: s.ID,
		Rule: "rough is sold on only where it is the cutter's own, and nobody else shares in what its parcel brings", Hint: "cut it, or agree with the seller first",
	}
}

// TakeApart closes a parcel that its seller, a cutter, took off the market, as its rough
// goes back to the pieces that it came from: it can't be listed again.
func (s State) TakeApart(seller string, now time.Time) (*parcelv1.Event, error) {
	if err := s.sellerOf(seller); err != nil {
		return nil, err
	}
	if stage := s.Stage(now); stage != Withdrawn && stage != FallenThrough || s.PaidMinor > 0 {
		return nil, rule.Broken{
			Reason: rule.NotOffMarket, Field: "parcel_id", Value: s.ID,
			Rule: "rough is taken back from a parcel that is off the market, with nothing paid for it; this one is " + stage.String(), Hint: "withdraw it first",
		}
	}
	return &parcelv1.Event{Event: &parcelv1.Event_Closed{Closed: &parcelv1.Closed{
		Public: &parcelv1.Closed_Public{ParcelId: s.ID}, Private: &parcelv1.Closed_Private{},
	}}}, nil
}
