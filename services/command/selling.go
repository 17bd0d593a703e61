package command

import (
	"time"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/stream"
)

// Together opens stones that are taken in one go, each once; a stone named twice is
// opened once and stands in the list twice.
func Together(tx *eventstore.Tx, ids []string) ([]*Thing[stone.State], error) {
	stones, opened := make([]*Thing[stone.State], len(ids)), map[string]*Thing[stone.State]{}
	for i, id := range ids {
		if opened[id] == nil {
			st, err := Open(tx, stream.Stone, id)
			if err != nil {
				return nil, err
			}
			opened[id] = st
		}
		stones[i] = opened[id]
	}
	return stones, nil
}

// UseHolds records for each hold of the jeweller that one of these stones is held by
// that it was used, into an order or an approval. It looks at the stones as they are
// before they are taken.
func UseHolds(tx *eventstore.Tx, jeweller string, stones []*Thing[stone.State], orderID, approvalID string, now time.Time) error {
	var holds []string // in the order of the stones: a decision that runs again records the same
	used := map[string][]string{}
	for _, st := range stones {
		if st.State.HeldBy(now) != jeweller {
			continue
		}
		id := st.State.Hold.ID
		if used[id] == nil {
			holds = append(holds, id)
		}
		used[id] = append(used[id], st.ID)
	}
	for _, id := range holds {
		h, err := Open(tx, stream.Hold, id)
		if err != nil {
			return err
		}
		h.Record(h.State.Use(used[id], orderID, approvalID))
	}
	return nil
}
