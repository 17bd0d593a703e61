// Package guillotine cuts a rectangle into rectangles worth the most, each cut straight
// through the part it is made on, from edge to edge, as a saw does.
//
// Lengths are whole numbers of one unit (micrometres, or a coarser step: the finer the
// unit, the more places a cut can be at), values are whole minor units. Solve gives the
// plan itself, a tree of cuts with places; Check is a second reading of such a tree that
// shares nothing with the search.
//
// # Kerf
//
// A cut takes the kerf k away. With every length l of a part and of a kind put as l + k,
// a cut into a and b, where a + k + b = l, becomes (a+k) + (b+k) = l + k: a cut without
// kerf. The two problems have the same plans. There is one place where that needs a word:
// a cut closer to the far edge than k. The blade then runs half in the air and takes what
// is there, less than k, and nothing stays behind it; the part before it is whole. That is
// how a piece is trimmed to size, and it counts as possible here. Where a blade must
// not overhang, enter stock shorter by k: then every piece keeps a full kerf behind it.
//
// # Where cuts can be
//
// Any plan can be pushed together until each part is as long as a sum of lengths of
// kinds, so only such sums are tried (discretisation points: Herz 1972, Christofides and
// Whitlock 1977, Beasley 1985).
//
// # Without limits
//
// Dynamic programming over all parts with sides at those points, cuts up to the middle
// only (Beasley 1985; Cintra, Miyazawa, Wakabayashi and Xavier 2008).
//
// # At most n of a kind
//
// A price λ on each limited kind, found by subgradient steps, turns the limits into a sum
// (Lagrangian relaxation): no plan is worth more than the unlimited optimum of values v - λ
// plus Σ λ n. The same prices bound what can still be added around any part already
// built, by the recursion of Viswanathan and Bagchi (1993). Passes then build parts up
// from kinds by joining two along a side, smallest first, and keep only those whose bound
// reaches a target; of parts with the same pieces the smaller one. Parts in a row are
// joined in one order, the shortest last.
//
// The target begins close below the bound and sinks. What a pass saw, even one that kept
// too much and was broken off, tightens the prices for the next: no part of a size is
// worth more, charged, than the best that was kept of it or than what would have been
// kept, so that less can be added around others. A target that nothing reaches is the
// bound; the first one that is reached is the optimum.
//
// Counts of all limited kinds are told apart while they fit into 256 bits; otherwise only
// of some, first of those that the relaxed plan uses too often (state-space relaxation,
// Christofides and Hadjiconstantinou 1995, refined step by step).
//
// The first plans are greedy: piece after piece into the waste that it fits the closest.
// Better ones come from cutting some of a plan anew, again and again: what lies side by
// side, and the waste with it, is filled by building up from what is left with few parts
// kept for each size (large neighbourhood search, Shaw 1998), half the time uphill only
// and half under simulated annealing.
//
// How long that takes depends on how much is wanted, how closely it fits, and at how many
// places a cut can be. Where all fits with room to spare, a greedy plan is the proof, in
// seconds even on large stock; where all fits closely or a few pieces more are wanted than
// fit, a minute may not be enough. Give a context with a deadline: the gap then says what is
// open.
package guillotine
