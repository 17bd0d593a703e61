package eventstore_test

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"

	"seamshare.example/eventstore/storetest"
)

// BenchmarkDecide is a command of one record and four view rows on NATS and
// Badger, with so many callers that wait for their answers.
func BenchmarkDecide(b *testing.B) {
	for _, callers := range []int{1, 64, 256} {
		b.Run(fmt.Sprint(callers, " callers"), func(b *testing.B) {
			p := realPlace(b, false)
			n := openNode(b, config(p.log(), p.store()))
			var next atomic.Int64
			var wg sync.WaitGroup
			b.ReportAllocs()
			b.ResetTimer()
			for c := range callers {
				wg.Go(func() {
					who := fmt.Sprint("member", c)
					for {
						i := next.Add(1)
						if i > int64(b.N) {
							return
						}
						id := fmt.Sprint("stone-", i)
						if _, err := n.Decide(context.Background(), request(who, id), storetest.Take(who, id)); err != nil {
							b.Error(err)
							return
						}
					}
				})
			}
			wg.Wait()
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "commands/s")
			b.ReportMetric(float64(b.N)/float64(n.Checkpoint().Sequence), "commands/commit")
		})
	}
}
