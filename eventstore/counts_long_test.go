//go:build long

package eventstore_test

// How much a long run of the tests tries.
const (
	deliveryCases = 2_000_000
	machineRounds = 300
	bigDecisions  = 10_000
	buildRecords  = 300_000
)
