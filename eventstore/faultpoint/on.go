//go:build faultpoints

package faultpoint

import (
	"os"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
)

// The environment names the place and which pass through it kills:
// SEAMSHARE_FAULTPOINT=after-publish:17.
var (
	name, pass = parse(os.Getenv("SEAMSHARE_FAULTPOINT"))
	passed     atomic.Int64
)

func parse(s string) (string, int64) {
	name, count, _ := strings.Cut(s, ":")
	n, _ := strconv.ParseInt(count, 10, 64)
	return name, n
}

// Hit marks the place. When it is the named one and the pass is reached, the
// process gets SIGKILL and this call does not return.
func Hit(place string) {
	if place == name && passed.Add(1) == pass {
		_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
		select {}
	}
}
