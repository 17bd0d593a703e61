//go:build long && race

package wholetest_test

// commands are fewer where each is watched.
const commands = 8_000
