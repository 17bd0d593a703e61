package share_test

import (
	"math/big"

	"seamshare.example/services/domain/share"
)

// exactly is the plain reference: the pour in exact fractions, per account, written
// from the agreement's words alone and sharing no arithmetic with the package. It
// also counts the split tiers that each account has entered.
func exactly(a share.Agreement, costs map[string]int64, proceeds int64) (shares map[string]*big.Rat, entered map[string]int64) {
	shares, entered = map[string]*big.Rat{share.CoOp: new(big.Rat)}, map[string]int64{}
	for _, p := range a.Parties {
		shares[p.ID] = new(big.Rat)
	}
	left := new(big.Rat).SetInt64(proceeds)
	for _, tier := range a.Tiers {
		switch t := tier.(type) {
		case share.Recoup:
			took := smaller(left, exactTarget(t.Target, a.Price, costs))
			shares[t.To].Add(shares[t.To], took)
			left.Sub(left, took)
		case share.Split:
			whole := new(big.Rat)
			divisor := new(big.Int)
			for _, r := range t.Ratios {
				whole.Add(whole, big.NewRat(r.Weight, 1))
				divisor.GCD(nil, nil, divisor, big.NewInt(r.Weight))
			}
			took := new(big.Rat).Set(left)
			if t.Ceiling.Set {
				rounds := new(big.Rat).SetFrac(divisor, big.NewInt(1))
				rounds.Quo(whole, rounds) // the reduced sum
				rounds.Quo(big.NewRat(t.Ceiling.Amount, 1), rounds)
				ceiling := new(big.Rat).Mul(roundedUp(rounds), whole)
				ceiling.Quo(ceiling, new(big.Rat).SetInt(divisor))
				took = smaller(left, ceiling)
			}
			for _, r := range t.Ratios {
				part := new(big.Rat).Mul(took, big.NewRat(r.Weight, 1))
				shares[r.Party].Add(shares[r.Party], part.Quo(part, whole))
				if took.Sign() > 0 {
					entered[r.Party]++
				}
			}
			left.Sub(left, took)
		}
	}
	return shares, entered
}

func exactTarget(target share.Target, price int64, costs map[string]int64) *big.Rat {
	sum := new(big.Rat)
	switch t := target.(type) {
	case share.FixedAmount:
		sum.SetInt64(t.Amount)
	case share.PriceMultiple:
		sum = roundedUp(sum.Mul(big.NewRat(price, 1), big.NewRat(t.Num, t.Den)))
	case share.RecordedCosts:
		for _, kind := range t.Kinds {
			sum.Add(sum, big.NewRat(costs[kind], 1))
		}
	}
	return sum
}

func smaller(x, y *big.Rat) *big.Rat {
	if x.Cmp(y) < 0 {
		return new(big.Rat).Set(x)
	}
	return new(big.Rat).Set(y)
}

func roundedUp(x *big.Rat) *big.Rat {
	q, r := new(big.Int).QuoRem(x.Num(), x.Denom(), new(big.Int))
	if r.Sign() > 0 {
		q.Add(q, big.NewInt(1))
	}
	return new(big.Rat).SetInt(q)
}
