// Package search finds cut plans: the largest stone of a form that a region holds ([Largest]), the plans for a
// piece that are worth the most by the cutter's own price lists ([Suggest], [SuggestMirrored]), and what no plan is worth
// more than ([Bound]). It proposes; package saw evaluates, and nothing is answered that it didn't find feasible. All of it
// is an estimate by the study as drawn, and a help to one who knows the stone.
//
// What is searched: cuts in the section between bars or into slices, then straight cuts across the face at any
// angle and place, and in each part one stone of those that are wanted, at any turn. What isn't: looks, splits,
// grinding a part level first, two stones in one part. Plans of those kinds are the cutter's to draw; they can be
// worth more.
//
// How: Largest climbs by linear programs over what a stone touches, from many places, and proves its bound by
// branch and bound. Suggest anneals trees of cuts, each part with its best stone, as fast as it can by reckoning in
// floats; what looks like the best of its kind is evaluated exactly. Clean rectangles are cut by the exact search
// of package guillotine first.
//
// The same dice and steps give the same answer, on one kind of processor: others round floats otherwise.
package search
