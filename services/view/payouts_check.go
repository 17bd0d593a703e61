package view

import (
	"fmt"

	payoutv1 "seamshare.example/proto/gen/seamshare/event/payout/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/dispute"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/payout"
	"seamshare.example/services/stream"
)

// EarnedAt reckons what each member had earned in a currency at a position: at the tip
// from the books, and at an earlier one, which they no longer say, from the streams alone:
// every parcel's deal, receipts and costs, and the orders of its stones.
func EarnedAt(q *eventstore.Query, currency string, at eventstore.Position) (map[string]int64, error) {
	earned := map[string]int64{}
	if q.Position() == at {
		shares := Shares{}
		_, balances, err := shares.Balances(q.View(shares.Name()))
		for _, b := range balances {
			if b.Currency == currency {
				earned[b.Member] += b.Minor
			}
		}
		return earned, err
	}
	return earnedFromStreams(q, currency, at)
}

// earnedFromStreams reckons the same from the streams alone.
func earnedFromStreams(q *eventstore.Query, currency string, at eventstore.Position) (map[string]int64, error) {
	earned := map[string]int64{}
	register := Register{}
	parcels, err := register.All(q.View(register.Name()), "parcel")
	if err != nil {
		return nil, fmt.Errorf("couldn't list the parcels: %w", err)
	}
	for _, id := range parcels {
		s, ok, err := statementOf(q, id, at)
		if err != nil {
			return nil, fmt.Errorf("couldn't reckon parcel %s at position %d: %w", id, at, err)
		}
		if !ok || s.Agreement.Currency != currency {
			continue
		}
		for _, p := range s.Shares.Parties {
			earned[s.Member(p.Party)] += p.Total()
		}
	}
	return earned, nil
}

// Difference is where a payout run doesn't come out as the log says.
type Difference struct {
	RunID, LineID, MemberID string
	What                    string
}

func (d Difference) String() string {
	return fmt.Sprintf("line %s of run %s for member %s: %s", d.LineID, d.RunID, d.MemberID, d.What)
}

// CheckPayout reckons a run anew from the streams as they stood when it was prepared:
// what each payee had earned, what of it other runs had taken, and what disputes held.
// No view's sums are used, so that it folds the whole history of its currency: its cost
// grows with it (BenchmarkCheckPayout). ok is false where there is no such run.
func CheckPayout(q *eventstore.Query, runID string) (differences []Difference, ok bool, err error) {
	records, err := q.Records(stream.Payout.Stream(runID))
	if err != nil || len(records) == 0 {
		return nil, false, err
	}
	event, _ := records[0].Event.(*payoutv1.Event)
	run := payout.Evolve(payout.State{}, event)
	before := records[0].Position - 1
	asOf, err := earnedFromStreams(q, run.Currency, eventstore.Position(run.AsOf))
	if err != nil {
		return nil, false, err
	}
	then := asOf
	if eventstore.Position(run.AsOf) != before {
		if then, err = earnedFromStreams(q, run.Currency, before); err != nil {
			return nil, false, err
		}
	}
	taken, held, err := boundAt(q, run.Currency, before)
	if err != nil {
		return nil, false, err
	}
	for _, l := range run.Lines {
		p := payout.Payee{AsOf: asOf[l.Member], Now: then[l.Member], Taken: taken[l.Member], Held: held[l.Member]}
		if l.Minor != p.Payable() || l.Earned != min(p.AsOf, p.Now) || l.Taken != p.Taken || l.Disputed != p.Held {
			differences = append(differences, Difference{runID, l.ID, l.Member, fmt.Sprintf(
				"it pays %d of %d earned, %d taken, %d disputed; the log says %d of %d, %d, %d (minor units of %s)",
				l.Minor, l.Earned, l.Taken, l.Disputed, p.Payable(), min(p.AsOf, p.Now), p.Taken, p.Held, run.Currency)})
		}
	}
	return differences, true, nil
}

// boundAt reckons from the streams what runs had taken and disputes held at a position.
func boundAt(q *eventstore.Query, currency string, at eventstore.Position) (taken, held map[string]int64, err error) {
	taken, held = map[string]int64{}, map[string]int64{}
	register := Register{}
	rows := q.View(register.Name())
	runs, err := register.All(rows, "payout")
	if err != nil {
		return nil, nil, err
	}
	for _, id := range runs {
		run, _, err := eventstore.LoadAt(q, stream.Payout, id, at)
		if err != nil {
			return nil, nil, err
		}
		for _, l := range run.Lines {
			if is := countOf(l); run.Currency == currency {
				taken[l.Member] += is.Sum()
			}
		}
	}
	disputes, err := register.All(rows, "dispute")
	if err != nil {
		return nil, nil, err
	}
	for _, id := range disputes {
		d, _, err := eventstore.LoadAt(q, stream.Dispute, id, at)
		if err != nil {
			return nil, nil, err
		}
		if d.Stage == dispute.Open && d.Currency == currency {
			held[d.Against] += d.HeldMinor
		}
	}
	return taken, held, nil
}

// CheckPayouts checks every run there is and returns how many there were; an error
// names the first line that differs.
func CheckPayouts(q *eventstore.Query) (runs int, err error) {
	register := Register{}
	all, err := register.All(q.View(register.Name()), "payout")
	if err != nil {
		return 0, err
	}
	for i, id := range all {
		differences, _, err := CheckPayout(q, id)
		if err != nil {
			return i, err
		}
		if len(differences) > 0 {
			return i, fmt.Errorf("a payout doesn't recompute: %v", differences[0])
		}
	}
	return len(all), nil
}

// PartiesOf are the members that a parcel's deal concerns, or the one that fell through.
func PartiesOf(lot parcel.State) []string {
	deal := lot.LastDeal()
	return append([]string{lot.Seller, deal.Buyer}, parcel.Others(deal.Agreement)...)
}
