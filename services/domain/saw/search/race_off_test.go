//go:build !race

package search_test

// randomPlans is how many random feasible plans a suggestion is held to.
const randomPlans = 10_000
