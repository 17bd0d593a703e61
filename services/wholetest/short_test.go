//go:build !long

package wholetest_test

const commands = 5_000
