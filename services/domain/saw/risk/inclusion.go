package risk

import (
	"fmt"
	"math/big"

	"seamshare.example/services/domain/money"
	"seamshare.example/services/domain/rule"
)

// Inclusion is something in the face: kept there, or taken off with a stated thickness of
// the stone. What is taken off costs mass; what it may gain is a better class of price.
//
// The price is by the carat, or by the face in mm² where FaceUm2 says how large it is:
// boulder is usually judged by its face, which grinding hardly changes (common practice).
type Inclusion struct {
	MassUg  int64 // of the stone as it is
	LossUg  int64 // taken off: thickness × face × density, or a guess from the scale
	FaceUm2 int64 // 0: priced by the carat

	Kept    int64 // price per carat or mm² with it in the face, minor units
	Cleared int64 // the same without it

	Clears int64 // chance that it is gone with this thickness, basis points
	Spoils int64 // chance that the colour is ground through or the stone breaks, basis points
	Spoilt int64 // what the spoilt stone still brings, minor units
	Cost   int64 // of the work, minor units
}

// Ground is the mass in µg that a flat layer of a face takes with it, nearest, halves up:
// face × thickness × density. Density is in µg per mm³, the same number as mg/cm³.
func Ground(faceUm2, thicknessUm, densityUgPerMm3 int64) (int64, error) {
	var all rule.All
	for _, n := range []struct {
		field      string
		value, max int64
	}{
		{"face_um2", faceUm2, rule.MaxLengthUm * rule.MaxLengthUm},
		{"thickness_um", thicknessUm, rule.MaxLengthUm},
		{"density_ug_per_mm3", densityUgPerMm3, 25_000},
	} {
		if n.value < 0 || n.value > n.max {
			all.Add(rule.Broken{Reason: rule.SizeInvalid, Field: n.field, Value: fmt.Sprint(n.value), Rule: fmt.Sprintf("it is 0 to %d", n.max), Hint: "measure it"})
		}
	}
	if err := all.Err(); err != nil {
		return 0, err
	}
	mass := mul(mul(whole(faceUm2), whole(thicknessUm)), ratio(densityUgPerMm3, 1_000_000_000))
	if mass.Cmp(whole(rule.MaxMassUg)) > 0 {
		return 0, rule.Broken{Reason: rule.MassInvalid, Field: "thickness_um", Value: fmt.Sprint(thicknessUm), Rule: "what is ground off is at most a tonne", Hint: "check the face"}
	}
	return Round(mass), nil
}

// Decision values both: act 0 keeps it, act 1 grinds. The states are that grinding clears
// it, that it is still there in a lighter stone, and that the stone is spoilt.
func (i Inclusion) Decision() (Decision, error) {
	var all rule.All
	if i.MassUg < 1 || i.MassUg > rule.MaxMassUg {
		all.Add(rule.Broken{Reason: rule.MassInvalid, Field: "mass_ug", Value: fmt.Sprint(i.MassUg), Rule: fmt.Sprintf("a mass is 1 to %d micrograms", int64(rule.MaxMassUg)), Hint: "weigh it"})
	}
	if i.LossUg < 0 || i.LossUg >= i.MassUg {
		all.Add(rule.Broken{Reason: rule.MassInvalid, Field: "loss_ug", Value: fmt.Sprint(i.LossUg), Rule: "less is taken off than the stone weighs", Hint: "take off a thinner layer"})
	}
	if i.FaceUm2 < 0 || i.FaceUm2 > rule.MaxLengthUm*rule.MaxLengthUm {
		all.Add(rule.Broken{Reason: rule.SizeInvalid, Field: "face_um2", Value: fmt.Sprint(i.FaceUm2), Rule: "a face is within 10 m by 10 m", Hint: "measure it"})
	}
	for _, m := range []struct {
		field string
		value int64
	}{{"kept", i.Kept}, {"cleared", i.Cleared}, {"spoilt", i.Spoilt}, {"cost", i.Cost}} {
		if m.value < 0 || m.value > money.Max {
			all.Add(rule.Broken{Reason: rule.AmountInvalid, Field: m.field, Value: fmt.Sprint(m.value), Rule: fmt.Sprintf("it is 0 to %d minor units", int64(money.Max)), Hint: "check the amount"})
		}
	}
	checkChance(&all, "clears", i.Clears)
	checkChance(&all, "spoils", i.Spoils)
	if sum := i.Clears + i.Spoils; len(all) == 0 && sum > Certain {
		all.Add(rule.Broken{Reason: rule.FieldInvalid, Field: "spoils", Value: fmt.Sprint(sum), Rule: "clearing and spoiling are at most 10000 basis points together", Hint: "it can't be both"})
	}
	if err := all.Err(); err != nil {
		return Decision{}, err
	}
	price := func(field string, each, massUg int64) int64 {
		size := ratio(massUg, 200_000) // 1 ct = 0.2 g exactly
		if i.FaceUm2 > 0 {
			size = ratio(i.FaceUm2, 1_000_000)
		}
		worth := mul(whole(each), size)
		if worth.Cmp(new(big.Rat).SetInt64(money.Max)) > 0 {
			all.Add(rule.Broken{Reason: rule.AmountInvalid, Field: field, Value: fmt.Sprint(each), Rule: fmt.Sprintf("the stone is worth at most %d minor units", int64(money.Max)), Hint: "check price and mass"})
			return 0
		}
		return Round(worth)
	}
	kept := price("kept", i.Kept, i.MassUg)
	cleared := price("cleared", i.Cleared, i.MassUg-i.LossUg) - i.Cost
	still := price("kept", i.Kept, i.MassUg-i.LossUg) - i.Cost
	d := Decision{
		States: []State{{"cleared", i.Clears}, {"still there", Certain - i.Clears - i.Spoils}, {"spoilt", i.Spoils}},
		Acts: []Act{
			{"keep it", []int64{kept, kept, kept}},
			{"grind", []int64{cleared, still, i.Spoilt - i.Cost}},
		},
	}
	return d, all.Err()
}
