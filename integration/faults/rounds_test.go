//go:build !long

package faults_test

// How often each fault happens in an everyday run.
const (
	killRounds   = 4
	pointRounds  = 1
	flipRounds   = 8
	racedParcels = 40
	racedKills   = 1
)
