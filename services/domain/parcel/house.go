package parcel

import (
	"fmt"

	"seamshare.example/services/domain/rule"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// House is what the co-op asks of every agreement, by its settings of the moment.
type House struct {
	ParcelLevyBP int64 // basis points, the least on a parcel's price
	SaleLevyBP   int64 // basis points, the least on each sale
	PaymentDays  int64 // by which a price is due where the agreement doesn't say
}

// Under is the parcel for a decision under what the co-op asks (rule 26). It is never
// kept: what is asked tomorrow is tomorrow's.
func (s State) Under(h House) State {
	s.house = &h
	return s
}

// usualDays is when a price is due where the agreement says nothing.
func (s State) usualDays() uint32 {
	if s.house == nil {
		return UsualPaymentDays
	}
	return uint32(s.house.PaymentDays)
}

// checkLeast holds rule 26. Rough that is placed has no price, and so no levy on it.
func (s State) checkLeast(broken *rule.All, path string, a *parcelv1.Agreement) {
	if s.house == nil {
		return
	}
	if a.GetPrice().GetMinor() > 0 {
		least(broken, path+".parcel_levy", "a parcel's price", a.GetParcelLevy(), s.house.ParcelLevyBP)
	}
	least(broken, path+".sale_levy", "each sale", a.GetSaleLevy(), s.house.SaleLevyBP)
}

// least refuses a levy below the co-op's, and a cap, by which a dear sale would be
// below it.
func least(broken *rule.All, path, of string, l *parcelv1.Levy, bp int64) {
	held := fmt.Sprintf("this co-op's levy is at least %d basis points of %s", bp, of)
	if int64(l.GetBasisPoints()) < bp {
		broken.Add(rule.Broken{
			Reason: rule.LevyTooLow, Field: path + ".basis_points", Value: fmt.Sprint(l.GetBasisPoints()),
			Rule: held, Hint: fmt.Sprintf("agree on %d or more", bp),
		})
	}
	if bp > 0 && l != nil && l.CapMinor != nil {
		broken.Add(rule.Broken{
			Reason: rule.LevyTooLow, Field: path + ".cap", Value: fmt.Sprintf("%d minor units", l.GetCapMinor()),
			Rule: held + ", and a cap would be less of a high price", Hint: "leave the cap out",
		})
	}
}
