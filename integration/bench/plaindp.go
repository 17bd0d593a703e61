package main

import "seamshare.example/services/domain/saw/guillotine"

// plainCut is the dynamic programme that one writes first: every part, every cut at every
// whole unit, the kerf as it is, nothing pushed together. It says what the best unlimited
// plan is worth. The benchmark holds the search to it and measures both.
func plainCut(p guillotine.Problem) int64 {
	length, width := int(p.Length), int(p.Width)
	kerf := int(p.Kerf)
	best := make([]int64, (length+1)*(width+1))
	at := func(l, w int) *int64 { return &best[l*(width+1)+w] }
	for l := 1; l <= length; l++ {
		for w := 1; w <= width; w++ {
			most := int64(0)
			for _, k := range p.Kinds {
				kl, kw := int(k.Length), int(k.Width)
				if kl <= l && kw <= w || k.Turns && kw <= l && kl <= w {
					most = max(most, k.Value)
				}
			}
			for x := 1; x < l; x++ {
				most = max(most, *at(x, w)+*at(max(0, l-x-kerf), w))
			}
			for y := 1; y < w; y++ {
				most = max(most, *at(l, y)+*at(l, max(0, w-y-kerf)))
			}
			*at(l, w) = most
		}
	}
	return *at(length, width)
}
