package saw

import "seamshare.example/services/domain/measure/plane"

// Result is what comes of a plan.
type Result struct {
	Study, Plan string

	MassUg  int64 // as weighed
	ModelUg int64 // as drawn, by the stated densities
	ErrorBp int64 // (model − weighed) / weighed

	// Trunk is what happens for certain; what hangs on looks is in its Looks.
	Trunk Branch

	// Infeasible is whether something in Findings of some branch breaks a rule.
	Infeasible bool
	HourMinor  int64 // what an hour at the bench costs, by the plan's settings
	Money      Money
	Totals     Totals // with the likeliest outcome of each look, the first where two are as likely
}

// Branch is what happens between two looks. InUg is the sum of Losses, of what Ends keep and of the parts that Looks
// go on with.
type Branch struct {
	// Path is empty for the trunk, "1C: dips" in an outcome, "1C: dips / 1D: holds" below that.
	Path     string
	Name     string // of the outcome
	ChanceBp int64  // of the outcome, given its look; 10 000 for the trunk
	InUg     int64
	Minutes  int64 // of its steps and its stones

	Parts    []Part // all there ever were in the branch, as they came
	Losses   []Loss
	Ends     []Ended
	Looks    []Looked
	Findings []Finding
	Money    Money // of it and all below, without the hours spent above
}

// Part is a part as the model has it.
type Part struct {
	Name string
	From string // the part it was cut from; empty: the piece, or the part that was looked at
	Step string // path of the step that made it, "steps[2]"; empty: the same
	// Face is its outline as seen from the face, Section the same along the trace, in nanometres (package comment).
	Face     plane.Ring
	Section  plane.Ring
	Layers   []Layered
	AreaUm2  int64 // as seen from the face
	MassUg   int64
	Unplaced bool // came out beyond the names its cut gave
}

// Layered is what of a section feature or layer lies in a part.
type Layered struct {
	Name  string
	Kind  Kind
	Rings []plane.Ring // in the section
}

// Reason is why mass is lost.
type Reason string

// The reasons.
const (
	Kerf        Reason = "kerf"
	GroundOff   Reason = "ground off"
	TrimmedAway Reason = "trimmed away"
	ThrownAway  Reason = "waste" // parts whose end is waste
	NotCut      Reason = "planned stone doesn't fit"
)

// Loss is mass that a step or an end takes away.
type Loss struct {
	Reason  Reason
	What    Kind   // of what was ground off, where the plan says
	Part    string // what it is lost from
	Path    string // of the step or end
	MassUg  int64
	AreaUm2 int64 // of a kerf: its volume over its width
}

// Ended is the end of a part.
type Ended struct {
	Part   string
	Kind   EndKind
	Path   string // "ends[1]"
	MassUg int64  // of the part; of Stones what is left of it as stones is in Stones, the rest in Losses
	KeptUg int64  // what isn't lost
	// Minor is what it brings, sold as it is; NetMinor that less levy and selling cost.
	Minor, NetMinor int64
	Market          string
	Stones          []Planned
}

// Planned is a planned stone as evaluated.
type Planned struct {
	Name       string
	Path       string
	Fits       bool
	Outline    plane.Ring // in the face view, in nanometres: never less than the true outline
	Section    plane.Ring // its side view in the section, in nanometres: never less than the true one
	MassUg     int64      // 0 where it doesn't fit
	AreaUm2    int64      // of its outline
	ColourUm   int64      // thickness of its bar, where thinnest
	BackingUm  int64      // below its bar, where thinnest
	ChanceBp   int64      // of coming out, given that it fits
	PriceMinor int64      // what it brings if it comes out; 0 where it doesn't fit
	LevyMinor  int64
	NetMinor   int64 // price less levy and selling cost
	Market     string
	Priced     bool // whether the list has a price for it
}

// Looked is a look with its outcomes, each a branch.
type Looked struct {
	Part     string
	Path     string
	MassUg   int64 // after the look
	Outcomes []Branch
}

// Finding is a rule that the plan breaks at a place.
type Finding struct {
	Rule    Rule
	Path    string // in the plan: "steps[0]", "ends[1].stones[0]"
	Part    string
	Stone   string // if it is about one
	Against string // the feature or stone it is about, if it is one
	View    View
	At      Point // where in the view it is worst
	ByUm    int64 // by how much; 0 where it isn't a length
	// Supposed: the feature was only supposed.
	Supposed bool
	// Notice: worth knowing, but no rule is broken.
	Notice bool
	Text   string
}

// Rule is what a finding is about.
type Rule string

// The rules.
const (
	InsidePart    Rule = "inside the part"
	InsideZone    Rule = "inside the zone"
	InsideBar     Rule = "in the bar"
	ClearOfCrack  Rule = "clear of cracks"
	ClearOfPotch  Rule = "clear of potch and rock"
	ClearOfStone  Rule = "clear of other stones"
	ClearOfCut    Rule = "clear of the blade's wander"
	EnoughDepth   Rule = "deep enough"
	EnoughBacking Rule = "enough backing"
	BevelFits     Rule = "bevel within half the backing"
	DomeFits      Rule = "dome within the colour"
	WithinReach   Rule = "within the blade's reach"
	EnoughGrip    Rule = "enough to grip"
	MassIsThere   Rule = "stones no heavier than their part"
	AllNamed      Rule = "all parts named"
	AllEnded      Rule = "all parts have an end"
	HasPrice      Rule = "has a price"
)

// Money is value in minor units. Expected, Spread and chances are over looks and stones.
type Money struct {
	Currency string
	Expected int64 // of Net, to the nearest unit
	Spread   int64 // its standard deviation
	Best     int64 // net, if all goes the best way
	Worst    int64 // net, if all goes the worst way
	// NothingPpm is the chance, in millionths, that nothing that brings money comes out.
	NothingPpm   int64
	PerHour      int64 // (Expected + hours' cost) / expected hours; 0 where there are none
	HoursMinor   int64 // expected cost of the bench
	MinutesMilli int64 // expected, in thousandths
	Markets      []MarketMoney
}

// MarketMoney is what one market is expected to pay.
type MarketMoney struct {
	Market   string
	Expected int64 // before costs
	Stones   int   // that fit and are meant for it, over all branches
}

// Totals is the mass balance: MassUg of the piece is the sum of the other masses.
type Totals struct {
	FinishedUg, OffCutUg, ShelfUg, SpecimenUg, SliceUg int64
	LossUg                                             map[Reason]int64
	Stones                                             int
	FaceUm2                                            int64 // of the finished stones
	YieldBp                                            int64 // finished by weighed mass, rounded down
}

// Carats is the finished mass in hundredths of a carat, rounded down.
func (t Totals) Carats() int64 { return t.FinishedUg / 2_000 }
