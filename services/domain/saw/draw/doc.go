// Package draw makes technical drawings of studies and cut plans: [Study], [Plan], [Step], [Outcomes] and [Seams] write
// one picture each as SVG, [Sheet] a page to print and take to the saw. It is pure: it reads the geometry that
// package saw computed, and writes.
//
// Everything is black on white, so that any printer and any eye can tell it apart: what a region is shows by its
// hatching, how much a line weighs by its pen, and what is only supposed is dashed. Scales are those of ISO 5455, so
// a picture printed at 100 % can be measured with a ruler. A kerf is drawn as wide as it is.
//
// On the paper lengths are whole micrometres, x to the right and y down, and the same input gives the same bytes. A picture
// has no scripts, no style but that a narrow screen shrinks it, and no references but to the photos that the caller
// resolves; all text is escaped, with control and direction characters replaced.
package draw
