//go:build !faultpoints

// Package faultpoint lets fault tests kill the process at a named place. Without
// the build tag faultpoints, which no release has, it does nothing.
package faultpoint

// Hit marks the place.
func Hit(string) {}
