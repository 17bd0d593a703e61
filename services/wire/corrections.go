package wire

import (
	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/view"
)

// Corrections shows all that was put right of a parcel's money, for the co-op's own
// desk.
func Corrections(q *eventstore.Query, s view.Statement) ([]*typev1.ShareCorrection, error) {
	return corrections(q, s, "")
}

// PartyCorrections shows a party the corrections that moved its own share, by how much.
// The words of who corrected may name a buyer, and stay with the desk.
func PartyCorrections(q *eventstore.Query, s view.Statement, party string) ([]*typev1.ShareCorrection, error) {
	return corrections(q, s, party)
}

func corrections(q *eventstore.Query, s view.Statement, party string) (shown []*typev1.ShareCorrection, err error) {
	v := view.Shares{}
	for after, more := "", true; more; more = after != "" {
		var page []view.Correction
		if page, after, err = v.Corrections(q.View(v.Name()), s.ParcelID, after); err != nil {
			return nil, err
		}
		for _, c := range page {
			rec, err := q.RecordAt(c.Position)
			if err != nil {
				return nil, err
			}
			out := &typev1.ShareCorrection{Position: uint64(rec.Position), Corrects: uint64(rec.Corrects)}
			var reason string
			event, _ := rec.Event.(*correctionv1.Event)
			out.What, reason = putRight(event)
			for _, m := range c.Moved {
				if party == "" || party == m.Party {
					out.Moved = append(out.Moved, &typev1.PartyShare{MemberId: s.Member(m.Party), Party: m.Party, Amount: Money(s.Agreement.Currency, m.Minor)})
				}
			}
			switch {
			case party == "":
				out.Reason = reason
			case len(out.Moved) == 0:
				continue
			}
			shown = append(shown, out)
		}
	}
	return shown, nil
}

// putRight is what kind of amount a correction put right, and why.
func putRight(event *correctionv1.Event) (what, reason string) {
	switch e := event.GetEvent().(type) {
	case *correctionv1.Event_ReceiptCorrected:
		return "receipt", e.ReceiptCorrected.GetPrivate().GetReason()
	case *correctionv1.Event_RefundCorrected:
		return "refund", e.RefundCorrected.GetPrivate().GetReason()
	case *correctionv1.Event_CostCorrected:
		return "cost", e.CostCorrected.GetPrivate().GetReason()
	}
	return "price", event.GetPriceCorrected().GetPrivate().GetReason()
}
