// Package member holds who is here: the co-operative, its members, the persons who
// act for them, the fields and the claims on them. Each is a stream of its own.
//
// Deciding methods look at a state and return what happened or a refusal
// (package rule); Evolve functions assign and never refuse. All of them are pure, and
// no state shares memory that changes with another.
package member

import (
	"time"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	"seamshare.example/services/domain/rule"
)

// Coop is the co-operative itself. Rules:
//
//  1. It is founded once, with a name, in a time zone.
//  2. What may stay unexplained of a parcel is a mass, not below zero; other settings are within bounds.
//  3. Settings hold from a moment on, never from before it was decided.
type Coop struct {
	ID       string
	Name     string
	TimeZone string // an IANA name
	// First are the settings of the founding, Changes those that followed, by the
	// moment from which they hold. SettingsAt chooses among them.
	First   Settings
	Changes []Dated
}

// Found founds the co-op (rules 1 and 2). The zone is loaded by the caller, which is
// how it is known to be one.
func (c Coop) Found(id, name string, zone *time.Location, unexplainedUgPer100g int64) (*memberv1.Event, error) {
	var broken rule.All
	if c.ID != "" {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: c.ID, Rule: "a co-op is founded once", Hint: "use the one that is there"}
	}
	broken.Text("name", name, 80)
	checkTolerance(&broken, "unexplained_ug_per_100g", unexplainedUgPer100g)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_CoopFounded{CoopFounded: &memberv1.CoopFounded{
		Public:  &memberv1.CoopFounded_Public{CoopId: id, Name: name, TimeZone: zone.String()},
		Private: &memberv1.CoopFounded_Private{UnexplainedUgPer_100G: unexplainedUgPer100g},
	}}}, nil
}

// EvolveCoop folds one event.
func EvolveCoop(c Coop, e *memberv1.Event) Coop {
	if f := e.GetCoopFounded(); f != nil {
		c.ID, c.Name, c.TimeZone = f.GetPublic().GetCoopId(), f.GetPublic().GetName(), f.GetPublic().GetTimeZone()
		c.First = DefaultSettings()
		c.First.UnexplainedUgPer100g = f.GetPrivate().GetUnexplainedUgPer_100G()
	}
	if changed := e.GetSettingsChanged(); changed != nil {
		c = c.evolveSettings(changed)
	}
	return c
}
