package view

import (
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/share"
)

// Deal is who made a deal on a parcel, and how.
type Deal struct {
	ParcelID      string
	Seller, Buyer string // member ids
	Agreement     share.Agreement
}

// Member is the id of the member that a party of the agreement stands for.
func (d Deal) Member(party string) string {
	switch party {
	case parcel.Miner:
		return d.Seller
	case parcel.Cutter:
		return d.Buyer
	}
	return party
}

// Role is the agreement's word for a party.
func (d Deal) Role(party string) string {
	for _, p := range d.Agreement.Parties {
		if p.ID == party {
			return p.Role
		}
	}
	return party
}

func (d Deal) row() row {
	a := d.Agreement
	r := row{}.text(d.Seller).text(d.Buyer).text(a.Currency).text(a.Seller).int(a.Price).count(len(a.Parties))
	for _, p := range a.Parties {
		r = r.text(p.ID).text(p.Role)
	}
	r = levyRow(levyRow(r, a.ParcelLevy), a.SaleLevy).texts(a.CostKinds).count(len(a.Tiers))
	for _, t := range a.Tiers {
		r = tierRow(r, t)
	}
	return r
}

func readDeal(parcelID string, value []byte) (Deal, error) {
	f := read(value)
	d := Deal{ParcelID: parcelID, Seller: f.text(), Buyer: f.text()}
	a := &d.Agreement
	a.Currency, a.Seller, a.Price = f.text(), f.text(), f.int()
	for range f.count() {
		a.Parties = append(a.Parties, share.Party{ID: f.text(), Role: f.text()})
	}
	a.ParcelLevy, a.SaleLevy, a.CostKinds = f.levy(), f.levy(), f.texts()
	for range f.count() {
		a.Tiers = append(a.Tiers, f.tier())
	}
	return d, f.done("shares", "deal")
}

func levyRow(r row, l share.LevyRule) row {
	return limitRow(r.int(l.BasisPoints).int(l.Floor), l.Cap).text(l.BorneBy)
}

func (f *fields) levy() share.LevyRule {
	return share.LevyRule{BasisPoints: f.int(), Floor: f.int(), Cap: f.limit(), BorneBy: f.text()}
}

func limitRow(r row, l share.Limit) row { return r.flag(l.Set).int(l.Amount) }

func (f *fields) limit() share.Limit { return share.Limit{Set: f.flag(), Amount: f.int()} }

// What a tier does, and how its target is said.
const (
	splits = iota
	recoupsAmount
	recoupsMultiple
	recoupsCosts
)

// tierRow adds a tier; share refuses an agreement with one that is neither of these.
func tierRow(r row, tier share.Tier) row {
	switch t := tier.(type) {
	case share.Split:
		r = limitRow(r.num(splits), t.Ceiling).count(len(t.Ratios))
		for _, ratio := range t.Ratios {
			r = r.text(ratio.Party).int(ratio.Weight)
		}
	case share.Recoup:
		switch target := t.Target.(type) {
		case share.FixedAmount:
			r = r.num(recoupsAmount).int(target.Amount)
		case share.PriceMultiple:
			r = r.num(recoupsMultiple).int(target.Num).int(target.Den)
		case share.RecordedCosts:
			r = r.num(recoupsCosts).texts(target.Kinds)
		}
		r = r.text(t.To).text(t.Label)
	}
	return r
}

func (f *fields) tier() share.Tier {
	var target share.Target
	switch what := f.num(); what {
	case splits:
		s := share.Split{Ceiling: f.limit()}
		for range f.count() {
			s.Ratios = append(s.Ratios, share.Ratio{Party: f.text(), Weight: f.int()})
		}
		return s
	case recoupsAmount:
		target = share.FixedAmount{Amount: f.int()}
	case recoupsMultiple:
		target = share.PriceMultiple{Num: f.int(), Den: f.int()}
	case recoupsCosts:
		target = share.RecordedCosts{Kinds: f.texts()}
	default:
		f.fail()
	}
	return share.Recoup{Target: target, To: f.text(), Label: f.text()}
}
