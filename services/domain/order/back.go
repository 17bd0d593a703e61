package order

import (
	"fmt"
	"slices"
	"time"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/rule"

	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
)

// Return records that a stone, or a portion of a lot, is back with its cutter (rule 4).
func (s State) Return(id string) (*orderv1.Event, error) {
	l, ok := s.Line(id)
	if !ok {
		return nil, rule.NotThere("stone_id", "stone in an order")
	}
	if l.Returned {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Field: "stone_id", Value: id, Rule: "the stone of this order came back before", Hint: "nothing needs to be done"}
	}
	return &orderv1.Event{Event: &orderv1.Event_Returned{Returned: &orderv1.Returned{
		Public: &orderv1.Returned_Public{OrderId: s.ID, StoneId: l.StoneID, LotId: l.LotID}, Private: &orderv1.Returned_Private{},
	}}}, nil
}

// Refund records that money for a line was paid back (rule 5).
func (s State) Refund(id string, amount *eventv1.Amount, reference string) (*orderv1.Event, error) {
	if err := s.checkMoney(amount, reference); err != nil {
		return nil, err
	}
	l, ok := s.Line(id)
	switch due := l.RefundDue(); {
	case !ok:
		return nil, rule.NotThere("stone_id", "stone in this order")
	case due == 0 && !l.Returned && l.Reduced == 0:
		return nil, rule.Broken{Reason: rule.NotReturned, Field: "stone_id", Value: id, Rule: "money is paid back after the stone came back, or its price was reduced", Hint: "let its cutter accept the return first"}
	case due == 0:
		return nil, rule.Broken{Reason: rule.NothingToRefund, Field: "stone_id", Value: id, Rule: "nothing that was paid for this stone is left to pay back", Hint: "nothing needs to be done"}
	case amount.GetMinor() != due:
		return nil, rule.Broken{Reason: rule.RefundDiffers, Field: "amount", Value: rule.Money(amount), Rule: "a refund is all that is to be paid back for the stone: " + s.money(due), Hint: "pay back this amount"}
	}
	return &orderv1.Event{Event: &orderv1.Event_Refunded{Refunded: &orderv1.Refunded{
		Public:  &orderv1.Refunded_Public{OrderId: s.ID, StoneId: l.StoneID, LotId: l.LotID},
		Private: &orderv1.Refunded_Private{Amount: amount, Reference: reference},
	}}}, nil
}

// AskReturn says that the jeweller sends stones back (rule 9).
func (s State) AskReturn(buyer string, ids []string, why string, now time.Time) (*orderv1.Event, error) {
	if err := s.mine(buyer); err != nil {
		return nil, err
	}
	var broken rule.All
	broken.Text("why", why, 500)
	if len(ids) == 0 {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "stone_ids", Value: "none", Rule: "at least one stone goes back", Hint: "name it"})
	}
	for i, id := range ids {
		field := fmt.Sprintf("stone_ids[%d]", i)
		l, ok := s.Line(id)
		switch {
		case !ok:
			broken.Add(rule.NotThere(field, "stone in this order"))
		case slices.Index(ids, id) != i:
			broken.Add(rule.Broken{Reason: rule.NamedTwice, Field: field, Value: id, Rule: "a stone goes back once", Hint: "leave it out"})
		case l.Returned || l.ReturnAsked:
			broken.Add(rule.Broken{Reason: rule.AlreadyThere, Field: field, Value: id, Rule: "the stone goes back already", Hint: "leave it out"})
		case !l.Received:
			broken.Add(s.notReceived(field, id))
		case s.ApprovalID != "":
			broken.Add(rule.Broken{Reason: rule.ReturnPeriodOver, Field: field, Value: id, Rule: "a stone bought from an approval isn't sent back under the return period: it was looked at before", Hint: "ask its cutter, who may still take it, or claim damage"})
		case !now.Before(l.ReturnUntil):
			broken.Add(rule.Broken{Reason: rule.ReturnPeriodOver, Field: field, Value: id, Rule: "it could be sent back until " + rule.Moment(l.ReturnUntil), Hint: "ask its cutter, who may still take it"})
		}
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &orderv1.Event{Event: &orderv1.Event_ReturnAsked{ReturnAsked: &orderv1.ReturnAsked{
		Public: &orderv1.ReturnAsked_Public{OrderId: s.ID}, Private: &orderv1.ReturnAsked_Private{StoneIds: ids, Why: why},
	}}}, nil
}

// Claim is what a jeweller says is wrong with a stone.
type Claim struct {
	StoneID string
	Damage  orderv1.Damage
	Words   string
	Photo   *eventv1.Photo
}

// ClaimDamage claims it (rule 10).
func (s State) ClaimDamage(buyer string, c Claim, now time.Time) (*orderv1.Event, error) {
	if err := s.mine(buyer); err != nil {
		return nil, err
	}
	var broken rule.All
	broken.Answered("damage", int32(c.Damage), orderv1.Damage_name)
	broken.Text("words", c.Words, 1000)
	l, ok := s.Line(c.StoneID)
	switch {
	case !ok || l.LotID != "":
		broken.Add(rule.NotThere("stone_id", "stone in this order"))
	case l.Damage != 0:
		broken.Add(rule.Broken{Reason: rule.AlreadyThere, Field: "stone_id", Value: c.StoneID, Rule: "damage to this stone was claimed before", Hint: "a refused claim is a matter for the co-op's desk"})
	case l.Returned:
		broken.Add(rule.Broken{Reason: rule.AlreadyThere, Field: "stone_id", Value: c.StoneID, Rule: "the stone is back with its cutter", Hint: "nothing needs to be done"})
	case !l.Received:
		broken.Add(s.notReceived("stone_id", c.StoneID))
	case !now.Before(l.ClaimUntil):
		broken.Add(rule.Broken{Reason: rule.ClaimPeriodOver, Field: "stone_id", Value: c.StoneID, Rule: "damage could be claimed until " + rule.Moment(l.ClaimUntil), Hint: "ask its cutter"})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &orderv1.Event{Event: &orderv1.Event_DamageClaimed{DamageClaimed: &orderv1.DamageClaimed{
		Public:  &orderv1.DamageClaimed_Public{OrderId: s.ID},
		Private: &orderv1.DamageClaimed_Private{StoneId: c.StoneID, Damage: c.Damage, Words: c.Words, Photo: c.Photo},
	}}}, nil
}

// AnswerDamage answers a claim (rule 10); where the price is reduced, the second event
// reduces it (rule 11).
func (s State) AnswerDamage(seller, stoneID string, answer orderv1.DamageAnswer, reduction *eventv1.Amount, words string) ([]*orderv1.Event, error) {
	l, ok := s.Line(stoneID)
	switch {
	case s.ID == "" || !s.Sells(seller):
		return nil, rule.NotThere("order_id", "order")
	case !ok || l.Seller != seller:
		return nil, rule.NotThere("stone_id", "stone in this order")
	case l.Damage == 0 || l.Answer != 0:
		return nil, rule.Broken{Reason: rule.DamageNotClaimed, Field: "stone_id", Value: stoneID, Rule: "no claim waits for an answer", Hint: "nothing needs to be done"}
	}
	var broken rule.All
	broken.Answered("answer", int32(answer), orderv1.DamageAnswer_name)
	broken.Text("words", words, 1000)
	reduces := answer == orderv1.DamageAnswer_DAMAGE_ANSWER_REDUCE
	if !reduces && reduction != nil {
		broken.Add(rule.Broken{Reason: rule.AmountInvalid, Field: "reduction", Value: rule.Money(reduction), Rule: "only the answer to reduce takes something off the price", Hint: "leave it out"})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	events := []*orderv1.Event{{Event: &orderv1.Event_DamageAnswered{DamageAnswered: &orderv1.DamageAnswered{
		Public: &orderv1.DamageAnswered_Public{OrderId: s.ID}, Private: &orderv1.DamageAnswered_Private{StoneId: stoneID, Answer: answer, Words: words},
	}}}}
	if reduces {
		reduced, err := s.Reduce(stoneID, reduction, words)
		if err != nil {
			return nil, err
		}
		events = append(events, reduced)
	}
	return events, nil
}

// Reduce takes something off a line's price (rule 11).
func (s State) Reduce(id string, by *eventv1.Amount, why string) (*orderv1.Event, error) {
	l, ok := s.Line(id)
	if !ok {
		return nil, rule.NotThere("stone_id", "stone in this order")
	}
	var broken rule.All
	broken.Positive("reduction", by)
	broken.Currency("reduction", by, s.Currency)
	if l.Returned {
		broken.Add(rule.Broken{Reason: rule.AlreadyThere, Field: "stone_id", Value: id, Rule: "the stone is back with its cutter, and all that was paid for it is paid back", Hint: "nothing needs to be done"})
	} else if by.GetMinor() > l.Price {
		broken.Add(rule.Broken{Reason: rule.AboveThePrice, Field: "reduction", Value: rule.Money(by), Rule: "the price is " + s.money(l.Price), Hint: "take less off, or take the stone back"})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &orderv1.Event{Event: &orderv1.Event_PriceReduced{PriceReduced: &orderv1.PriceReduced{
		Public:  &orderv1.PriceReduced_Public{OrderId: s.ID, StoneId: l.StoneID, LotId: l.LotID},
		Private: &orderv1.PriceReduced_Private{By: by, Why: why},
	}}}, nil
}

func (s State) notReceived(field, id string) rule.Broken {
	return rule.Broken{Reason: rule.NotReceived, Field: field, Value: id, Rule: "the stone hasn't come yet", Hint: "receive the order first, or call it off"}
}
