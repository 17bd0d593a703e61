package draw

import "fmt"

// ratio is how large things are drawn: Num millimetres on the paper for Den in the piece.
type ratio struct{ Num, Den int64 }

// scales are those of ISO 5455, the largest first.
var scales = []ratio{{50, 1}, {20, 1}, {10, 1}, {5, 1}, {2, 1}, {1, 1}, {1, 2}, {1, 5}, {1, 10}, {1, 20}}

// ownSize is the size of the thing itself.
var ownSize = ratio{1, 1}

func (s ratio) String() string { return fmt.Sprintf("%d:%d", s.Num, s.Den) }

// atMost is the smaller of two scales.
func (s ratio) atMost(t ratio) ratio {
	if t.Num*s.Den < s.Num*t.Den {
		return t
	}
	return s
}

// um is nanometres of the piece in micrometres of paper, half away from zero.
func (s ratio) um(nm int64) int64 { return half(nm*s.Num, s.Den*1_000) }

func half(a, b int64) int64 {
	if a < 0 {
		return -((-a + b/2) / b)
	}
	return (a + b/2) / b
}

// fitting is the largest scale at which so many nanometres take no more than that on the paper.
func fitting(w, h, mostW, mostH int64) ratio {
	for _, s := range scales {
		if s.um(w) <= mostW && s.um(h) <= mostH {
			return s
		}
	}
	return scales[len(scales)-1]
}
