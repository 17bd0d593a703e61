//go:build viewraised

package view

import (
	"time"

	"seamshare.example/eventstore"
)

// raised is what a release that raises a view's version has: the old version, which
// answers while the new one is built. Fault tests build a program with it; it takes
// its time over each record, so that they see the build.
func raised() []eventstore.View { return []eventstore.View{nextParcels{}} }

type nextParcels struct{ Parcels }

// Version implements eventstore.View.
func (nextParcels) Version() uint32 { return Parcels{}.Version() + 1 }

// Apply implements eventstore.View.
func (p nextParcels) Apply(rows eventstore.Rows, rec eventstore.Record) error {
	time.Sleep(time.Millisecond)
	return p.Parcels.Apply(rows, rec)
}
