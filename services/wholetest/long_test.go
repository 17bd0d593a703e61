//go:build long

package wholetest_test

const commands = 100_000
