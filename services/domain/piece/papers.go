package piece

import (
	"maps"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// Papers are what one member keeps of a piece while it is theirs to cut. They stay that member's when the deal for it
// falls through: who buys it next has papers of their own.
type Papers struct {
	Studies []*piecev1.Studied // oldest first
	Plans   []Plan             // oldest first
	Choices []Choice           // oldest first
	Minutes uint64             // at the bench so far

	pieceID   string
	keptBytes int // of studies and plans, as they are stored
}

// Of gives a member's papers. There is no other way to any: those of others look as if they weren't there.
func (s State) Of(member string) Papers {
	p := s.papers[member]
	p.pieceID = s.ID
	return p
}

// withPapers changes a member's papers in a map of its own.
func (s State) withPapers(member string, change func(*Papers)) State {
	p := s.papers[member]
	change(&p)
	s.papers = put(s.papers, member, p)
	return s
}

// spent adds a member's minutes at the bench.
func (s State) spent(member string, minutes uint32) State {
	return s.withPapers(member, func(p *Papers) { p.Minutes += uint64(minutes) })
}

// Noted is what one member noted of a part, and of the parts that it was cut from. It is that member's as Papers are.
type Noted struct {
	Tray, Dop string // as last said, of the part it was then
	Waits     string // what there is to decide, while it waits
	Grade     *piecev1.Graded_Private
}

// Of gives what a member noted of the part.
func (p Part) Of(member string) Noted { return p.noted[member] }

// note changes what a member noted in a map of its own.
func (p *Part) note(member string, change func(*Noted)) {
	n := p.noted[member]
	change(&n)
	p.noted = put(p.noted, member, n)
}

// decided takes from everybody's notes what there was to decide.
func (p *Part) decided() {
	for member := range p.noted {
		p.note(member, func(n *Noted) { n.Waits = "" })
	}
}

// put gives a map with another value; that before stays as it is.
func put[V any](before map[string]V, key string, value V) map[string]V {
	after := maps.Clone(before)
	if after == nil {
		after = map[string]V{}
	}
	after[key] = value
	return after
}
