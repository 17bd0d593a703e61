// Package member holds who is here: the co-operative, its members, the persons who
// act for them, the fields and the claims on them. Each is a stream of its own.
//
// Deciding methods look at a state and return what happened or a refusal
// (package rule); Evolve functions assign and never refuse. All of them are pure, and
// no state shares memory that changes with another.
package member

import (
	"fmt"
	"time"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	"seamshare.example/services/domain/rule"
)

// Coop is the co-operative itself. Rules:
//
//  1. It is founded once, with a name, in a time zone.
//  2. What may stay unexplained of a parcel is a mass, not below zero.
type Coop struct {
	ID       string
	Name     string
	TimeZone string // an IANA name
	// UnexplainedUgPer100g is what may stay unexplained for each 100 g of a parcel, or
	// part of 100 g.
	UnexplainedUgPer100g int64
}

// Found founds the co-op (rules 1 and 2). The zone is loaded by the caller, which is
// how it is known to be one.
func (c Coop) Found(id, name string, zone *time.Location, unexplainedUgPer100g int64) (*memberv1.Event, error) {
	var broken rule.All
	if c.ID != "" {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: c.ID, Rule: "a co-op is founded once", Hint: "use the one that is there"}
	}
	broken.Text("name", name, 80)
	if m := unexplainedUgPer100g; m < 0 || m > rule.MaxMassUg {
		broken.Add(rule.Broken{
			Reason: rule.MassInvalid, Field: "unexplained_ug_per_100g", Value: fmt.Sprint(m),
			Rule: "a tolerance is a mass, not below zero", Hint: "give micrograms, such as 50000 for 50 mg",
		})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_CoopFounded{CoopFounded: &memberv1.CoopFounded{
		Public:  &memberv1.CoopFounded_Public{CoopId: id, Name: name, TimeZone: zone.String()},
		Private: &memberv1.CoopFounded_Private{UnexplainedUgPer_100G: unexplainedUgPer100g},
	}}}, nil
}

// ToleranceUg is what may stay unexplained of a parcel that was bought at this mass.
func (c Coop) ToleranceUg(boughtUg int64) int64 {
	const hundred = 100_000_000
	return (boughtUg + hundred - 1) / hundred * c.UnexplainedUgPer100g
}

// EvolveCoop folds one event.
func EvolveCoop(c Coop, e *memberv1.Event) Coop {
	if f := e.GetCoopFounded(); f != nil {
		c.ID, c.Name, c.TimeZone = f.GetPublic().GetCoopId(), f.GetPublic().GetName(), f.GetPublic().GetTimeZone()
		c.UnexplainedUgPer100g = f.GetPrivate().GetUnexplainedUgPer_100G()
	}
	return c
}
