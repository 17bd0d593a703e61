package member

import (
	"slices"

	"seamshare.example/services/domain/rule"
)

// Standing is how a member or a person stands here.
type Standing int

// The zero Standing is one that isn't there.
const (
	Admitted  Standing = iota + 1 // may act
	Suspended                     // may not, until reinstated
	Removed                       // may not any more
)

// String is the standing as people say it.
func (s Standing) String() string {
	switch s {
	case Admitted:
		return "admitted"
	case Suspended:
		return "suspended"
	case Removed:
		return "removed"
	}
	return ""
}

// needs refuses a change of what stands otherwise.
func (s Standing) needs(what string, from ...Standing) error {
	if slices.Contains(from, s) {
		return nil
	}
	return rule.Broken{
		Reason: rule.StandsOtherwise, Field: what + "_id", Value: s.String(),
		Rule: "that can't be done to a " + what + " that is " + s.String(), Hint: "look how it stands",
	}
}
