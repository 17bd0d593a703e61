package draw_test

import (
	"fmt"
	"strings"

	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/draw"
	"seamshare.example/services/domain/saw/example"
)

func ExamplePlan() {
	study, plan := example.P1Piece1(), example.P1Piece1Plan()
	result, err := saw.Evaluate(study, plan, example.Prices())
	if err != nil {
		fmt.Println(err)
		return
	}
	var picture strings.Builder
	if err := draw.Plan(&picture, study, plan, result, draw.Options{ID: "p1-1"}); err != nil {
		fmt.Println(err)
		return
	}
	for _, line := range strings.Split(picture.String(), "\n")[3:5] {
		fmt.Println(line)
	}
	// Output:
	// <title id="p1-1-title">P1-1: a pair&#39;s left and a freeform</title>
	// <desc id="p1-1-desc">A cut plan for P1-1, from the face and in section: 4 steps, 2 planned stones, 0 looks to decide after. All sizes, masses and parts of a plan are estimates.</desc>
}
