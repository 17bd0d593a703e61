package racetest

import (
	"testing"

	"github.com/anishathalye/porcupine"
)

// What must not happen is not in the model, and what may happen is.
func TestModel(t *testing.T) {
	at := func(call int64, a Attempt, out Outcome) porcupine.Operation {
		op := porcupine.Operation{ClientId: a.Who, Input: a, Call: call, Output: Result{Outcome: out}, Return: call + 8}
		if out == Unknown {
			op.Return = int64(never)
		}
		return op
	}
	order := func(who int, stones ...int) Attempt { return Attempt{Who: who, Stones: stones} }
	held := at(0, Attempt{Do: Hold, Who: 1, Stones: []int{2}, Number: 1, At: 9}, Done)
	ended := at(10, Attempt{Do: Tick, At: 9}, Done)
	look := func(call int64, buyers ...int) porcupine.Operation {
		return at(call, Attempt{Do: Look, buyers: [GroupSize]int(append(buyers, make([]int, GroupSize-len(buyers))...))}, Done)
	}
	placed := func(op porcupine.Operation, position uint64) porcupine.Operation {
		op.Output = Result{Done, position}
		return op
	}
	for name, c := range map[string]struct {
		may bool
		ops []porcupine.Operation
	}{
		"a stone sold twice":                {false, []porcupine.Operation{at(0, order(1, 2, 3), Done), at(5, order(2, 3, 4), Done)}},
		"half a pair":                       {false, []porcupine.Operation{at(0, order(1, 0), Done)}},
		"a held stone sold":                 {false, []porcupine.Operation{held, at(10, order(2, 2), Done)}},
		"a free stone refused":              {false, []porcupine.Operation{at(0, order(1, 2), Refused)}},
		"an ended hold refuses":             {false, []porcupine.Operation{held, ended, at(20, order(2, 2), Refused)}},
		"a confirmed sale is gone":          {false, []porcupine.Operation{at(0, order(1, 0, 1), Done), look(10)}},
		"half of a confirmed sale":          {false, []porcupine.Operation{at(0, order(1, 2, 3), Done), look(10, 0, 0, 2)}},
		"a sale that nobody asked for":      {false, []porcupine.Operation{look(0, 0, 0, 2)}},
		"an unknown sale undoes another":    {false, []porcupine.Operation{at(0, order(1, 2), Unknown), at(10, order(2, 2), Done), look(20, 0, 0, 2)}},
		"the log has another order":         {false, []porcupine.Operation{placed(at(0, order(1, 2), Done), 5), placed(at(10, order(2, 3), Done), 4)}},
		"the log has an order of its own":   {true, []porcupine.Operation{placed(at(0, order(1, 2), Done), 5), placed(at(5, order(2, 3), Done), 4)}},
		"the holder takes it":               {true, []porcupine.Operation{held, at(10, order(1, 2), Done), look(20, 0, 0, 2)}},
		"another takes it when it is over":  {true, []porcupine.Operation{held, ended, at(20, order(2, 2), Done)}},
		"an unknown sale happened":          {true, []porcupine.Operation{at(0, order(1, 2), Unknown), at(10, order(2, 2), Refused), look(20, 0, 0, 2)}},
		"an unknown sale happens later":     {true, []porcupine.Operation{at(0, order(1, 2), Unknown), look(10)}},
		"an unknown sale comes to nothing":  {true, []porcupine.Operation{at(0, order(1, 2), Unknown), at(10, order(2, 2), Done), look(20, 0, 0, 3)}},
		"of two at once the later one wins": {true, []porcupine.Operation{at(0, order(1, 2), Refused), at(5, order(2, 2), Done)}},
	} {
		if porcupine.CheckOperations(model, c.ops) != c.may {
			t.Errorf("%s: the model says %v", name, !c.may)
		}
	}
}
