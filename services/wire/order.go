package wire

import (
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"

	"seamshare.example/services/domain/order"
)

// Order shows an order to its buyer.
func Order(s order.State) *jewellerv1.Order {
	out := &jewellerv1.Order{Id: s.ID, Total: Money(s.Currency, s.Total()), Paid: Money(s.Currency, s.Paid())}
	for _, l := range s.Lines {
		out.Lines = append(out.Lines, &jewellerv1.OrderLine{
			StoneId: l.StoneID, Price: Money(s.Currency, l.Price), Paid: Money(s.Currency, l.Paid),
			Returned: l.Returned, Refunded: l.Refunded,
		})
	}
	out.Etag = etag(out, 0)
	return out
}
