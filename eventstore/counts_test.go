package eventstore_test

// How much the tests try. The race detector makes each several times slower, so more would not
// fit into the run that every change must pass.
const (
	deliveryCases = 5_000
	machineRounds = 1
	bigDecisions  = 100
	buildRecords  = 6_000
)
