package measure_test

import (
	"fmt"

	"seamshare.example/services/domain/measure"
)

func ExampleParseMass() {
	stone, err := measure.ParseMass("3.04 ct")
	fmt.Println(stone.GramsAndCarats(), err)
	_, err = measure.ParseMass("12.5 oz")
	fmt.Println(err)
	// Output:
	// 0.608 g (3.04 ct) <nil>
	// couldn't read "12.5 oz": a bare ounce could be troy (31.1034768 g) or avoirdupois (28.349523125 g), which are 9.7 % apart; write oz t or oz av
}

func ExampleStone_Model() {
	outline, err := measure.NewOutline(measure.Oval, 12_000, 10_000)
	if err != nil {
		fmt.Println(err)
		return
	}
	stone := measure.Stone{Outline: outline, Form: measure.FlatTop, Wall: 4_000, Bevel: measure.Bevel{In: 500, Up: 500}}
	_, err = stone.Model(measure.Boulder, measure.Layer{SG: 2_700})
	fmt.Println(err)
	model, err := stone.Model(measure.Boulder, measure.Layer{Thickness: 1_000, SG: 2_100}, measure.Layer{SG: 3_200})
	fmt.Printf("%.1f mm³, %.1f mm² of face, %s, %v\n", model.Volume.CubicMillimetres(), model.Face.SquareMillimetres(), model.Mass.GramsAndCarats(), err)
	// Output:
	// kind is boulder: the mass of opal on or in rock can't be told from one specific gravity (rock varies from about 2.7 to 4); weigh it, or give the bar and the backing as two layers, each with its thickness and specific gravity
	// 372.8 mm³, 94.2 mm² of face, 1.089266 g (5.44 ct), <nil>
}
