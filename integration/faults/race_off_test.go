//go:build !race

package faults_test

// raceEnabled: the children are built with the race detector as well.
const raceEnabled = false
