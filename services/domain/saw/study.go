package saw

import "seamshare.example/services/domain/measure"

// Bounds of a study. They keep products of lengths within int64 and evaluations short.
const (
	MaxLengthUm  = 500_000           // half a metre: the farthest a coordinate is from 0, and the largest length
	MaxMassUg    = 1_000_000_000_000 // a tonne
	MinSGMilli   = int64(measure.MinSG)
	MaxSGMilli   = int64(measure.MaxSG)
	MaxVertices  = 2_000 // of one ring or line
	MaxFeatures  = 200
	MaxPoints    = 5_000 // of all features
	MaxLayers    = 20
	MaxUnderlays = 20
)

// View is a direction to look from; the package comment has the frames.
type View string

// The views.
const (
	Face    View = "face"
	Back    View = "back"
	Section View = "section"
)

// Point is a place in a view, in whole micrometres: (x, y), or (s, z) in a section.
type Point struct{ X, Y int64 }

// Line is the straight line through two points, from A to B. Its left is on the left hand of one who
// goes from A to B in the view.
type Line struct{ A, B Point }

// Study is what was seen of a piece, measured and drawn.
type Study struct {
	Name    string
	MassUg  int64 // as weighed, dry
	SGMilli int64 // specific gravity of what no layer or section feature covers, in thousandths: 2950 for rock of 2.95

	// Outline is the piece as seen from its face: a simple ring, either way round, not closed by a
	// repeated first point.
	Outline []Point
	// ThicknessUm is the thickness where no section is drawn: the section is then a rectangle.
	ThicknessUm int64
	// Layers lie in that rectangle from the face downwards. They need a thickness and no drawn section.
	Layers []Layer
	// Profile is the section as drawn, a simple ring of (s, z) whose highest point has z = 0; empty: a rectangle of
	// the thickness.
	Profile []Point
	// Trace is the line in the face view along which the section is taken: s is 0 at its A and grows towards its B.
	// Zero: the x axis.
	Trace Line

	Features  []Feature
	Underlays []Underlay
}

// Layer is one even layer of a piece without a drawn section.
type Layer struct {
	Name        string // what stones claim it by
	Kind        Kind   // Colour, Potch, Rock or Matrix
	ThicknessUm int64
	SGMilli     int64  // its specific gravity in thousandths
	Class       string // expected, of colour
	Grade       string // expected, in words
	Supposed    bool   // not seen, only supposed
}

// Kind is what a feature is.
type Kind string

// The kinds of features.
const (
	Colour Kind = "colour" // a bar in the section, a zone in the face or back
	Potch  Kind = "potch"
	Rock   Kind = "host rock"
	Crack  Kind = "crack"
	Matrix Kind = "matrix"
	Seam   Kind = "seam" // a colour bar drawn as its middle line and a thickness
)

// Feature is something seen in or on a piece, drawn in one view.
//
// In the section a closed feature is a layer with its own specific gravity; where two overlap the later
// one counts. In face and back it lies in the depth that is said and weighs nothing of its own.
type Feature struct {
	Name     string // unique in the study
	Kind     Kind
	View     View
	Supposed bool // not seen, only supposed: it is heeded all the same, and findings say so

	// Points are a simple ring where Closed, else a line. Colour, potch and matrix are closed, cracks and
	// seams are lines, host rock may be either.
	Points []Point
	Closed bool

	ThicknessUm int64  // of a seam, which is drawn in the section
	DepthUm     int64  // of a feature of face or back: how deep below the lowest place of that side over its stretch of the section it reaches; 0: all through
	SGMilli     int64  // of a closed feature or seam in the section; 0: as the study's
	Class       string // expected, of colour
	Grade       string // expected, in words
}

// Underlay is a photo that lies under a view. Two of its pixels are a known distance apart, which gives
// the scale; where the first one lies and which way the second one is give place and turn.
type Underlay struct {
	View       View
	SHA256     [32]byte // of the photo's bytes
	PixelA     Pixel
	PixelB     Pixel
	DistanceUm int64 // between them
	At         Point // where PixelA lies in the view
	TurnMdeg   int64 // the way from A to B, against the clock from the view's first axis, in thousandths of a degree
}

// Pixel is a place in a photo, in whole pixels from its upper left corner: X to the right, Y down.
type Pixel struct{ X, Y int64 }
