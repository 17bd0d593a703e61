package guillotine

// index finds refs by hash: open addressing, cleared in no time by raising the round.
type index struct {
	slots []slot
	used  int
	round uint32
}

type slot struct {
	hash, round uint32
	ref         ref
}

func (x *index) reset() {
	x.used = 0
	if x.round++; x.round == 0 {
		clear(x.slots)
		x.round = 1
	}
}

// find is none where nothing of that hash is the same.
func (x *index) find(hash uint64, same func(ref) bool) ref {
	if x.used == 0 {
		return none
	}
	for at := x.place(uint32(hash)); x.slots[at].round == x.round; at = (at + 1) & (len(x.slots) - 1) {
		if s := &x.slots[at]; s.hash == uint32(hash) && same(s.ref) {
			return s.ref
		}
	}
	return none
}

// put takes the place of what is the same, or a new one.
func (x *index) put(hash uint64, r ref, same func(ref) bool) {
	if 2*(x.used+1) > len(x.slots) {
		x.grow()
	}
	at := x.place(uint32(hash))
	for ; x.slots[at].round == x.round; at = (at + 1) & (len(x.slots) - 1) {
		if s := &x.slots[at]; same != nil && s.hash == uint32(hash) && same(s.ref) {
			s.ref = r
			return
		}
	}
	x.slots[at] = slot{uint32(hash), x.round, r}
	x.used++
}

func (x *index) place(hash uint32) int { return int(hash) & (len(x.slots) - 1) }

func (x *index) grow() {
	old := x.slots
	x.slots = make([]slot, max(64, 2*len(old)))
	if x.round == 0 {
		x.round = 1
	}
	for _, s := range old {
		if s.round == x.round {
			at := x.place(s.hash)
			for x.slots[at].round == x.round {
				at = (at + 1) & (len(x.slots) - 1)
			}
			x.slots[at] = s
		}
	}
}
