//go:build !viewraised

package view

import "seamshare.example/eventstore"

// raised is what fault tests add to a program, see raised.go.
func raised() []eventstore.View { return nil }
