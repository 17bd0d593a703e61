// Package saw computes with cut plans: a [Study] says what a piece of rough looks like, a [Plan]
// how it is cut, [Prices] what stones bring, and [Evaluate] what comes of it: every part with its
// outline and mass, what is lost and why, which planned stones fit, what they bring and how
// surely. It is pure: no clock, no files, no randomness.
//
// # Frame
//
// A piece has one frame of its own, and its parts never leave it. Lengths are whole micrometres,
// masses whole micrograms, specific gravities thousandths, chances and rates basis points, money
// whole minor units; inside, coordinates are whole nanometres (package plane).
//
//   - [Face] is seen along the z axis from above: x to the right, y up, z towards the viewer. The
//     highest point of the piece is z = 0 and the back lies below it.
//   - [Back] is the face turned over the y axis: its x is minus the face's x, y is the same.
//   - [Section] is seen along a stated trace line in the face view: s along the trace from its first
//     point, z as above. Points of a section are (s, z).
//
// # Model
//
// A part is the solid {(x, y) in F} ∩ {(s, z) in S}: F is a ring in the face view, S a ring in the
// section view, s the place of (x, y) along the trace. A cut across the face parts F, a cut in the
// section at any angle parts S, both exactly on polygons, so a part stays such a solid for
// ever. What the model can't hold is rough whose section changes along the third direction: draw the
// section where it matters. The volume is ∫ width of F at s · height of S at s ds, piecewise
// quadratic, thus exact by Simpson's rule between the vertices; widths and heights are whole
// nanometres.
//
// The model's mass differs from the weighed one, by drawing and by density. The weighed mass is what
// counts: a part has of it what it has of the whole by the model, rounded down, and kerf and losses have what a step
// leaves over, so each step balances to the microgram, and [Result.ErrorBp] shows how far
// model and scale are apart. A planned stone weighs what its own sizes say. All of it is an estimate.
//
// More kerf never gives more: no stone that didn't fit, and none that is larger or heavier. But one that lies
// below a cut in the section lies lower for it, with less of its bar and more of what is below: that may be denser, and
// backing that it lacked.
//
// # Chance
//
// A look is a chance node. What it finds out is used on the part that was looked at, so looks at
// different parts are independent, and expectation and variance are exact sums.
package saw
