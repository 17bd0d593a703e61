//go:build !long

package eventstore_test

// How much an ordinary run of the tests tries.
const (
	deliveryCases = 5_000
	machineRounds = 1
	bigDecisions  = 100
	buildRecords  = 6_000
)
