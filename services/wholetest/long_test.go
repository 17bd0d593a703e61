//go:build long && !race

package wholetest_test

const commands = 100_000
