package command

import (
	"fmt"
	"time"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/stream"
)

// Settings are the co-op's settings that hold at a moment: a decision gives its Tx and
// Tx.Now, a query its Query and Query.Now.
func Settings(l eventstore.Loader, coopID string, now time.Time) (member.Settings, error) {
	c, _, err := eventstore.Load(l, stream.Coop, coopID)
	if err != nil {
		return member.Settings{}, fmt.Errorf("couldn't look up the co-op's settings: %w", err)
	}
	return c.SettingsAt(now), nil
}
