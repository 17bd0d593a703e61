package payout_test

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/payout"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"

	payoutv1 "seamshare.example/proto/gen/seamshare/event/payout/v1"
)

var (
	now  = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	desk = payout.Approver{ID: "p2", NotThem: []string{"p1"}}
)

func draft(id string, payees ...payout.Payee) payout.Draft {
	return payout.Draft{ID: id, Currency: "AUD", By: "p1", AsOf: 9, Payees: payees}
}

func TestTable(t *testing.T) {
	if err := payout.Table.Check(); err != nil {
		t.Error(err)
	}
}

func TestPrepare(t *testing.T) {
	t.Run("rule 2 OK: who has nothing payable gets no line", func(t *testing.T) {
		e, err := payout.State{}.Prepare(draft("r1",
			payout.Payee{Member: "a", AsOf: 500, Now: 400, Taken: 100, Held: 50},
			payout.Payee{Member: "b", AsOf: 500, Now: 500, Taken: 600}))
		if err != nil {
			t.Fatal(err)
		}
		run := payout.Evolve(payout.State{}, e)
		if len(run.Lines) != 1 || run.Lines[0].Minor != 250 || run.Total() != 250 {
			t.Errorf("got %+v", run)
		}
		_, err = run.Prepare(draft("r1"))
		ruletest.Refused(t, err, rule.AlreadyThere, "")
	})
	t.Run("rule 1 refused: nobody to pay, or no currency", func(t *testing.T) {
		_, err := payout.State{}.Prepare(draft("r1", payout.Payee{Member: "a", AsOf: 5, Now: 5, Taken: 5}))
		ruletest.Refused(t, err, rule.NothingPayable, "as_of")
	})
}

// TestOneLiveRun: whatever is prepared, approved, rejected, settled and returned, while
// what is earned rises and falls: nobody is paid more than they had earned when a run
// was approved, and no amount is in two live runs (rule 5 of the money page).
func TestOneLiveRun(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var earned, held int64
		var runs []payout.State
		taken := func(but int) (sum int64) {
			for i, r := range runs {
				for _, l := range r.Lines {
					if i != but && (l.Stage == payout.Waiting || l.Stage == payout.Paid) {
						sum += l.Pays()
					}
				}
			}
			return sum
		}
		payee := func(but int) payout.Payee {
			return payout.Payee{Member: "a", AsOf: earned, Now: earned, Taken: taken(but), Held: held}
		}
		do := func(i int, e *payoutv1.Event, err error) {
			if err == nil {
				runs[i] = payout.Evolve(runs[i], e)
			}
		}
		most := int64(0)
		t.Repeat(map[string]func(*rapid.T){
			"earn": func(t *rapid.T) {
				earned += rapid.Int64Range(-300, 1000).Draw(t, "by")
				most = max(most, earned)
			},
			"dispute": func(t *rapid.T) { held = rapid.Int64Range(0, 500).Draw(t, "held") },
			"prepare": func(t *rapid.T) {
				runs = append(runs, payout.State{})
				e, err := payout.State{}.Prepare(draft(fmt.Sprintf("r%d", len(runs)), payee(-1)))
				do(len(runs)-1, e, err)
			},
			"decide": func(t *rapid.T) {
				if len(runs) == 0 {
					return
				}
				i := rapid.IntRange(0, len(runs)-1).Draw(t, "run")
				if rapid.Bool().Draw(t, "reject") {
					e, err := runs[i].Reject(desk, "no")
					do(i, e, err)
					return
				}
				e, err := runs[i].Approve(desk, []payout.Payee{payee(i)}, now)
				do(i, e, err)
				if err == nil && taken(-1) > earned {
					t.Fatalf("%d is taken of %d earned right after an approval", taken(-1), earned)
				}
			},
			"bank": func(t *rapid.T) {
				if len(runs) == 0 {
					return
				}
				i := rapid.IntRange(0, len(runs)-1).Draw(t, "run")
				line := fmt.Sprintf("r%d-1", i+1)
				if rapid.Bool().Draw(t, "settles") {
					e, err := runs[i].Settle(line, "bank 1", "clerk")
					do(i, e, err)
					return
				}
				e, err := runs[i].Return(desk, line, "closed")
				do(i, e, err)
			},
			"": func(t *rapid.T) {
				if taken(-1) > most {
					t.Fatalf("%d is taken, and never more than %d was earned", taken(-1), most)
				}
			},
		})
	})
}
