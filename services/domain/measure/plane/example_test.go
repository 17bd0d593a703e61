package plane_test

import (
	"fmt"

	"seamshare.example/services/domain/measure/plane"
)

func ExampleCut() {
	// A slab 40 × 25 mm, sawn across at 15 mm with a kerf of 0.6 mm.
	slab, err := plane.CheckRing([]plane.Point{{}, plane.Micrometres(40_000, 0), plane.Micrometres(40_000, 25_000), plane.Micrometres(0, 25_000)})
	if err != nil {
		fmt.Println(err)
		return
	}
	across := plane.Line{A: plane.Micrometres(15_000, 0), B: plane.Micrometres(15_000, 25_000)}
	left, right := plane.Cut(slab, across, 600*plane.Micrometre)
	fmt.Println(left[0].SquareMillimetres(), right[0].SquareMillimetres(), plane.Chord(slab, across)/plane.Millimetre)
	// Output: 367.5 617.5 25
}
