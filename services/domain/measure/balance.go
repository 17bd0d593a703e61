package measure

import (
	"fmt"
	"math/big"
)

// Unbalanced says that weighed lines and their weighed total are further apart than
// the scale explains.
type Unbalanced struct {
	Lines      int
	Sum, Total Mass
	Division   Mass
}

// Apart is how far sum and total are from each other.
func (e *Unbalanced) Apart() Mass { return max(e.Sum-e.Total, e.Total-e.Sum) }

// Tolerance is what the scale explains, rounded down to the microgram.
func (e *Unbalanced) Tolerance() Mass { return Tolerance(e.Lines, e.Division) }

func (e *Unbalanced) Error() string {
	return fmt.Sprintf("the %d lines add up to %s but the total says %s: %s apart, where %s is allowed ((%d + 1) weighings × half of %s); weigh again and correct a line or the total",
		e.Lines, e.Sum.OnScale(e.Division), e.Total.OnScale(e.Division), e.Apart().OnScale(e.Division), e.Tolerance(),
		e.Lines, e.Division)
}

// Tolerance is what lines weighings and one of their total may be apart on a scale of
// division: each may be off by half of it, (lines + 1) × division / 2, rounded down to
// the microgram and held at MaxMass. It needs lines ≥ 0 and division > 0.
func Tolerance(lines int, division Mass) Mass {
	t := new(big.Int).Mul(big.NewInt(int64(lines)+1), big.NewInt(int64(division)))
	t.Rsh(t, 1)
	if !t.IsInt64() || Mass(t.Int64()) > MaxMass {
		return MaxMass
	}
	return Mass(t.Int64())
}

// LineError is a line, total or division that can't be a weighing.
type LineError struct {
	Field string // "lines[2]", "total", "division"
	Value Mass
	Rule  string
}

func (e *LineError) Error() string { return fmt.Sprintf("%s is %s: %s", e.Field, e.Value, e.Rule) }

// CheckBalance holds that |total − Σ lines| ≤ (n + 1) · division / 2. The error is an
// *Unbalanced, or a *LineError for a mass outside 0 to MaxMass.
func CheckBalance(lines []Mass, total, division Mass) error {
	if division <= 0 || division > MaxMass {
		return &LineError{"division", division, "a scale's division is above zero, as 0.01 g"}
	}
	if err := weighing("total", total); err != nil {
		return err
	}
	var sum Mass
	for i, m := range lines {
		field := fmt.Sprintf("lines[%d]", i)
		if err := weighing(field, m); err != nil {
			return err
		}
		sum += m
		if sum > MaxMass {
			return &LineError{field, m, fmt.Sprintf("with it the lines are above %s together", MaxMass)}
		}
	}
	if e := (&Unbalanced{len(lines), sum, total, division}); e.Apart() > e.Tolerance() {
		return e
	}
	return nil
}

func weighing(field string, m Mass) error {
	if m < 0 || m > MaxMass {
		return &LineError{field, m, fmt.Sprintf("a weighing is between 0 g and %s", MaxMass)}
	}
	return nil
}
