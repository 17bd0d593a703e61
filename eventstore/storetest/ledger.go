package storetest

import (
	"encoding/binary"
	"errors"
	"fmt"

	"google.golang.org/protobuf/proto"

	"seamshare.example/eventstore"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
)

// A small ledger to decide about: stones that are taken first come first served
// and given back.

// Why a decision of the ledger refuses.
var (
	ErrTaken    = errors.New("the stone is taken")
	ErrNotTaken = errors.New("the stone is not taken by this buyer")
)

// Poison is a stone whose records the view Holdings refuses.
const Poison = "poison"

// Codec knows the ledger's events.
func Codec() eventstore.Codec { return eventstore.NewCodec(&stonev1.Event{}) }

// Stone is a stone's state.
type Stone struct {
	Holder string // "": nobody
	Taken  int    // how often
	Bytes  int    // of the remarks noted
}

// Stones folds a stone's stream.
var Stones = eventstore.Kind[Stone]{Name: "stone", Evolve: func(s Stone, event proto.Message) Stone {
	switch e := event.(*stonev1.Event).Event.(type) {
	case *stonev1.Event_Finished:
		s.Bytes += len(e.Finished.GetPrivate().GetRemarks())
	case *stonev1.Event_Sold:
		s.Holder = e.Sold.GetPrivate().GetBuyerId()
		s.Taken++
	case *stonev1.Event_Returned:
		s.Holder = ""
	}
	return s
}}

// Noted is an event of any size about a stone.
func Noted(id, remarks string) *stonev1.Event {
	return &stonev1.Event{Event: &stonev1.Event_Finished{Finished: &stonev1.Finished{
		Public:  &stonev1.Finished_Public{StoneId: id},
		Private: &stonev1.Finished_Private{Remarks: remarks},
	}}}
}

// Sold is the event of a stone that was taken.
func Sold(id, buyer string) *stonev1.Event {
	return &stonev1.Event{Event: &stonev1.Event_Sold{Sold: &stonev1.Sold{
		Public:  &stonev1.Sold_Public{StoneId: id, OrderId: "order-" + id},
		Private: &stonev1.Sold_Private{BuyerId: buyer, Price: &eventv1.Amount{Currency: "AUD", Minor: 12_345}},
	}}}
}

// Returned is the event of a stone that came back.
func Returned(id, why string) *stonev1.Event {
	return &stonev1.Event{Event: &stonev1.Event_Returned{Returned: &stonev1.Returned{
		Public:  &stonev1.Returned_Public{StoneId: id},
		Private: &stonev1.Returned_Private{Why: why},
	}}}
}

// Note decides to record a remark.
func Note(id, remarks string) func(*eventstore.Tx) error {
	return func(tx *eventstore.Tx) error {
		tx.Record(Stones.Stream(id), Noted(id, remarks))
		tx.Made(id)
		return nil
	}
}

// Take decides that a buyer gets all of the stones, or none.
func Take(buyer string, ids ...string) func(*eventstore.Tx) error {
	return func(tx *eventstore.Tx) error {
		for _, id := range ids {
			stone, _, err := eventstore.Load(tx, Stones, id)
			if err != nil {
				return err
			}
			if stone.Holder != "" {
				return fmt.Errorf("stone %s: %w", id, ErrTaken)
			}
			tx.Record(Stones.Stream(id), Sold(id, buyer))
			tx.Made(id)
		}
		return nil
	}
}

// GiveBack decides that a buyer gives a stone back.
func GiveBack(buyer, id string) func(*eventstore.Tx) error {
	return func(tx *eventstore.Tx) error {
		stone, _, err := eventstore.Load(tx, Stones, id)
		if err != nil {
			return err
		}
		if stone.Holder != buyer {
			return fmt.Errorf("stone %s: %w", id, ErrNotTaken)
		}
		tx.Record(Stones.Stream(id), Returned(id, "came back"))
		tx.Made(id)
		return nil
	}
}

// Holdings is a view of who holds what:
//
//	h holder 0 stone   the number of the record that says so
//	n holder           how many stones the holder has
//	s stone            holder
//
// Versions differ in the rows' values. Fill makes each record leave that many
// more bytes.
type Holdings struct {
	V    uint32
	Fill int
}

// Name is the view's name.
func (Holdings) Name() string { return "holdings" }

// Version is as set.
func (h Holdings) Version() uint32 { return h.V }

// Apply changes the rows.
func (h Holdings) Apply(rows eventstore.Rows, r eventstore.Record) error {
	id := string(r.Stream[len(Stones.Name)+1:])
	was, err := rows.Get([]byte("s" + id))
	if err != nil {
		return err
	}
	var holder []byte
	switch e := r.Event.(*stonev1.Event).Event.(type) {
	case *stonev1.Event_Sold:
		holder = []byte(e.Sold.GetPrivate().GetBuyerId())
	case *stonev1.Event_Finished:
		holder = was
	}
	if string(was) != string(holder) {
		if err := h.move(rows, id, string(was), string(holder), uint64(r.Position)); err != nil {
			return err
		}
	}
	for n := 0; n < h.Fill; n += 4096 {
		rows.Set(fmt.Appendf(nil, "f%d/%d", r.Position, n), make([]byte, 4096))
	}
	if id == Poison {
		// Only now: what was changed above must be taken back.
		return errors.New("this view can't take that stone")
	}
	return nil
}

func (h Holdings) move(rows eventstore.Rows, id, from, to string, at uint64) error {
	if from != "" {
		rows.Delete([]byte("h" + from + "\x00" + id))
		if err := h.add(rows, from, -1); err != nil {
			return err
		}
		rows.Delete([]byte("s" + id))
	}
	if to == "" {
		return nil
	}
	rows.Set([]byte("s"+id), []byte(to))
	rows.Set([]byte("h"+to+"\x00"+id), binary.BigEndian.AppendUint64([]byte{byte(h.V)}, at))
	return h.add(rows, to, 1)
}

func (h Holdings) add(rows eventstore.Rows, holder string, n int) error {
	count, err := Count(rows, holder)
	if err != nil {
		return err
	}
	if count+n == 0 {
		rows.Delete([]byte("n" + holder))
		return nil
	}
	rows.Set([]byte("n"+holder), binary.BigEndian.AppendUint32(nil, uint32(count+n)))
	return nil
}

// Count is how many stones a holder has.
func Count(r eventstore.Reader, holder string) (int, error) {
	row, err := r.Get([]byte("n" + holder))
	if err != nil || row == nil {
		return 0, err
	}
	return int(binary.BigEndian.Uint32(row)), nil
}

// Held lists the stones of a holder, by the other index.
func Held(r eventstore.Reader, holder string) (ids []string, err error) {
	prefix := "h" + holder + "\x00"
	err = r.Scan([]byte(prefix), nil, false, func(key, _ []byte) bool {
		ids = append(ids, string(key[len(prefix):]))
		return true
	})
	return ids, err
}
