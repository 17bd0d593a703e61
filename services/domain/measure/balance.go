package measure

import "fmt"

// Weighing is what a scale showed, and the smallest step it shows.
type Weighing struct{ Mass, Division Mass }

// Unbalanced says that weighed lines and their weighed total are further apart than
// the scales explain.
type Unbalanced struct {
	Lines     int
	Sum       Mass
	Total     Weighing
	Tolerance Mass // what the scales explain
}

// Apart is how far sum and total are from each other.
func (e *Unbalanced) Apart() Mass { return max(e.Sum-e.Total.Mass, e.Total.Mass-e.Sum) }

func (e *Unbalanced) Error() string {
	d := e.Total.Division
	return fmt.Sprintf("the %d lines add up to %s but the total says %s: %s apart, where %s is allowed (half a division for each of %d weighings); weigh again and correct a line or the total",
		e.Lines, e.Sum.OnScale(d), e.Total.Mass.OnScale(d), e.Apart().OnScale(d), e.Tolerance, e.Lines+1)
}

// LineError is a line or total that can't be a weighing.
type LineError struct {
	Field string // "lines[2]", "total", "total.division"
	Value Mass
	Rule  string
}

func (e *LineError) Error() string { return fmt.Sprintf("%s is %s: %s", e.Field, e.Value, e.Rule) }

// CheckBalance holds that |total − Σ lines| is at most half of all the divisions
// together, since each weighing may be off by half of its own; that is
// (n + 1) · d / 2 where one scale weighed it all. The error is an *Unbalanced, or a
// *LineError for masses outside 0 to MaxMass and divisions outside 1 µg to MaxMass,
// alone or together.
func CheckBalance(lines []Weighing, total Weighing) error {
	if err := weighing("total", total); err != nil {
		return err
	}
	sum, divisions := Mass(0), total.Division
	for i, w := range lines {
		field := fmt.Sprintf("lines[%d]", i)
		if err := weighing(field, w); err != nil {
			return err
		}
		sum += w.Mass
		divisions += w.Division
		if sum > MaxMass || divisions > 2*MaxMass {
			return &LineError{field, w.Mass, fmt.Sprintf("with it the lines, or their divisions, are above %s together", MaxMass)}
		}
	}
	if e := (&Unbalanced{len(lines), sum, total, divisions / 2}); e.Apart() > e.Tolerance {
		return e
	}
	return nil
}

func weighing(field string, w Weighing) error {
	if w.Mass < 0 || w.Mass > MaxMass {
		return &LineError{field, w.Mass, fmt.Sprintf("a weighing is between 0 g and %s", MaxMass)}
	}
	if w.Division <= 0 || w.Division > MaxMass {
		return &LineError{field + ".division", w.Division, "a scale's division is above zero, as 0.01 g"}
	}
	return nil
}
