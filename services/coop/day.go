package coop

import (
	"context"
	"fmt"
	"sync/atomic"
	"time"
	_ "time/tzdata" // the program needs nothing else installed

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
)

// days knows the co-op's time zone, in which the days of money are. The zone is fixed
// at the founding; reading it is too slow for a decision.
type days struct {
	known atomic.Pointer[time.Location]
}

func (d *days) zone(ctx context.Context, node *eventstore.Node) (*time.Location, error) {
	if zone := d.known.Load(); zone != nil {
		return zone, nil
	}
	var zone *time.Location
	_, err := query.At(ctx, node, 0, func(q *eventstore.Query) error {
		c, _, err := eventstore.Load(q, stream.Coop, node.Coop())
		if err == nil && c.ID == "" {
			err = fmt.Errorf("co-op %s was never founded", node.Coop())
		}
		if err != nil {
			return err
		}
		zone, err = time.LoadLocation(c.TimeZone)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("couldn't learn the co-op's time zone: %w", err)
	}
	d.known.Store(zone)
	return zone, nil
}

// firstDay is the earliest day that money counts for: what is before it is a slip of the
// keyboard, and would put a receipt into a year whose books nobody keeps here.
const firstDay = "2000-01-01"

// countsOn is the day that money counts for: the date asked, or today where it is
// empty. now is in the co-op's time zone.
func countsOn(broken *rule.All, date string, now time.Time) string {
	today := now.Format(time.DateOnly)
	if date == "" {
		return today
	}
	if _, err := time.Parse(time.DateOnly, date); err != nil {
		broken.Add(rule.Broken{
			Reason: rule.TimeInvalid, Field: "effective_date", Value: date,
			Rule: "it must be a day of the calendar, YYYY-MM-DD", Hint: "leave it empty for today",
		})
	} else if date < firstDay {
		broken.Add(rule.Broken{
			Reason: rule.TimeInvalid, Field: "effective_date", Value: date,
			Rule: "no money counts for a day before " + firstDay, Hint: "check the year, or leave it empty for today",
		})
	} else if date > today {
		broken.Add(rule.Broken{
			Reason: rule.TimeInvalid, Field: "effective_date", Value: date,
			Rule: "money counts on the day it came in, and it is " + today + " in the co-op's time zone", Hint: "record it when it is there",
		})
	}
	return date
}
