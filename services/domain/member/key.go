package member

import (
	"slices"
	"strings"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	"seamshare.example/services/domain/rule"
)

// RevokeKey ends a key (rule 6).
func (p Person) RevokeKey(keyID, reason string) (*memberv1.Event, error) {
	if _, err := p.keyIn(keyID, KeyInUse); err != nil {
		return nil, err
	}
	var broken rule.All
	broken.Text("reason", reason, 200)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_KeyRevoked{KeyRevoked: &memberv1.KeyRevoked{
		Public: &memberv1.KeyRevoked_Public{PersonId: p.ID}, Private: &memberv1.KeyRevoked_Private{KeyId: keyID, Reason: reason},
	}}}, nil
}

// AskKeyReplacement revokes a lost key, where it isn't revoked yet, and names the one
// that shall take its place (rules 3, 4 and 6). owner is the person who has that key
// already, if anyone has.
func (p Person) AskKeyReplacement(keyID string, key []byte, owner string, by Person, reason string) (*memberv1.Event, error) {
	if _, err := p.keyIn(keyID, KeyInUse, KeyRevoked); err != nil {
		return nil, err
	}
	if err := p.Standing.needs("person", Admitted); err != nil {
		return nil, err
	}
	var broken rule.All
	p.checkKeys(&broken)
	checkKey(&broken, key, owner)
	broken.Text("reason", reason, 200)
	p.notTheirOwn(&broken, by)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_KeyReplacementAsked{KeyReplacementAsked: &memberv1.KeyReplacementAsked{
		Public:  &memberv1.KeyReplacementAsked_Public{PersonId: p.ID},
		Private: &memberv1.KeyReplacementAsked_Private{LostKeyId: keyID, PublicKey: slices.Clone(key), AskedBy: by.ID, Reason: reason},
	}}}, nil
}

// ConfirmKeyReplacement puts the new key in the lost one's place (rules 4 and 6).
// owner is the person who has the new key by now, if anyone has.
func (p Person) ConfirmKeyReplacement(keyID, owner string, by Person) (*memberv1.Event, error) {
	k, err := p.keyIn(keyID, KeyLost)
	if err != nil {
		return nil, err
	}
	var broken rule.All
	checkKey(&broken, k.New, owner)
	if err := p.second(&broken, k, by); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_KeyReplacementConfirmed{KeyReplacementConfirmed: &memberv1.KeyReplacementConfirmed{
		Public:  &memberv1.KeyReplacementConfirmed_Public{PersonId: p.ID},
		Private: &memberv1.KeyReplacementConfirmed_Private{LostKeyId: keyID, PublicKey: k.New, ConfirmedBy: by.ID},
	}}}, nil
}

// RefuseKeyReplacement leaves the person without the new key (rule 6).
func (p Person) RefuseKeyReplacement(keyID string, by Person, reason string) (*memberv1.Event, error) {
	k, err := p.keyIn(keyID, KeyLost)
	if err != nil {
		return nil, err
	}
	var broken rule.All
	broken.Text("reason", reason, 200)
	if err := p.second(&broken, k, by); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_KeyReplacementRefused{KeyReplacementRefused: &memberv1.KeyReplacementRefused{
		Public:  &memberv1.KeyReplacementRefused_Public{PersonId: p.ID},
		Private: &memberv1.KeyReplacementRefused_Private{LostKeyId: keyID, RefusedBy: by.ID, Reason: reason},
	}}}, nil
}

func (p Person) keyIn(keyID string, stages ...KeyStage) (Key, error) {
	k, ok := p.Key(keyID)
	if !ok {
		return k, rule.NotThere("key_id", "key of the person")
	}
	if !slices.Contains(stages, k.Stage) {
		var fit []string
		for _, s := range stages {
			fit = append(fit, s.String())
		}
		return k, rule.Broken{
			Reason: rule.KeyStandsOtherwise, Field: "key_id", Value: keyID,
			Rule: "the key is " + k.Stage.String() + ", and this is for one that is " + strings.Join(fit, " or "), Hint: "look at the person's keys",
		}
	}
	return k, nil
}

// second holds the second person of a replacement to rule 6.
func (p Person) second(broken *rule.All, k Key, by Person) error {
	p.notTheirOwn(broken, by)
	if err := broken.Merge("", by.Beside(k.AskedBy, "key_id")); err != nil {
		return err
	}
	return broken.Err()
}

func (p Person) notTheirOwn(broken *rule.All, by Person) {
	if by.ID == p.ID {
		broken.Add(rule.Broken{Reason: rule.SecondPersonNeeded, Field: "person_id", Value: p.ID, Rule: "nobody replaces a key of their own", Hint: "ask two others of the desk"})
	}
}

// Beside refuses the person as the second pair of eyes beside a first one: see
// rule.SecondPerson.
func (p Person) Beside(first, field string) error {
	return rule.SecondPerson(field, first, p.ID, p.NotThem)
}

// StateTwoPeople states that two persons are two people (rule 7): one event for the
// stream of each.
func (p Person) StateTwoPeople(other, by Person, basis string) (mine, others *memberv1.Event, err error) {
	switch {
	case p.ID == "":
		return nil, nil, rule.NotThere("person_id", "person")
	case other.ID == "":
		return nil, nil, rule.NotThere("other_person_id", "person")
	}
	var broken rule.All
	broken.Text("basis", basis, 200)
	switch {
	case p.ID == other.ID:
		broken.Add(rule.Broken{Reason: rule.NamedTwice, Field: "other_person_id", Value: p.ID, Rule: "these are one person", Hint: "name two"})
	case by.ID == p.ID || by.ID == other.ID:
		broken.Add(rule.Broken{Reason: rule.SecondPersonNeeded, Field: "person_id", Value: by.ID, Rule: "a third person states that two are two people", Hint: "ask another of the desk"})
	case slices.Contains(p.LetInBy, by.ID) || slices.Contains(other.LetInBy, by.ID):
		broken.Add(rule.Broken{
			Reason: rule.SecondPersonNeeded, Field: "person_id", Value: by.ID,
			Rule: "who let a person in, or had a part in a key of theirs, doesn't state that they are another", Hint: "ask one of the desk who knows both and added neither",
		})
	case slices.Contains(p.NotThem, other.ID):
		broken.Add(rule.Broken{Reason: rule.AlreadyThere, Field: "other_person_id", Value: other.ID, Rule: "this was stated before", Hint: "nothing needs to be done"})
	case len(p.NotThem) >= maxStated || len(other.NotThem) >= maxStated:
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "other_person_id", Value: other.ID, Rule: "so much was stated of one of them that nothing more is taken", Hint: "choose other persons for the desk"})
	}
	if err := broken.Err(); err != nil {
		return nil, nil, err
	}
	return twoPeople(p.ID, other.ID, by.ID, basis), twoPeople(other.ID, p.ID, by.ID, basis), nil
}

// maxStated bounds a person's state.
const maxStated = 500

func twoPeople(person, other, by, basis string) *memberv1.Event {
	return &memberv1.Event{Event: &memberv1.Event_TwoPeopleStated{TwoPeopleStated: &memberv1.TwoPeopleStated{
		Public:  &memberv1.TwoPeopleStated_Public{PersonId: person},
		Private: &memberv1.TwoPeopleStated_Private{OtherPersonId: other, StatedBy: by, Basis: basis},
	}}}
}

// Suspend stops the person from acting (rule 5).
func (p Person) Suspend(by, reason string) (*memberv1.Event, error) {
	if err := p.change(by, reason, Admitted); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_PersonSuspended{PersonSuspended: &memberv1.PersonSuspended{
		Public: &memberv1.PersonSuspended_Public{PersonId: p.ID}, Private: &memberv1.PersonSuspended_Private{Reason: reason},
	}}}, nil
}

// Reinstate lets a suspended person act again (rule 5).
func (p Person) Reinstate(by, reason string) (*memberv1.Event, error) {
	if err := p.change(by, reason, Suspended); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_PersonReinstated{PersonReinstated: &memberv1.PersonReinstated{
		Public: &memberv1.PersonReinstated_Public{PersonId: p.ID}, Private: &memberv1.PersonReinstated_Private{Reason: reason},
	}}}, nil
}

// Remove stops the person from acting for good (rule 5).
func (p Person) Remove(by, reason string) (*memberv1.Event, error) {
	if err := p.change(by, reason, Admitted, Suspended); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_PersonRemoved{PersonRemoved: &memberv1.PersonRemoved{
		Public: &memberv1.PersonRemoved_Public{PersonId: p.ID}, Private: &memberv1.PersonRemoved_Private{Reason: reason},
	}}}, nil
}

func (p Person) change(by, reason string, from ...Standing) error {
	if p.ID == "" {
		return rule.NotThere("person_id", "person")
	}
	if err := p.Standing.needs("person", from...); err != nil {
		return err
	}
	var broken rule.All
	if p.ID == by {
		broken.Add(rule.Broken{Reason: rule.OwnStanding, Field: "person_id", Value: p.ID, Rule: "nobody changes how they stand themselves", Hint: "leave it to another registrar"})
	}
	broken.Text("reason", reason, 200)
	return broken.Err()
}

// evolveKey folds what happens to keys.
func evolveKey(p Person, event any) Person {
	change := func(id string, how func(*Key)) {
		p.Keys = slices.Clone(p.Keys)
		for i := range p.Keys {
			if p.Keys[i].ID == id {
				how(&p.Keys[i])
			}
		}
	}
	switch e := event.(type) {
	case *memberv1.Event_KeyRevoked:
		change(e.KeyRevoked.GetPrivate().GetKeyId(), func(k *Key) { k.Stage = KeyRevoked })
	case *memberv1.Event_KeyReplacementAsked:
		a := e.KeyReplacementAsked.GetPrivate()
		change(a.GetLostKeyId(), func(k *Key) { k.Stage, k.New, k.AskedBy = KeyLost, a.GetPublicKey(), a.GetAskedBy() })
		p = p.letIn(a.GetAskedBy())
	case *memberv1.Event_KeyReplacementConfirmed:
		c := e.KeyReplacementConfirmed.GetPrivate()
		change(c.GetLostKeyId(), func(k *Key) { k.Stage, k.New, k.AskedBy = KeyReplaced, nil, "" })
		p = p.letIn(c.GetConfirmedBy())
		p.Keys = append(slices.Clip(p.Keys), Key{ID: KeyID(c.GetPublicKey()), Public: c.GetPublicKey(), Stage: KeyInUse})
	case *memberv1.Event_KeyReplacementRefused:
		change(e.KeyReplacementRefused.GetPrivate().GetLostKeyId(), func(k *Key) { k.Stage, k.New, k.AskedBy = KeyRevoked, nil, "" })
	}
	return p
}
