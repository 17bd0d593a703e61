// Package plane is exact geometry in one plane of a piece of rough: outlines, what a
// saw leaves of them, and whether a stone lies inside what is left.
//
// Points are whole nanometres. People give whole micrometres; what a cut makes is
// rounded to the nanometre, half away from zero in each coordinate, so that mirrors and
// quarter turns about the origin give exactly the mirrored and turned result. A
// nanometre is a thousandth of what anybody states and a hundred-thousandth of a kerf.
//
// Coordinates are at most half a metre from the origin. Differences are then at most
// 10⁹, and a cross product of two of them at most 2·10¹⁸, which an int64 holds with
// room for a ring that was turned (coordinates up to 0.71 m). Where more is needed the
// sums have 128 bits. So every answer to "is it inside", "on which side", "is it nearer
// than" is exact for the rings given; only areas in mm², lengths and distances that are
// answered as float64 are rounded.
//
// A Ring that CheckRing has passed is simple: it doesn't touch itself. What Cut makes of
// one is simple but for features of a nanometre, which rounding may close to a touch; all
// functions here take such rings too. Nothing here changes a ring that it was given.
package plane
