// Package risk compares what can be done when nobody knows how it comes out: expected
// value, spread, the chance of a loss, the chance at which two choices are worth the
// same, what knowing beforehand would be worth, and what a look is worth.
//
// Money is whole minor units, chances are whole basis points (10 000 is certain), and
// everything in between is exact in math/big rationals, rounded once, half away from
// zero, where a whole number is asked for. Floats appear in two places only, both marked:
// the inverse of a beta distribution, and a Simulation.
//
// Three forms, from plain to general:
//
//  1. Decision: acts against states of nature, one table. Look is an imperfect sign of
//     the state: preposterior analysis (Raiffa and Schlaifer 1961).
//  2. Tree: choices, forks and ends in any order. A fork whose chances differ by state is
//     a look. What to choose is always computed exactly.
//  3. Prospect: what a solved tree can bring, exactly by enumeration up to MaxAtoms values;
//     beyond it, or where a price is a Range, its mean and variance are still exact,
//     and Simulate draws the rest with a seed and gives standard errors.
//
// The chance is the cutter's own estimate. Record sets beside it what the co-op saw of
// that kind of decision. An expected value is no advice: a bold choice that is better on
// average can still lose the stone, so spread and the chance of a loss stand beside it.
package risk
