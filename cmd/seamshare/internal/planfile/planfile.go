// Package planfile reads and writes the file in which a cutter keeps a piece as drawn, what the markets pay, and plans of
// how to cut it. Help documents the form. Reading is strict, and each error says where it stands
// ("plans[0].steps[2].saw.line[1]"); whether what stands there makes sense is the domain's rule (package saw).
package planfile

import (
	"fmt"
	"slices"

	"seamshare.example/cmd/seamshare/internal/strictjson"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/search"
)

// MaxBytes is how long a file may be; real ones have less than 100 KiB.
const MaxBytes = 4 << 20

// File is what a file says. Each plan carries the file's blades and rules.
type File struct {
	Study    saw.Study // without an outline: the file has no piece
	Prices   saw.Prices
	Blades   []saw.Blade
	Settings saw.Settings
	Plans    []saw.Plan

	// What a search for plans may make of the piece, and what each of its cuts takes.
	Wants      []search.Want
	SawMinutes int64
}

// Help is the form, for people.
const Help = `A plan file has a piece as drawn, what the markets pay, and plans of how to cut
it, side by side. It is JSON. Lengths are millimetres with at most three
decimals, points are [x, y], angles are degrees against the clock.

  {
    "piece": {
      "name": "piece 4", "mass": "16.20 g", "sg": 2.95,
      "outline": [[0, 0], [29, 0], [29, 18], [0, 18]],
      "thickness": 11,
      "layers": [{"name": "bar", "kind": "colour", "thickness": 1.1,
                  "sg": 2.1, "class": "top"}],
      "features": [{"name": "crack", "kind": "crack", "view": "face",
                    "line": [[14, 0], [15, 18]]}]
    },
    "blades": [{"name": "thin", "kerf": 0.6, "reach": 25, "wander": 0.1}],
    "rules": {
      "crack": 0.5, "backing": 1, "bevel": 0.4, "between": 1, "grip": 4,
      "hour": "45.00 AUD", "levy": "6 %", "selling": "5.00 AUD"
    },
    "prices": [
      {"market": "rings", "pays": [{"class": "top", "per": "face mm2",
        "from": 6, "to": 16, "price": "4.50 AUD"}]}
    ],
    "plans": [
      {"name": "one each side of the crack",
       "steps": [
         {"part": "piece", "minutes": 20, "saw": {
           "blade": "thin", "view": "face", "line": [[14, -1], [15, 19]],
           "left": ["A"], "right": ["B"]}}
       ],
       "ends": [
         {"part": "A", "as": "stones", "stones": [
           {"name": "first", "shape": "oval", "length": 10, "width": 7,
            "depth": 2.8, "at": [7, 9], "turn": 90, "bar": "bar",
            "class": "top", "market": "rings", "chance": "90 %",
            "minutes": 60}]},
         {"part": "B", "as": "shelf"}
       ]}
    ]
  }

piece   "mass" is as weighed, dry. "sg" is the specific gravity of what no layer
        covers. FACE is seen from above: x to the right, y up. BACK is the face
        turned over: its x is minus the face's. SECTION is seen along a trace in
        the face: (s, z), z is 0 at the highest point and falls below it.
        Either "thickness", with "layers" from the face downwards, or
        "section": {"along": [[x, y], [x, y]], "outline": [[s, z], …]}.
features
        "kind" is colour, potch, host rock, crack, matrix or seam; "view" is
        face, back or section; drawn as an "area" or as a "line". "supposed":
        true where it isn't seen. Also "thickness" of a seam, "depth" (how far
        it reaches from face or back; all through without it), "sg", "class",
        "grade".
photos  lie under a view: {"view": "face", "sha256": "…", "pixels": [[x, y],
        [x, y]], "apart": 20, "at": [x, y], "turn": 0}: two pixels, how far
        apart they are, where the first lies and which way the second is.
rules   your own: least distances to a "crack", to "potch" and rock, "between"
        two stones; least "backing"; the "bevel"; the "grip" a saw needs; what
        an "hour" costs; the "levy" and cost of "selling" of each sale.
prices  by market, the first that matches counts: "per" face mm2, carat, stone
        or gram; "from" (and above) "to" (below) bound the length.
steps   each on one part; the whole piece is "piece" (or the plan's "part"):
        saw    {"blade", "view", "line", "left": [names], "right": [names]}
        split  the same without a blade; nothing is lost
        trim   {"view", "keep": [{"part", "ring"} or
               {"part", "stone", "allow"}]}
        grind  {"from": "face" or "back", "thickness", "of": "host rock", …}
        look   {"how": "face", "window" or "trial cut", "from", "off",
               "outcomes": [{"name", "chance", "features", "steps", "ends"}]}
ends    of each part "as" stones, off-cut, shelf, specimen, slice or waste;
        what is sold as it is has a "class" and a "market".
stones  "shape" is oval, round, pear, marquise, cushion, rectangle, triangle or
        freeform (with a "ring"). Also "dome" (flat without it), "view", "zone"
        (the colour it lies in), "bar" (the layer its face lies in), "tilt",
        "sg", "surface": host rock in the face, potch in the face, or hollow.
wants   for --suggest: what may be made of the piece, each like a stone without
        name and place: its length and width are the proportions, "from" and
        "to" bound the length; or "sizes": [[12, 9], [10, 8]] as you calibrate.
        "together": 2 or 3 is a matched set, each by "step" shorter than the one
        before. "saw_minutes" is what a cut takes. With --mirror the first
        want of each file that comes "together": 2 is the pair, one stone from
        each half.

What comes of a plan is an estimate, no valuation.
`

var form = strictjson.Form{Name: "a plan file", Help: "seamshare help plan-files", MaxBytes: MaxBytes, MaxDepth: 40}

// Problems is everything that is wrong at once.
type Problems = strictjson.Problems

// Parse reads a file. The error is Problems.
func Parse(data []byte) (File, error) {
	root, err := form.Parse(data)
	if err != nil {
		return File{}, err
	}
	r := &reader{Reader: strictjson.Reader{Form: form}}
	f := r.file(root)
	if len(r.Problems) > 0 {
		return File{}, r.Problems
	}
	return f, nil
}

// HasPiece is whether the file has a piece.
func (f File) HasPiece() bool { return len(f.Study.Outline) > 0 }

// Plan is the plan of that name; an empty name is the only plan.
func (f File) Plan(name string) (saw.Plan, bool) {
	if name == "" && len(f.Plans) == 1 {
		return f.Plans[0], true
	}
	i := slices.IndexFunc(f.Plans, func(p saw.Plan) bool { return p.Name == name })
	if i < 0 {
		return saw.Plan{}, false
	}
	return f.Plans[i], true
}

// Task is what a search for plans is given: the first blade cuts.
func (f File) Task() search.Task {
	t := search.Task{Study: f.Study, Prices: f.Prices, Settings: f.Settings, Wants: f.Wants, SawMinutes: f.SawMinutes}
	if len(f.Blades) > 0 {
		t.Blade = f.Blades[0]
	}
	return t
}

// ParsePoint reads a point as the file has it, without brackets: "44, -0.5".
func ParsePoint(text string) (saw.Point, error) {
	v, err := form.Parse([]byte("[" + text + "]"))
	r := &reader{Reader: strictjson.Reader{Form: form}}
	if err == nil {
		if p := r.point("", v); len(r.Problems) == 0 {
			return p, nil
		}
	}
	return saw.Point{}, fmt.Errorf("%q is not a point; write two numbers of mm with a comma, such as \"44, -0.5\"", text)
}

// Pair is the pair that is wanted from two halves of a piece, and each half's task without it: of each file the first
// want that comes as two.
func Pair(a, b File, over saw.Point) (pair search.Pair, first, second search.Task, ok bool) {
	two := func(w search.Want) bool { return w.Together == 2 }
	i, j := slices.IndexFunc(a.Wants, two), slices.IndexFunc(b.Wants, two)
	if i < 0 || j < 0 {
		return pair, first, second, false
	}
	pair = search.Pair{Want: a.Wants[i].Pattern, Other: b.Wants[j].Pattern, Sizes: a.Wants[i].Sizes, XUm: over.X, YUm: over.Y}
	first, second = a.Task(), b.Task()
	first.Wants, second.Wants = beside(a.Wants, i), beside(b.Wants, j)
	return pair, first, second, true
}

// beside are the other wants; where there are none, what else a half gives is more of the same, one by one.
func beside(wants []search.Want, i int) []search.Want {
	if len(wants) == 1 {
		alone := wants[0]
		alone.Together, alone.StepUm = 0, 0
		return []search.Want{alone}
	}
	return slices.Delete(slices.Clone(wants), i, i+1)
}
