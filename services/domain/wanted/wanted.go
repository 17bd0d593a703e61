// Package wanted holds a jeweller's standing note of what they look for.
//
// Deciding methods look at a State and return what happened or a refusal (package
// rule); Evolve assigns and never refuses. All of it is pure.
package wanted

import (
	"fmt"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	wantedv1 "seamshare.example/proto/gen/seamshare/event/wanted/v1"

	"seamshare.example/services/domain/rule"
)

// State is a note as far as has happened. Rules:
//
//  1. A note is put up once and says something of what is looked for.
//  2. Bounds are in order: the least is not above the most.
//  3. Only its jeweller changes it or takes it down, once.
//  4. Cutters see who looks for it only where the note shows the name.
//
// States are shared between goroutines: nothing that is reachable from one is ever
// changed.
type State struct {
	ID        string
	Member    string
	Wish      *wantedv1.Wish
	ShowsName bool
	Closed    bool
}

// Post puts the note up (rules 1 and 2).
func (s State) Post(id, member string, w *wantedv1.Wish, showsName bool) (*wantedv1.Event, error) {
	if s.ID != "" {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: s.ID, Rule: "a note is put up once", Hint: "change it under this id"}
	}
	if err := check(w); err != nil {
		return nil, err
	}
	return &wantedv1.Event{Event: &wantedv1.Event_Posted{Posted: &wantedv1.Posted{
		Public:  &wantedv1.Posted_Public{WantedId: id},
		Private: &wantedv1.Posted_Private{MemberId: member, Wish: w, ShowsName: showsName},
	}}}, nil
}

// Change replaces what the note says (rules 1 to 3).
func (s State) Change(member string, w *wantedv1.Wish, showsName bool) (*wantedv1.Event, error) {
	if err := s.open(member); err != nil {
		return nil, err
	}
	if err := check(w); err != nil {
		return nil, err
	}
	return &wantedv1.Event{Event: &wantedv1.Event_Changed{Changed: &wantedv1.Changed{
		Public: &wantedv1.Changed_Public{WantedId: s.ID}, Private: &wantedv1.Changed_Private{Wish: w, ShowsName: showsName},
	}}}, nil
}

// Close takes the note down (rule 3).
func (s State) Close(member string) (*wantedv1.Event, error) {
	if err := s.open(member); err != nil {
		return nil, err
	}
	return &wantedv1.Event{Event: &wantedv1.Event_Closed{Closed: &wantedv1.Closed{
		Public: &wantedv1.Closed_Public{WantedId: s.ID}, Private: &wantedv1.Closed_Private{},
	}}}, nil
}

func (s State) open(member string) error {
	switch {
	case s.ID == "" || s.Member != member:
		return rule.NotThere("wanted_id", "note")
	case s.Closed:
		return rule.Broken{Reason: rule.WantedIsClosed, Field: "wanted_id", Value: s.ID, Rule: "the note was taken down", Hint: "put up a new one"}
	}
	return nil
}

func check(w *wantedv1.Wish) error {
	var broken rule.All
	for _, a := range []struct {
		field  string
		number int32
		known  map[int32]string
	}{
		{"wish.outline", int32(w.GetOutline()), stonev1.Outline_name},
		{"wish.kind", int32(w.GetKind()), eventv1.Kind_name},
	} {
		if _, ok := a.known[a.number]; !ok {
			broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: a.field, Value: fmt.Sprint(a.number), Rule: "it is one of the words offered", Hint: "0 where it doesn't matter"})
		}
	}
	inOrder(&broken, "wish.max_length_um", w.GetMinLengthUm(), w.GetMaxLengthUm(), rule.MaxLengthUm)
	inOrder(&broken, "wish.max_body_tone", int64(w.GetMinBodyTone()), int64(w.GetMaxBodyTone()), 9)
	if w.GetBudget() != nil {
		broken.Positive("wish.budget", w.GetBudget())
	}
	if w.GetColours() != "" {
		broken.Text("wish.colours", w.GetColours(), 120)
	}
	if w.GetWords() != "" {
		broken.Text("wish.words", w.GetWords(), 500)
	}
	says := w.GetOutline() != 0 || w.GetKind() != 0 || w.GetMinLengthUm() != 0 || w.GetMaxLengthUm() != 0 || w.GetMinBodyTone() != 0 ||
		w.GetMaxBodyTone() != 0 || w.GetColours() != "" || w.GetWords() != ""
	if !says {
		broken.Add(rule.Broken{Reason: rule.NotAnswered, Field: "wish", Value: "empty", Rule: "a note says what is looked for", Hint: "name an outline, a size, colours, or say it in words"})
	}
	return broken.Err()
}

// inOrder notes bounds out of order; 0 is no bound.
func inOrder(broken *rule.All, field string, least, most, top int64) {
	if least < 0 || most < 0 || least > top || most > top || most != 0 && least > most {
		broken.Add(rule.Broken{
			Reason: rule.FieldInvalid, Field: field, Value: fmt.Sprintf("%d to %d", least, most),
			Rule: fmt.Sprintf("bounds lie between 0 and %d, the least not above the most", top), Hint: "0 for no bound",
		})
	}
}

// Evolve folds one event.
func Evolve(s State, e *wantedv1.Event) State {
	switch e := e.GetEvent().(type) {
	case *wantedv1.Event_Posted:
		p := e.Posted.GetPrivate()
		s.ID, s.Member, s.Wish, s.ShowsName = e.Posted.GetPublic().GetWantedId(), p.GetMemberId(), p.GetWish(), p.GetShowsName()
	case *wantedv1.Event_Changed:
		s.Wish, s.ShowsName = e.Changed.GetPrivate().GetWish(), e.Changed.GetPrivate().GetShowsName()
	case *wantedv1.Event_Closed:
		s.Closed = true
	}
	return s
}
