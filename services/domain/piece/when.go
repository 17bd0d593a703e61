package piece

import (
	"fmt"
	"time"

	"seamshare.example/services/domain/rule"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// When is the moment of a step, and what holds of rest at it.
type When struct {
	Now  time.Time // of the decision
	Done time.Time // by the cutter's word; zero: now
	// Rest is how long a part rests after shaping, as the co-op has set; 0: not at all.
	Rest time.Duration
	// WhyEarly is why it did not rest that long; empty where it did.
	WhyEarly string
}

func (w When) done() time.Time {
	if w.Done.IsZero() {
		return w.Now
	}
	return w.Done
}

func (w When) us() int64 {
	if w.done().IsZero() {
		return 0
	}
	return w.done().UnixMicro()
}

// check holds rule 13.
func (w When) check(broken *rule.All, part Part) {
	done := w.done()
	if done.After(w.Now) {
		broken.Add(rule.Broken{
			Reason: rule.TimeInvalid, Field: "done_at", Value: rule.Moment(done),
			Rule: "a step is recorded when it is done, and now is " + rule.Moment(w.Now), Hint: "leave it out for now, or give the moment it was done",
		})
	}
	if last := time.UnixMicro(part.LastUs).UTC(); part.LastUs != 0 && done.Before(last) {
		broken.Add(rule.Broken{
			Reason: rule.TimeInvalid, Field: "done_at", Value: rule.Moment(done),
			Rule: fmt.Sprintf("the last step on part %s was done at %s", part.Name, rule.Moment(last)), Hint: "give a later moment",
		})
	}
}

// checkRest holds rule 12 and gives the seconds that a part rested, where they are
// fewer than set; a whole rest, and none that is known of, are 0. A part that did not
// rest a full second counts as one.
func (w When) checkRest(broken *rule.All, part Part) (restedS int64) {
	rested := w.done().Sub(time.UnixMicro(part.ShapedUs))
	if !part.Shaped() || rested >= w.Rest || rested < 0 { // before it was shaped: rule 13 says so
		return 0
	}
	if w.WhyEarly == "" {
		broken.Add(rule.Broken{
			Reason: rule.NotRested, Field: "why_early", Value: "missing",
			Rule: fmt.Sprintf("part %s was shaped %s before, and %s of rest are set", part.Name, hours(rested), hours(w.Rest)),
			Hint: "let it rest, so that a strained stone cracks before work is put into its polish, or say why not",
		})
	} else {
		broken.Text("why_early", w.WhyEarly, 200)
	}
	return max(1, int64(rested/time.Second))
}

// hours is a duration as one says it at the bench: "41 h", "1 h 30 min".
func hours(d time.Duration) string {
	h, m := d/time.Hour, d%time.Hour/time.Minute
	if m == 0 {
		return fmt.Sprintf("%d h", h)
	}
	return fmt.Sprintf("%d h %d min", h, m)
}

// checkNotWeighed holds rule 14.
func checkNotWeighed(w Work) error {
	var broken rule.All
	switch w.Step {
	case piecev1.Step_STEP_SAW, piecev1.Step_STEP_SPLIT, piecev1.Step_STEP_SET_ASIDE:
		broken.Add(rule.Broken{
			Reason: rule.FieldInvalid, Field: "not_weighed", Value: "true",
			Rule: "a step that parts a part or ends it is weighed", Hint: "weigh what came of it",
		})
	}
	if len(w.Out) > 0 || w.MassIn != nil {
		broken.Add(rule.Broken{
			Reason: rule.FieldInvalid, Field: "not_weighed", Value: "true",
			Rule: "where nothing was weighed there are no masses", Hint: "leave out mass_in and parts_out, or say that it was weighed",
		})
	}
	return broken.Err()
}

// maxMinutes is a week without sleep.
const maxMinutes = 7 * 24 * 60

func checkMinutes(broken *rule.All, minutes uint32) {
	if minutes > maxMinutes {
		broken.Add(rule.Broken{
			Reason: rule.FieldInvalid, Field: "minutes", Value: fmt.Sprint(minutes),
			Rule: fmt.Sprintf("one step takes at most %d minutes", maxMinutes), Hint: "give the minutes at the bench, rest not counted",
		})
	}
}
