package wire

import (
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/domain/order"
)

// Order shows an order to its buyer.
func Order(s order.State) *jewellerv1.Order {
	out := &jewellerv1.Order{
		Id: s.ID, Total: Money(s.Currency, s.Total()), Paid: Money(s.Currency, s.Paid()), Open: Money(s.Currency, s.Open()),
		State: jewellerv1.OrderState(s.Stage()), ApprovalId: s.ApprovalID, PromiseId: s.PromiseID, ReturnUntil: WhenOf(s.ReturnUntil), ClaimUntil: WhenOf(s.ClaimUntil),
		PayBy: WhenOf(s.PayBy),
	}
	if s.Deposit > 0 {
		out.Deposit = Money(s.Currency, s.Deposit)
	}
	for _, l := range s.Lines {
		line := &jewellerv1.OrderLine{
			StoneId: l.StoneID, LotId: l.LotID, Count: l.Count, Price: Money(s.Currency, l.Price), Paid: Money(s.Currency, l.Paid),
			Returned: l.Returned, Refunded: l.Refunded, Dispatched: l.Dispatched, Received: l.Received, ReturnAsked: l.ReturnAsked,
			Carrier: l.Carrier, Reference: l.Reference, Sent: Measured(l.StoneID, l.Sent),
			Damage: typev1.Damage(l.Damage), Answer: typev1.DamageAnswer(l.Answer),
		}
		if l.Reduced > 0 {
			line.Reduced = Money(s.Currency, l.Reduced)
		}
		if due := l.RefundDue(); due > 0 {
			line.RefundDue = Money(s.Currency, due)
		}
		out.Lines = append(out.Lines, line)
	}
	out.Etag = etag(out, 0)
	return out
}

// Sale shows an order to one of its cutters: their own lines. buyer is what the
// jeweller trades under.
func Sale(s order.State, me, buyer string) *cutterv1.Sale {
	out := &cutterv1.Sale{OrderId: s.ID, BuyerId: s.Buyer, BuyerName: buyer, MayBeSent: s.MayBeSent() && !s.Cancelled, Cancelled: s.Cancelled, PayBy: WhenOf(s.PayBy), Paid: s.Open() == 0}
	for _, l := range s.Lines {
		if l.Seller != me {
			continue
		}
		out.Lines = append(out.Lines, &cutterv1.SaleLine{
			StoneId: l.StoneID, LotId: l.LotID, Count: l.Count, Price: Money(s.Currency, l.Price), Paid: Money(s.Currency, l.Paid),
			Dispatched: l.Dispatched, Received: l.Received, ReturnAsked: l.ReturnAsked, ReturnWhy: l.ReturnWhy, Returned: l.Returned,
			Damage: typev1.Damage(l.Damage), DamageWords: l.DamageWords, Answer: typev1.DamageAnswer(l.Answer),
			MassDiffers: l.MassDiffers, SizeDiffers: l.SizeDiffers, SentMassDiffers: l.SentMassDiffers, SentSizeDiffers: l.SentSizeDiffers,
		})
	}
	out.Etag = etag(out, 0)
	return out
}
