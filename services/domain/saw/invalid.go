package saw

import "fmt"

// Invalid says what in a study, plan or price list can't be, and where.
type Invalid struct {
	Path  string // "features[2].points[5]", "steps[3].look.outcomes[0].ends[1].stones[0].depth_um"
	Value string // what stands there, as a person would write it
	Rule  string // what holds, and what to do
}

func (e *Invalid) Error() string {
	if e.Value == "" {
		return e.Path + ": " + e.Rule
	}
	return fmt.Sprintf("%s is %s: %s", e.Path, e.Value, e.Rule)
}

func invalid(path string, value any, format string, args ...any) *Invalid {
	return &Invalid{path, fmt.Sprint(value), fmt.Sprintf(format, args...)}
}
