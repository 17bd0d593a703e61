package draw_test

import (
	"io"
	"testing"

	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/draw"
)

func BenchmarkPlan(b *testing.B) {
	study, plan, prices := everything()
	result, err := saw.Evaluate(study, plan, prices)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if err := draw.Plan(io.Discard, study, plan, result, draw.Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSheet(b *testing.B) {
	study, plan, prices := everything()
	result, err := saw.Evaluate(study, plan, prices)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if err := draw.Sheet(io.Discard, study, plan, result, draw.Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
