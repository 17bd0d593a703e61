//go:build long

package faults_test

// How often each fault happens before a change is done; the numbers of the
// design's table of tests.
const (
	killRounds   = 50
	pointRounds  = 3
	flipRounds   = 60
	fullRounds   = 5
	ioPoints     = 40
	racedParcels = 40
	racedKills   = 2
)
