//go:build long

package eventstore_test

// How much is tried before a change is done.
const (
	deliveryCases = 20_000
	machineRounds = 2
	bigDecisions  = 500
	buildRecords  = 20_000
)
