package piece

import (
	"slices"

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
	p := s.papers.of(member)
	p.pieceID = s.ID
	return p
}

// withPapers changes a member's papers.
func (s State) withPapers(member string, change func(*Papers)) State {
	s.papers = s.papers.with(member, change)
	return s
}

// spent adds a member's minutes at the bench.
func (s State) spent(member string, minutes uint32) State {
	if minutes == 0 {
		return s
	}
	return s.withPapers(member, func(p *Papers) { p.Minutes += uint64(minutes) })
}

// Noted is what one member noted of a part, and of the parts that it was cut from. It is that member's as Papers are.
type Noted struct {
	Tray, Dop string // as last said, of the part it was then
	Waits     string // what there is to decide, while it waits
	Grade     *piecev1.Graded_Private
}

// Of gives what a member noted of the part.
func (p Part) Of(member string) Noted { return p.noted.of(member) }

// note changes what a member noted.
func (p *Part) note(member string, change func(*Noted)) { p.noted = p.noted.with(member, change) }

// decided takes from everybody's notes what there was to decide.
func (p *Part) decided() {
	p.noted = slices.Clone(p.noted)
	for i := range p.noted {
		p.noted[i].value.Waits = ""
	}
}

// byMember is what each member has of a thing of which nobody sees another's. Few ever have any, so a list is found through
// and copied faster than a map.
type byMember[V any] []held[V]

type held[V any] struct {
	member string
	value  V
}

func (b byMember[V]) find(member string) int {
	return slices.IndexFunc(b, func(h held[V]) bool { return h.member == member })
}

// of is a member's own; the zero V where they have none.
func (b byMember[V]) of(member string) (value V) {
	if i := b.find(member); i >= 0 {
		return b[i].value
	}
	return value
}

// with changes a member's own in a list apart; that before stays as it is.
func (b byMember[V]) with(member string, change func(*V)) byMember[V] {
	i := b.find(member)
	if i < 0 {
		i, b = len(b), append(slices.Clip(b), held[V]{member: member})
	} else {
		b = slices.Clone(b)
	}
	change(&b[i].value)
	return b
}
