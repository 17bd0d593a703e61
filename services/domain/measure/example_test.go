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
