// Package measure holds the trade's units: masses as whole micrograms, lengths as
// whole micrometres, read from and written as what people type ("34.20 g", "3.04 ct",
// "12.5 ozt", "38 mm"), and the rule by which weighings have to add up.
//
// Reading is exact: the typed decimal times the unit's exact factor, then rounded half
// up to the whole microgram or micrometre once. Grams, milligrams, carats and points,
// millimetres and inches in steps of 0.005 come out without any rounding; ounces and
// grains may not (1 oz avoirdupois is 28 349 523.125 µg).
//
// A bare "oz" is refused. The troy ounce (31.1034768 g) is 192/175 of the avoirdupois
// ounce (28.349523125 g), 9.7 % more, so a wrong guess is worth more than most margins.
//
// A stone's shape (Outline, Stone) gives its volume and mass, layer by layer: closed
// formulas where there are any, otherwise an integral with its error stated. Such a model is
// an estimate beside the scale, and opal on rock never gets a mass from one specific
// gravity. Floats stand inside these formulas only; what goes in and comes out is whole
// micrometres, square and cubic micrometres, micrograms and thousandths of a specific gravity.
package measure
