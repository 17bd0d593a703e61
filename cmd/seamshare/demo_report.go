package main

import (
	"encoding/json"
	"fmt"

	"seamshare.example/cmd/seamshare/internal/amount"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// demoReport is what demo --json prints: all of it from the node's answers.
type demoReport struct {
	Receipts []reportAmount `json:"receipts"` // from cutters for parcels and from jewellers for stones
	Levies   []reportAmount `json:"levies"`
	Costs    []reportAmount `json:"costs"`  // what recoup tiers paid back for costs other than the price
	Shares   []reportShare  `json:"shares"` // all the rest, the miner's price included
	Parcels  []reportParcel `json:"parcels"`
	Stones   []reportStone  `json:"stones"`
	Log      reportLog      `json:"log"`
	// TamperedRejected: every changed chain file was refused.
	TamperedRejected bool `json:"tampered_rejected"`
	TamperedTried    int  `json:"tampered_tried"`
}

type reportAmount struct {
	Currency    string `json:"currency"`
	AmountMinor int64  `json:"amount_minor"`
}

type reportShare struct {
	Party       string `json:"party"`
	Role        string `json:"role"`
	Currency    string `json:"currency"`
	AmountMinor int64  `json:"amount_minor"`
}

type reportParcel struct {
	ID            string `json:"id"`
	BoughtUg      int64  `json:"bought_ug"`
	FinishedUg    int64  `json:"finished_ug"`
	OffcutUg      int64  `json:"offcut_ug"`
	LossUg        int64  `json:"loss_ug"`
	UncutUg       int64  `json:"uncut_ug"`
	UnexplainedUg int64  `json:"unexplained_ug"`
	ToleranceUg   int64  `json:"tolerance_ug"`
}

type reportStone struct {
	ID         string      `json:"id"`
	Label      string      `json:"label"`
	Parcel     string      `json:"parcel"`
	Field      string      `json:"field"`
	Carat      json.Number `json:"carat"`
	State      string      `json:"state"`
	PriceMinor int64       `json:"price_minor"` // of its kept sale; 0 where it came back
	Chain      []uint64    `json:"chain"`       // positions in the log
}

type reportLog struct {
	Records uint64 `json:"records"`
	Root    string `json:"root"`
}

func (r *demoReport) addYield(y *cutterv1.Yield) {
	r.Parcels = append(r.Parcels, reportParcel{
		ID: y.GetParcelId(), BoughtUg: y.GetBoughtUg(), FinishedUg: y.GetFinishedUg(), OffcutUg: y.GetOffcutUg(), LossUg: y.GetLossUg(),
		UncutUg: y.GetUncutUg(), UnexplainedUg: y.GetUnexplainedUg(), ToleranceUg: y.GetToleranceUg(),
	})
}

func (r *demoReport) addBalances(a *coopv1.GetBalancesResponse, names map[string]string) error {
	for _, l := range []struct {
		from []*coopv1.Balance
		into *[]reportAmount
	}{{a.GetReceipts(), &r.Receipts}, {a.GetLevies(), &r.Levies}, {a.GetCosts(), &r.Costs}} {
		for _, b := range l.from {
			minor, err := amount.Minor(b.GetAmount())
			if err != nil {
				return err
			}
			*l.into = append(*l.into, reportAmount{b.GetAmount().GetCurrencyCode(), minor})
		}
	}
	for _, b := range a.GetShares() {
		minor, err := amount.Minor(b.GetAmount())
		if err != nil {
			return err
		}
		r.Shares = append(r.Shares, reportShare{names[b.GetMemberId()], b.GetParty(), b.GetAmount().GetCurrencyCode(), minor})
	}
	return nil
}

// addStone takes a stone with its kept price and its chain.
func (r *demoReport) addStone(s *typev1.Stone, field string, priceMinor int64, links []*coopv1.ChainLink) {
	out := reportStone{
		ID: s.GetId(), Label: s.GetLabel(), Parcel: s.GetParcelId(), Field: field, Carat: json.Number(s.GetCarat()),
		State: word(s.GetState()), PriceMinor: priceMinor, Chain: []uint64{},
	}
	for _, l := range links {
		out.Chain = append(out.Chain, l.GetPosition())
	}
	r.Stones = append(r.Stones, out)
}

// conserves holds that, per currency, receipts = shares + levies + costs, and that each parcel's mass is all accounted
// for within its tolerance.
func (r *demoReport) conserves() error {
	left := map[string]int64{}
	for _, a := range r.Receipts {
		left[a.Currency] += a.AmountMinor
	}
	for _, list := range [][]reportAmount{r.Levies, r.Costs} {
		for _, a := range list {
			left[a.Currency] -= a.AmountMinor
		}
	}
	for _, s := range r.Shares {
		left[s.Currency] -= s.AmountMinor
	}
	for currency, minor := range left {
		if minor != 0 {
			return unbalanced("%d minor units of %s are not given out", minor, currency)
		}
	}
	for _, p := range r.Parcels {
		if rest := p.BoughtUg - p.FinishedUg - p.OffcutUg - p.UncutUg - p.LossUg - p.UnexplainedUg; rest != 0 {
			return unbalanced("%d µg of parcel %s are not accounted for", rest, p.ID)
		}
		if max(p.UnexplainedUg, -p.UnexplainedUg) > p.ToleranceUg {
			return unbalanced("%d µg of parcel %s are unexplained, where %d may be", p.UnexplainedUg, p.ID, p.ToleranceUg)
		}
	}
	return nil
}

func unbalanced(format string, args ...any) *failure {
	return &failure{Exit: exitUnverified, Reason: "UNBALANCED", Message: fmt.Sprintf(format, args...), Hint: "this is a mistake in the program; tell whoever gave it to you"}
}
