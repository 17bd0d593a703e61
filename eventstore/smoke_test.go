package eventstore_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/badgerstore"
	"seamshare.example/eventstore/natslog"
	"seamshare.example/eventstore/storetest"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
)

func field(id string) *memberv1.Event {
	return &memberv1.Event{Event: &memberv1.Event_FieldRecorded{FieldRecorded: &memberv1.FieldRecorded{
		Public: &memberv1.FieldRecorded_Public{FieldId: id, Name: "x"}, Private: &memberv1.FieldRecorded_Private{},
	}}}
}

type count int

var fields = eventstore.Kind[count]{Name: "field", Evolve: func(c count, r eventstore.Record) count { return c + 1 }}

func TestSmoke(t *testing.T) {
	srv, err := natslog.StartServer(natslog.Options{StoreDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer srv.Close()
	cfg := natslog.Config{Server: srv, Coop: storetest.Coop}
	if err := natslog.Create(t.Context(), cfg); err != nil {
		t.Fatal(err)
	}
	log, err := natslog.Open(t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	store, _, err := badgerstore.Open(badgerstore.Options{Dir: t.TempDir() + "/b"})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	n := storetest.OpenNode(t, eventstore.Config{Log: log, Store: store, Codec: eventstore.NewCodec(&memberv1.Event{})})
	var wg sync.WaitGroup
	for w := range 64 {
		wg.Go(func() {
			for i := range 100 {
				req := eventstore.Request{ID: fmt.Sprintf("%d-%d", w, i), Member: "m"}
				o, err := n.Decide(context.Background(), req, func(tx *eventstore.Tx) error {
					s, v, err := eventstore.Load(tx, fields, fmt.Sprint("f", w))
					if err != nil {
						return err
					}
					if int(s) != i || int(v) != i {
						return fmt.Errorf("state %d %d want %d", s, v, i)
					}
					tx.Record(fields.Stream(fmt.Sprint("f", w)), field("a"))
					tx.Made(fmt.Sprint(i))
					return nil
				})
				if err != nil || o.IDs[0] != fmt.Sprint(i) {
					t.Errorf("%v %v", o, err)
					return
				}
			}
		})
	}
	wg.Wait()
	o, err := n.Decide(context.Background(), eventstore.Request{ID: "3-7", Member: "m"}, func(tx *eventstore.Tx) error { return errors.New("no") })
	fmt.Println(o, err, n.Checkpoint())
	q, _ := n.Query(context.Background(), 6400)
	defer q.Close()
	r, err := q.RecordAt(4711)
	fmt.Println(r, err)
	s, v, err := eventstore.LoadAt(q, fields, string(r.Stream[6:]), r.Position)
	fmt.Println(s, v, err)
}
