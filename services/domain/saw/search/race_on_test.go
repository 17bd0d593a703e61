//go:build race

package search_test

// randomPlans is fewer with the race detector, which makes this ten times slower and finds nothing in one goroutine.
const randomPlans = 2_000
