package wire

import (
	"fmt"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/share"
	"seamshare.example/services/view"
)

// Statement shows all that a parcel's money came to, for the co-op's own desk. fixed is
// the deal's agreement, which has the tiers' labels.
func Statement(s view.Statement, fixed *parcelv1.Agreement, at eventstore.Position) (*typev1.ShareStatement, error) {
	lines, err := share.Explain(s.Agreement, s.Totals)
	if err != nil {
		return nil, fmt.Errorf("couldn't explain the shares of parcel %s: %w", s.ParcelID, err)
	}
	out := statement(s, at, lines)
	for _, p := range s.Shares.Parties {
		out.Shares = append(out.Shares, partyShare(s, p))
	}
	out.Open = open(s, fixed, "")
	return out, nil
}

// PartyStatement shows a parcel's money to one of its parties: its own lines only. A
// party that the tiers give nothing, as the seller of an outright sale, sees the
// parcel's own price and nothing of what its stones brought.
func PartyStatement(s view.Statement, fixed *parcelv1.Agreement, at eventstore.Position, party string) (*typev1.ShareStatement, error) {
	lines, err := share.ExplainParty(s.Agreement, s.Totals, party)
	if err != nil {
		return nil, fmt.Errorf("couldn't explain a share of parcel %s: %w", s.ParcelID, err)
	}
	out := statement(s, at, lines)
	if !Partakes(s, party) {
		out.SalesReceived, out.CostsRecouped = nil, nil
		out.Levies = Money(s.Agreement.Currency, s.Totals.Parcel.Levies)
	}
	if p, ok := s.Shares.Of(party); ok {
		out.Shares = append(out.Shares, partyShare(s, p))
	}
	out.Open = open(s, fixed, party)
	return out, nil
}

// Partakes reports whether a party has a part in what the stones bring, and so may see
// that money.
func Partakes(s view.Statement, party string) bool {
	if party == parcel.Cutter || s.Agreement.SaleLevy.BorneBy == party {
		return true
	}
	for _, tier := range s.Agreement.Tiers {
		switch t := tier.(type) {
		case share.Recoup:
			if t.To == party {
				return true
			}
		case share.Split:
			for _, r := range t.Ratios {
				if r.Party == party {
					return true
				}
			}
		}
	}
	return false
}

func statement(s view.Statement, at eventstore.Position, lines []share.Line) *typev1.ShareStatement {
	code := s.Agreement.Currency
	out := &typev1.ShareStatement{
		ParcelId: s.ParcelID, Position: uint64(at),
		PurchaseReceived: Money(code, s.Totals.Parcel.Amount), SalesReceived: Money(code, s.Totals.Sales.Amount),
		Levies: Money(code, s.Shares.Levies), CostsRecouped: Money(code, s.Shares.Costs),
	}
	for _, l := range lines {
		out.Steps = append(out.Steps, ShareStep(code, l))
	}
	return out
}

// ShareStep shows one line of an explanation.
func ShareStep(currency string, l share.Line) *typev1.ShareStep {
	return &typev1.ShareStep{Tier: uint32(l.Tier), Party: partyName(l.Account), Amount: Money(currency, l.Amount), Why: l.Text}
}

func partyShare(s view.Statement, p share.PartyShare) *typev1.PartyShare {
	return &typev1.PartyShare{MemberId: s.Member(p.Party), Party: p.Party, Amount: Money(s.Agreement.Currency, p.Total())}
}

// open lists what recoup tiers have not paid yet, to one party or to all.
func open(s view.Statement, fixed *parcelv1.Agreement, party string) []*typev1.OpenTarget {
	var out []*typev1.OpenTarget
	for i, tier := range s.Agreement.Tiers {
		r, ok := tier.(share.Recoup)
		if !ok || s.Shares.Tiers[i].Open() == 0 || party != "" && r.To != party {
			continue
		}
		label := fmt.Sprintf("tier %d", i+1)
		if tiers := fixed.GetTiers(); i < len(tiers) && tiers[i].GetRecoup().GetLabel() != "" {
			label = tiers[i].GetRecoup().GetLabel()
		}
		out = append(out, &typev1.OpenTarget{
			Party: partyName(r.To), Label: label,
			Amount: Money(s.Agreement.Currency, s.Shares.Tiers[i].Open()),
		})
	}
	return out
}

func partyName(account string) string {
	if account == share.CoOp {
		return parcel.Coop
	}
	return account
}
