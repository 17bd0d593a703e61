package correction_test

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/correction"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
)

func aud(minor int64) correction.Facts {
	return correction.Facts{Amount: &eventv1.Amount{Currency: "AUD", Minor: minor}}
}

func grams(ug int64) correction.Facts {
	return correction.Facts{Weighing: &eventv1.Weighing{MassUg: ug, DivisionUg: 10_000}}
}

func size(um int64) correction.Facts {
	return correction.Facts{Size: &eventv1.Size{LengthUm: um, WidthUm: um, DepthUm: um}}
}

func proposal(was, right correction.Facts) correction.Proposal {
	return correction.Proposal{ID: "c1", Corrects: 7, About: "parcel/p1", Was: was, Right: right, Person: "desk1", Reason: "typed wrong"}
}

func fold(t interface{ Fatal(...any) }, s correction.State, events []*correctionv1.Event, err error) correction.State {
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range events {
		s = correction.Evolve(s, e)
	}
	return s
}

func TestTable(t *testing.T) {
	if err := correction.Table.Check(); err != nil {
		t.Error(err)
	}
}

func TestPropose(t *testing.T) {
	for name, c := range map[string]struct{ was, right correction.Facts }{
		"an amount": {aud(100), aud(90)}, "a mass": {grams(2_000_000), grams(1_990_000)}, "a size": {size(9_000), size(9_100)},
	} {
		t.Run("rule 1 OK: "+name+", at once", func(t *testing.T) {
			events, err := correction.State{}.Propose(proposal(c.was, c.right))
			s := fold(t, correction.State{}, events, err)
			if s.Stage != correction.Done || s.Corrects != 7 || s.About != "parcel/p1" || s.ProposedBy != "desk1" || s.Reason != "typed wrong" || !s.Facts.Same(c.right) || s.DecidedBy != "" {
				t.Errorf("got %+v", s)
			}
		})
	}
	refused := func(name string, change func(*correction.Proposal), reason rule.Reason, field string) {
		t.Run("rule 1 refused: "+name, func(t *testing.T) {
			p := proposal(aud(100), aud(90))
			change(&p)
			_, err := correction.State{}.Propose(p)
			ruletest.Refused(t, err, reason, field)
		})
	}
	refused("without a reason", func(p *correction.Proposal) { p.Reason = "" }, rule.FieldInvalid, "reason")
	refused("the books say so already", func(p *correction.Proposal) { p.Right = aud(100) }, rule.SameAsRecorded, "corrects")
	refused("a record without such a fact", func(p *correction.Proposal) { p.Right = grams(1_000_000) }, rule.NothingToCorrect, "corrects")
	refused("nothing at all", func(p *correction.Proposal) { p.Was, p.Right = correction.Facts{}, correction.Facts{} }, rule.NothingToCorrect, "corrects")
	refused("another currency", func(p *correction.Proposal) { p.Right.Amount.Currency = "EUR" }, rule.CurrencyDiffers, "amount.currency_code")
	refused("less than nothing", func(p *correction.Proposal) { p.Right.Amount.Minor = -1 }, rule.AmountInvalid, "amount")
	refused("no mass", func(p *correction.Proposal) { p.Was, p.Right = grams(1_000_000), grams(0) }, rule.MassInvalid, "weighing.mass_ug")
	refused("no size", func(p *correction.Proposal) { p.Was, p.Right = size(9_000), size(0) }, rule.SizeInvalid, "size.length_um")
	t.Run("refused: twice", func(t *testing.T) {
		events, err := correction.State{}.Propose(proposal(aud(100), aud(90)))
		s := fold(t, correction.State{}, events, err)
		_, err = s.Propose(proposal(aud(100), aud(80)))
		ruletest.Refused(t, err, rule.AlreadyThere, "")
	})
}

func waiting(t *testing.T) correction.State {
	t.Helper()
	p := proposal(aud(100), aud(90))
	p.SecondNeeded = true
	events, err := correction.State{}.Propose(p)
	s := fold(t, correction.State{}, events, err)
	if s.Stage != correction.Waiting {
		t.Fatalf("got %+v", s)
	}
	return s
}

func TestSecondPerson(t *testing.T) {
	others := []string{"desk1"} // whom the second was stated to be another than
	t.Run("rule 2 OK: confirmed by a second", func(t *testing.T) {
		s := waiting(t)
		e, err := s.Confirm("desk2", others, 0)
		if s = fold(t, s, []*correctionv1.Event{e}, err); s.Stage != correction.Done || s.DecidedBy != "desk2" {
			t.Errorf("got %+v", s)
		}
	})
	t.Run("rule 2 OK: refused by a second, who says why", func(t *testing.T) {
		s := waiting(t)
		_, err := s.Refuse("desk2", others, "")
		ruletest.Refused(t, err, rule.FieldInvalid, "reason")
		e, err := s.Refuse("desk2", others, "it was right")
		if s = fold(t, s, []*correctionv1.Event{e}, err); s.Stage != correction.Refused || s.DecidedBy != "desk2" {
			t.Errorf("got %+v", s)
		}
	})
	t.Run("rule 2 refused: by the same person, or one who wasn't stated to be another", func(t *testing.T) {
		s := waiting(t)
		_, err := s.Confirm("desk1", others, 0)
		ruletest.Refused(t, err, rule.SecondPersonNeeded, "correction_id")
		_, err = s.Confirm("desk3", nil, 0)
		ruletest.Refused(t, err, rule.TwoPeopleNotStated, "correction_id")
		_, err = s.Refuse("desk1", others, "mine")
		ruletest.Refused(t, err, rule.SecondPersonNeeded, "correction_id")
	})
	t.Run("rule 2 refused: decided before, or not there", func(t *testing.T) {
		s := waiting(t)
		e, err := s.Refuse("desk2", others, "no")
		s = fold(t, s, []*correctionv1.Event{e}, err)
		_, err = s.Confirm("desk2", others, 0)
		ruletest.Refused(t, err, rule.CorrectionStands, "correction_id")
		_, err = correction.State{}.Confirm("desk2", others, 0)
		ruletest.Refused(t, err, rule.NotFound, "correction_id")
	})
}

// TestDecidedOnce: whoever tries what in any order, a correction is decided at most once,
// and by a second person where one is needed.
func TestDecidedOnce(t *testing.T) {
	persons := []string{"desk1", "desk2", "desk3"}
	rapid.Check(t, func(t *rapid.T) {
		p := proposal(aud(100), aud(90))
		p.SecondNeeded, p.Person = rapid.Bool().Draw(t, "second"), rapid.SampledFrom(persons).Draw(t, "first")
		events, err := correction.State{}.Propose(p)
		s := fold(t, correction.State{}, events, err)
		decided := 0
		for i := range rapid.IntRange(0, 8).Draw(t, "tries") {
			who := rapid.SampledFrom(persons).Draw(t, fmt.Sprint("who", i))
			var e *correctionv1.Event
			if rapid.Bool().Draw(t, fmt.Sprint("confirms", i)) {
				e, err = s.Confirm(who, persons, 0)
			} else {
				e, err = s.Refuse(who, persons, "no")
			}
			if err != nil {
				continue
			}
			if decided++; who == p.Person {
				t.Fatalf("%s decided their own", who)
			}
			s = correction.Evolve(s, e)
		}
		if decided > 1 || decided == 1 && !p.SecondNeeded || (s.Stage == correction.Waiting) != (p.SecondNeeded && decided == 0) {
			t.Fatalf("decided %d times, %+v", decided, s)
		}
	})
}
