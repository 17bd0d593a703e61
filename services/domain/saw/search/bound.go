package search

import "math"

func Bound(t Task) (int64, error) { return math.MaxInt64, nil }
