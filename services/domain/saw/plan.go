package saw

// Bounds of a plan.
const (
	MaxSteps    = 200 // with those of all outcomes
	MaxStones   = 200 // with those of all outcomes
	MaxOutcomes = 10  // of one look
	MaxNested   = 5   // looks within outcomes of looks
	MaxBlades   = 20
	MaxMinutes  = 100_000
	MaxMinor    = 1_000_000_000_000_000
)

// Whole is the name of the part that the piece is at first, if the plan gives it no other.
const Whole = "piece"

// Plan is a way to cut a piece. Every part that its steps leave has one end.
type Plan struct {
	Name     string
	Part     string // what the whole piece is called; empty: Whole
	Blades   []Blade
	Settings Settings
	Steps    []Step
	Ends     []End
}

// Blade is a saw blade as measured.
type Blade struct {
	Name     string
	KerfUm   int64 // the width of what it takes away
	ReachUm  int64 // the deepest it cuts
	WanderUm int64 // how far it may stray to either side, beyond the kerf
}

// Settings are the cutter's own rules and costs. Zero is a setting too: no margin, no cost.
type Settings struct {
	CrackUm   int64 // at least between a stone and a crack
	PotchUm   int64 // at least between a stone and potch or host rock in its face
	BackingUm int64 // at least below the colour of a stone, square to its seam
	BevelUm   int64 // round the back of every stone
	BetweenUm int64 // at least between two stones of one part
	GripUm    int64 // at least held on one side of a saw cut, square to it

	Currency     string // ISO 4217, the same as the prices'
	HourMinor    int64  // what an hour at the bench costs
	LevyBp       int64  // of each sale
	SellingMinor int64  // of each sale
}

// Step is one piece of work on one current part. The part is used up by it; what comes out are
// new parts (trim, saw, split) or the same part less something (grind, look).
type Step struct {
	Part    string
	Minutes int64
	Note    string
	Do      Work
}

// Work is what a step does: [Saw], [Split], [Trim], [Grind] or [Look].
type Work interface{ work() }

// Saw is a straight cut with a blade, right through the part. The kerf lies half on either side of the
// line. What lies left and right of it is named, along the line where a concave part falls into more
// than two: more parts than names get the last name with /2, /3 …, fewer are an error.
type Saw struct {
	Blade       string
	View        View
	Line        Line
	Left, Right []string
}

// Split parts like Saw, but takes nothing away.
type Split struct {
	View        View
	Line        Line
	Left, Right []string
}

// Trim leaves of a part what lies within rings of the face or back view; the rest is lost as trimmed away. Rings
// of one trim don't overlap.
type Trim struct {
	View View
	Keep []Kept
}

// Kept is a part that a trim leaves: a preform, or an off-cut.
type Kept struct {
	Part string
	// Ring is what is left, or empty where Stone names a planned stone of the part's end.
	Ring []Point
	// Stone is trimmed to its outline with AllowUm more all round, measured square to it.
	Stone   string
	AllowUm int64
}

// Grind takes a thickness off a part, level, from its highest or lowest point.
type Grind struct {
	View        View // Face: from above; Back: from below
	ThicknessUm int64
	What        Kind // Colour, Potch, Rock or Matrix: what is ground away, for the loss
}

// Look costs work, and perhaps thickness, and shows which of several things is so. Each outcome goes on with
// steps and ends of its own for the part; its chances add to 10 000.
type Look struct {
	Kind     LookKind
	View     View  // Face or Back, where OffUm is taken off
	OffUm    int64 // ground off to see; 0: nothing
	Outcomes []Outcome
}

func (Saw) work()   {}
func (Split) work() {}
func (Trim) work()  {}
func (Grind) work() {}
func (Look) work()  {}

// LookKind is how one looks.
type LookKind string

// The kinds of looks.
const (
	Facing   LookKind = "face"
	Window   LookKind = "window"
	TrialCut LookKind = "trial cut"
)

// Outcome is one thing that a look may show.
type Outcome struct {
	Name     string
	ChanceBp int64
	// Features are what it would show, beside those of the study. They are drawn in face or back, or cracks in
	// the section, and weigh nothing.
	Features []Feature
	Steps    []Step
	Ends     []End
}

// End is what becomes of a part.
type End struct {
	Part   string
	Kind   EndKind
	Stones []Stone // of Stones, at least one

	// Class and Market find a price for a part that is sold as it is; both empty: it brings nothing.
	Class  string
	Market string
}

// EndKind is what becomes of a part.
type EndKind string

// The kinds of ends.
const (
	Stones   EndKind = "stones"
	OffCut   EndKind = "off-cut"  // kept
	Shelf    EndKind = "shelf"    // back to the shelf, uncut
	Specimen EndKind = "specimen" // sold in its rock
	Slice    EndKind = "slice"    // for composites
	Waste    EndKind = "waste"
)

// Shape is the outline of a stone. Round has its length as width.
type Shape string

// The shapes.
const (
	Oval      Shape = "oval"
	Round     Shape = "round"
	Pear      Shape = "pear"
	Marquise  Shape = "marquise"
	Cushion   Shape = "cushion"
	Rectangle Shape = "rectangle"
	Triangle  Shape = "triangle"
	Freeform  Shape = "freeform"
)

// Stone is a planned stone and its place in its part.
type Stone struct {
	Name  string // unique among the stones that can come out together
	Shape Shape
	// Ring is a freeform's outline in its own frame, the length along x. It is scaled to length and width.
	Ring     []Point
	LengthUm int64
	WidthUm  int64
	DepthUm  int64 // all of it: dome and wall
	DomeUm   int64 // 0: flat
	// SGMilli is for a stone of one material; 0: by the layers it lies in.
	SGMilli int64

	View     View  // Face or Back: the side that its face looks to
	At       Point // the middle of its box, in that view
	TurnMdeg int64 // its length against the view's x axis, against the clock, in thousandths of a degree

	// Zone is the colour feature of face or back that it lies in; empty: anywhere in its part.
	Zone string
	// Bar is the layer, or the colour or seam of the section, that its face lies in; its backing is what it has below
	// it. Empty: the stone is one material through and needs no backing.
	Bar string
	// TiltMdeg is how its base slopes along the trace, upwards where s grows, in thousandths of a degree: to be square
	// to a dipping bar. Where Bar is a seam, the seam's own slope comes on top.
	TiltMdeg int64
	// Surface says what its face may show.
	Surface Surface

	Class    string
	Market   string
	ChanceBp int64 // that it comes out, given that it fits; the cutter's estimate
	Minutes  int64 // to finish it
}

// WallUm is the height of its wall.
func (s Stone) WallUm() int64 { return s.DepthUm - s.DomeUm }

// Surface is what a stone's face may show besides colour. All are sold; the class says for what.
type Surface string

// The surfaces.
const (
	Clean       Surface = ""
	RockInFace  Surface = "host rock in the face"
	PotchInFace Surface = "potch in the face"
	Hollow      Surface = "hollow" // left wavy or dipping below its rim
)
