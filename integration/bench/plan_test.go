package main

import (
	"bytes"
	"strings"
	"testing"

	"seamshare.example/services/domain/saw/search/searchtest"
)

// What -plans prints, of one piece only. That both ways to cut agree, and the plan that is measured is feasible, the bench
// checks itself.
func TestPlans(t *testing.T) {
	r := &planReport{}
	var err error
	if r.Evaluate, err = evaluatePlans(t.Context(), true); err != nil {
		t.Fatal(err)
	}
	if r.Evaluate.Cuts != 20 || r.Evaluate.Stones != 40 || r.Evaluate.Corners != 200 {
		t.Errorf("measured a plan of %+v", r.Evaluate)
	}
	if r.Guillotine, err = cutRectangles(t.Context(), true, &progress{}); err != nil {
		t.Fatal(err)
	}
	if r.Search, err = searchPlans(t.Context(), searchtest.Pieces()[:1], []float64{10}, &progress{}); err != nil {
		t.Fatal(err)
	}
	if p := r.Search.Pieces[0]; p.Best[0] <= 0 || p.Best[0] > p.Bound {
		t.Errorf("found %d of %d", p.Best[0], p.Bound)
	}
	var out bytes.Buffer
	if err := write(&out, false, r); err != nil || !strings.Contains(out.String(), "median gap") {
		t.Errorf("printed %q, %v", out.String(), err)
	}
	out.Reset()
	if err := write(&out, true, r); err != nil || !strings.Contains(out.String(), `"median_gap"`) {
		t.Errorf("printed %q, %v", out.String(), err)
	}
}
