package view

import (
	"slices"
	"strconv"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"

	"seamshare.example/eventstore"
)

// Stones is where stones are found; what each is, and who bought it, its stream
// tells.
//
//	outline, stone id            → outline, from when it is finished
//	sale, outline, stone id      while it is on sale
//	cutter, member id, stone id
type Stones struct{}

// Name implements eventstore.View.
func (Stones) Name() string { return "stones" }

// Version implements eventstore.View.
func (Stones) Version() uint32 { return 1 }

// Apply implements eventstore.View.
func (v Stones) Apply(rows eventstore.Rows, rec eventstore.Record) error {
	event, ok := rec.Event.(*stonev1.Event)
	if !ok {
		return nil
	}
	switch e := event.Event.(type) {
	case *stonev1.Event_Finished:
		p := e.Finished.GetPublic()
		rows.Set(key("outline", p.GetStoneId()), row{}.num(uint64(p.GetOutline())))
		rows.Set(key("cutter", p.GetCutterId(), p.GetStoneId()), present)
	case *stonev1.Event_PutOnSale:
		k, err := v.saleKey(rows, event, e.PutOnSale.GetPublic().GetStoneId())
		if err != nil {
			return err
		}
		rows.Set(k, present)
	case *stonev1.Event_Sold:
		k, err := v.saleKey(rows, event, e.Sold.GetPublic().GetStoneId())
		if err != nil {
			return err
		}
		rows.Delete(k)
	}
	return nil
}

func (v Stones) saleKey(r eventstore.Reader, event *stonev1.Event, id string) ([]byte, error) {
	value, err := r.Get(key("outline", id))
	if err != nil {
		return nil, err
	}
	if value == nil {
		return nil, unexpected(v.Name(), event, "stone %s was never finished", id)
	}
	outline, err := readOutline(value)
	if err != nil {
		return nil, err
	}
	return key("sale", outline, id), nil
}

func readOutline(value []byte) (string, error) {
	f := read(value)
	outline := f.num()
	return strconv.FormatUint(outline, 10), f.done("stones", "outline")
}

// OnSale gives the ids of the stones on sale, oldest first: those of one outline, or
// all where it is OUTLINE_UNSPECIFIED.
func (Stones) OnSale(r eventstore.Reader, outline stonev1.Outline, after string, limit int) (stones []string, next string, err error) {
	if outline != stonev1.Outline_OUTLINE_UNSPECIFIED {
		return ids(r, table("sale", strconv.Itoa(int(outline))), after, limit)
	}
	// The page of all is the first of the pages of each outline together.
	more := false
	for number := range stonev1.Outline_name {
		some, rest, err := ids(r, table("sale", strconv.Itoa(int(number))), after, limit)
		if err != nil {
			return nil, "", err
		}
		stones = append(stones, some...)
		more = more || rest != ""
	}
	slices.Sort(stones)
	if limit = max(1, min(limit, MaxPage)); len(stones) > limit {
		stones, more = stones[:limit], true
	}
	if more {
		next = stones[len(stones)-1]
	}
	return stones, next, nil
}

// ByCutter gives the ids of the stones a cutter finished, oldest first.
func (Stones) ByCutter(r eventstore.Reader, memberID, after string, limit int) (stones []string, next string, err error) {
	return ids(r, table("cutter", memberID), after, limit)
}
