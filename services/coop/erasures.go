package coop

import (
	"context"
	"errors"

	"seamshare.example/eventstore"
	"seamshare.example/services/personal"
	"seamshare.example/services/view"
)

// ReplayErasures destroys the keys of all persons whose erasures the log tells of after
// a position, and gives the position that this is as of. With 0 it goes before a node
// serves, since the folder may be a copy from before them.
func ReplayErasures(ctx context.Context, node *eventstore.Node, keys *personal.Keys, after eventstore.Position) (eventstore.Position, error) {
	q, err := node.Query(ctx, 0)
	if err != nil {
		return after, err
	}
	defer q.Close()
	v := view.Members{}
	for {
		erased, last, err := v.Erased(q.View(v.Name()), after, view.MaxPage)
		if err != nil {
			return after, err
		}
		if len(erased) == 0 {
			return q.Position(), nil
		}
		if err := keys.Replay(erased); err != nil {
			return after, err
		}
		after = last
	}
}

// FollowErasures destroys the keys of persons as a node applies their erasures, whichever
// node recorded them and whether or not its caller waited, until ctx ends. Each wake costs the read of one
// row where nobody was erased. An error leaves keys that the next start destroys.
func FollowErasures(ctx context.Context, node *eventstore.Node, keys *personal.Keys, after eventstore.Position) error {
	for {
		q, err := node.Query(ctx, after+1)
		if err != nil {
			if ctx.Err() != nil || errors.Is(err, eventstore.ErrClosed) {
				return nil
			}
			return err
		}
		q.Close()
		if after, err = ReplayErasures(ctx, node, keys, after); err != nil {
			if ctx.Err() != nil {
				return nil
			}
			return err
		}
	}
}
