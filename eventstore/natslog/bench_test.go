package natslog_test

import (
	"context"
	"fmt"
	"testing"

	"github.com/nats-io/nats.go"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/natslog"
)

// BenchmarkPublish measures one synced commit, one caller, as the writer loop
// publishes them.
func BenchmarkPublish(b *testing.B) {
	for _, size := range []int{300, 16 << 10, 256 << 10} {
		b.Run(fmt.Sprintf("%d_bytes", size), func(b *testing.B) {
			l, _ := newLog(b)
			data := make([]byte, size)
			seq := 0
			b.SetBytes(int64(size))
			for b.Loop() {
				if err := l.Publish(context.Background(), eventstore.Sequence(seq), commitID(seq), data); err != nil {
					b.Fatal(err)
				}
				seq++
			}
		})
	}
}

// BenchmarkFollow measures the replay of a log, per message.
func BenchmarkFollow(b *testing.B) {
	const messages = 100_000
	for _, size := range []int{300, 16 << 10} {
		count := messages / (1 + size/3000)
		b.Run(fmt.Sprintf("%d_bytes", size), func(b *testing.B) {
			l, s := newLog(b)
			fillRaw(b, s, count, size)
			b.SetBytes(int64(size))
			var f eventstore.Follower
			at := count
			for b.Loop() {
				if at == count {
					if f != nil {
						f.Close()
					}
					f, at = follow(b, l, 0), 0
				}
				if _, err := f.Next(context.Background()); err != nil {
					b.Fatal(err)
				}
				at++
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "messages/s")
		})
	}
}

// fillRaw publishes many messages at once without expectations.
func fillRaw(tb testing.TB, s *natslog.Server, count, size int) {
	tb.Helper()
	js := rawClient(tb, s)
	data := make([]byte, size)
	header := nats.Header{digestName: {digestOf(data)}}
	for n := 1; n <= count; n++ {
		if _, err := js.PublishMsgAsync(&nats.Msg{Subject: subject, Data: data, Header: header}); err != nil {
			tb.Fatal(err)
		}
		if n%500 == 0 || n == count {
			<-js.PublishAsyncComplete()
		}
	}
}
