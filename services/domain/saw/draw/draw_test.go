package draw_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/draw"
	"seamshare.example/services/domain/saw/example"
	"seamshare.example/services/domain/saw/seam"
)

// element is one element of a picture, as a reader of XML sees it.
type element struct {
	XMLName xml.Name
	Attrs   []xml.Attr `xml:",any,attr"`
	Kids    []element  `xml:",any"`
	Text    string     `xml:",chardata"`
}

func (e element) attr(name string) string {
	for _, a := range e.Attrs {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

func (e element) walk(f func(element)) {
	f(e)
	for _, k := range e.Kids {
		k.walk(f)
	}
}

func (e element) number(t rapid.TB, name string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(strings.TrimSuffix(e.attr(name), "mm"), 64)
	if err != nil {
		t.Fatalf("%s of %s: %v", name, e.XMLName.Local, err)
	}
	return v
}

func parsed(t rapid.TB, svg []byte) element {
	t.Helper()
	var root element
	if err := xml.Unmarshal(svg, &root); err != nil {
		t.Fatalf("not well-formed: %v", err)
	}
	return root
}

// inline are the pictures within a page.
var inline = regexp.MustCompile(`(?s)<svg.*?</svg>`)

func svgs(t rapid.TB, name string, body []byte) [][]byte {
	t.Helper()
	if strings.HasSuffix(name, ".svg") {
		return [][]byte{body}
	}
	all := inline.FindAll(body, -1)
	if len(all) < 2 {
		t.Fatalf("%s has %d drawings", name, len(all))
	}
	return all
}

// points of a path, one list for each of its lines.
func points(t rapid.TB, d string) (out [][][2]float64) {
	t.Helper()
	for _, line := range strings.Split(d, "M")[1:] {
		f := strings.Fields(strings.NewReplacer("L", " ", "Z", " ").Replace(line))
		var one [][2]float64
		for i := 0; i+1 < len(f); i += 2 {
			x, err1 := strconv.ParseFloat(f[i], 64)
			y, err2 := strconv.ParseFloat(f[i+1], 64)
			if err1 != nil || err2 != nil {
				t.Fatalf("path %q", d)
			}
			one = append(one, [2]float64{x, y})
		}
		out = append(out, one)
	}
	return out
}

// A picture says what it is, holds all that it draws, draws to the scale of its own width, and neither runs nor loads
// anything.
func sound(t rapid.TB, svg []byte) {
	t.Helper()
	root := parsed(t, svg)
	ids := map[string]bool{}
	var refs []string
	root.walk(func(e element) {
		if id := e.attr("id"); id != "" {
			if ids[id] {
				t.Errorf("id %q stands twice", id)
			}
			ids[id] = true
		}
		for _, a := range e.Attrs {
			if strings.HasPrefix(a.Name.Local, "on") || a.Name.Local == "style" {
				t.Errorf("attribute %s=%q", a.Name.Local, a.Value)
			}
			if strings.HasPrefix(a.Value, "url(#") {
				refs = append(refs, strings.TrimSuffix(a.Value[len("url(#"):], ")"))
			}
			if a.Name.Local == "href" && !strings.HasPrefix(a.Value, "data:image/png;base64,") {
				t.Errorf("it refers to %q", a.Value)
			}
		}
		if e.XMLName.Local == "clipPath" {
			// A region with holes, such as what is trimmed away round a preform, isn't hatched in them.
			for _, k := range e.Kids {
				if strings.Count(k.attr("d"), "M") > 1 && k.attr("clip-rule") != "evenodd" {
					t.Errorf("the holes of %s are filled", e.attr("id"))
				}
			}
		}
		switch e.XMLName.Local {
		case "style":
			if e.Text != "@media screen{svg:root{max-width:100%;height:auto}}" {
				t.Errorf("style %q", e.Text)
			}
		case "svg", "title", "desc", "g", "path", "circle", "text", "rect", "clipPath", "image":
		default:
			t.Errorf("element %s", e.XMLName.Local)
		}
	})
	for _, r := range append(refs, strings.Fields(root.attr("aria-labelledby"))...) {
		if !ids[r] {
			t.Errorf("it refers to %q, which isn't there", r)
		}
	}
	var view [4]float64
	if _, err := fmt.Sscan(root.attr("viewBox"), &view[0], &view[1], &view[2], &view[3]); err != nil {
		t.Fatalf("viewBox: %v", err)
	}
	if w, h := root.number(t, "width"), root.number(t, "height"); w != view[2] || h != view[3] {
		t.Errorf("%v × %v mm for a view box of %v × %v: not to scale", w, h, view[2], view[3])
	}
	holds := func(what string, x, y float64) {
		if x < view[0] || y < view[1] || x > view[0]+view[2] || y > view[1]+view[3] {
			t.Errorf("%s at %v %v lies outside the view box %v", what, x, y, view)
		}
	}
	var visit func(e element, clipped bool)
	visit = func(e element, clipped bool) {
		switch e.XMLName.Local {
		case "path":
			if !clipped && e.attr("clip-path") == "" {
				for _, l := range points(t, e.attr("d")) {
					for _, p := range l {
						holds(e.attr("class"), p[0], p[1])
					}
				}
			}
		case "circle":
			r := e.number(t, "r")
			holds("circle", e.number(t, "cx")-r, e.number(t, "cy")-r)
			holds("circle", e.number(t, "cx")+r, e.number(t, "cy")+r)
		case "text":
			holds("text", e.number(t, "x"), e.number(t, "y"))
		}
		for _, k := range e.Kids {
			visit(k, clipped || e.attr("clip-path") != "")
		}
	}
	visit(root, false)
}

// Every picture and page of the demo's pieces is sound, and what is inside a page fits A4 between its margins: a browser
// shrinks a page that something is too wide for.
func TestPicturesAreSound(t *testing.T) {
	for name, body := range pictures(t) {
		t.Run(name, func(t *testing.T) {
			for i, svg := range svgs(t, name, body) {
				if name == "" || i == 0 && strings.HasSuffix(name, ".html") {
					continue // the control bar, see TestControlBar
				}
				sound(t, svg)
				root := parsed(t, svg)
				const between = 210 - 2*13
				if w := root.number(t, "width"); strings.HasSuffix(name, ".html") && w > between {
					t.Errorf("a drawing of %v mm, the page has %d", w, between)
				}
			}
			ids := map[string]bool{}
			for _, m := range regexp.MustCompile(` id="([^"]*)"`).FindAllSubmatch(body, -1) {
				if ids[string(m[1])] {
					t.Errorf("id %q stands twice", m[1])
				}
				ids[string(m[1])] = true
			}
		})
	}
}

// The bar of a printed sheet is 100 mm: drawn 100 units long in a picture of as many millimetres as units. That a browser keeps
// them was measured on the PDF that Chromium prints: 100.03 mm at 600 dots to the inch, where a dot is 0.04 mm.
func TestControlBar(t *testing.T) {
	root := parsed(t, svgs(t, "x.html", pictures(t)["P1-1-plan-1-sheet.html"])[0])
	if root.attr("width") != "106mm" || root.attr("height") != "9mm" || root.attr("viewBox") != "0 0 106 9" {
		t.Errorf("the bar's picture is %s × %s with view box %s", root.attr("width"), root.attr("height"), root.attr("viewBox"))
	}
	if bar := root.Kids[0]; bar.attr("id") != "control-bar" || bar.attr("width") != "100" {
		t.Errorf("the bar is %+v", bar)
	}
}

// kerfs are the widths of the saw cuts in a picture, square to a direction for each, the last for the rest, in millimetres
// of paper.
func kerfs(t rapid.TB, svg []byte, square ...[2]float64) (out []float64) {
	t.Helper()
	parsed(t, svg).walk(func(e element) {
		if e.attr("class") != "kerf" {
			return
		}
		way := square[min(len(out), len(square)-1)]
		for _, l := range points(t, e.attr("d")) {
			low, high := math.Inf(1), math.Inf(-1)
			for _, p := range l {
				v := (p[0]*way[1] - p[1]*way[0]) / math.Hypot(way[0], way[1])
				low, high = min(low, v), max(high, v)
			}
			out = append(out, high-low)
		}
	})
	return out
}

// A kerf is drawn as wide as the blade takes away, times the scale, to the micrometre's rounding, whichever way the cut runs.
func TestKerfIsToScale(t *testing.T) {
	scale := regexp.MustCompile(`>scale (\d+):(\d+)<`)
	rapid.Check(t, func(t *rapid.T) {
		const side = 40_000
		kerfUm := rapid.Int64Range(50, 3_000).Draw(t, "kerf")
		line := saw.Line{
			A: saw.Point{X: rapid.Int64Range(5_000, side-5_000).Draw(t, "ax"), Y: 0},
			B: saw.Point{X: rapid.Int64Range(5_000, side-5_000).Draw(t, "bx"), Y: side},
		}
		if rapid.Bool().Draw(t, "across") {
			line.A, line.B = saw.Point{X: line.A.Y, Y: line.A.X}, saw.Point{X: line.B.Y, Y: line.B.X}
		}
		view := rapid.SampledFrom([]saw.View{saw.Face, saw.Back, saw.Section}).Draw(t, "view")
		study := saw.Study{Name: "block", MassUg: 1_000_000, SGMilli: 2_000, ThicknessUm: side, Outline: []saw.Point{{X: 0, Y: 0}, {X: side, Y: 0}, {X: side, Y: side}, {X: 0, Y: side}}}
		drawn := line
		switch view {
		case saw.Back:
			drawn.A.X, drawn.B.X = -line.A.X, -line.B.X
		case saw.Section:
			drawn.A.Y, drawn.B.Y = line.A.Y-side, line.B.Y-side
		case saw.Face:
		}
		plan := saw.Plan{
			Name: "one cut", Blades: []saw.Blade{{Name: "b", KerfUm: kerfUm, ReachUm: 100_000}}, Settings: saw.Settings{Currency: "AUD"},
			Steps: []saw.Step{{Part: saw.Whole, Do: saw.Saw{Blade: "b", View: view, Line: drawn, Left: []string{"l"}, Right: []string{"r"}}}},
		}
		result, err := saw.Evaluate(study, plan, saw.Prices{Currency: "AUD"})
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := draw.Plan(&b, study, plan, result, draw.Options{}); err != nil {
			t.Fatal(err)
		}
		m := scale.FindStringSubmatch(b.String())
		if m == nil {
			t.Fatal("no scale")
		}
		num, _ := strconv.ParseFloat(m[1], 64)
		den, _ := strconv.ParseFloat(m[2], 64)
		want := float64(kerfUm) / 1_000 * num / den
		// From the paper's top: face, section, back, each with what is square to the cut in it.
		way := [2]float64{float64(line.B.X - line.A.X), -float64(line.B.Y - line.A.Y)}
		ways, wide := [][2]float64{way}, []float64{want}
		if view != saw.Section {
			if way[0] == 0 || math.Abs(way[1]/way[0]) >= 1 {
				ways, wide = append(ways, [2]float64{0, 1}), append(wide, want*math.Hypot(way[0], way[1])/math.Abs(way[1]))
			}
			if view == saw.Back {
				ways, wide = append(ways, [2]float64{-way[0], way[1]}), append(wide, want)
			}
		}
		got := kerfs(t, b.Bytes(), ways...)
		if len(got) != len(wide) {
			t.Fatalf("%d cuts are drawn, want %d", len(got), len(wide))
		}
		for i := range wide {
			if math.Abs(got[i]-wide[i]) > 0.003 {
				t.Fatalf("a kerf of %d µm is drawn %v mm wide, want %v", kerfUm, got[i], wide[i])
			}
		}
		// Each has the step's number.
		if n := strings.Count(b.String(), `font-weight="bold">1</text>`); n != len(wide) {
			t.Fatalf("%d cuts, %d numbers", len(wide), n)
		}
	})
}

// What a trim leaves is said in words, and what it takes is hatched in each view that shows it: of P1-1 two trims in
// the face and in the section, and the waste below them in the section; of P1-3's look two from face and back in their own
// views and in the section.
func TestTrimIsTold(t *testing.T) {
	all := pictures(t)
	for name, says := range map[string]string{
		"P1-1-plan-1-step-3.svg": "trim part 1C into 1C&#39; (1.25\u00a0mm round stone 1) and off-cut (the drawn line)",
		"P1-1-plan-1-step-4.svg": "trim part 1D to 1.5\u00a0mm round stone 3",
		"P1-1-plan-1-sheet.html": "trim part 1D to 1.5\u00a0mm round stone 3",
		"P1-5-plan-1-sheet.html": "round stone 9",
		"all-step-5.svg":         "0.8\u00a0mm round stone clear",
	} {
		if !strings.Contains(string(all[name]), says) {
			t.Errorf("%s doesn't say %q", name, says)
		}
	}
	for name, n := range map[string]int{"P1-1-plan-1.svg": 5, "P1-3-plan-1-look-2.svg": 4} {
		if got := strings.Count(string(all[name]), `class="waste"`); got != n {
			t.Errorf("%s has %d wastes, want %d", name, got, n)
		}
	}
}

// hostile are names that would break out of where they stand.
var hostile = []string{
	`"/><script>alert(1)</script>`, `</text></svg>`, `]]>`, `<!--`, `&amp;&#x3c;`, "a\x00b\x1b[31m", "\u202egnp.evil\u2066", "'onload=x'", `{{.}}`, "\xff\xfe",
	strings.Repeat("漢", 33), strings.Repeat("W", 100), "e\u0301\u0301\u0301\u0301", "🇦🇺👩‍👩‍👧", " ",
}

// No name ends the text that it stands in, runs anything, or hides what it says.
func TestHostileNames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := func(what string) string {
			return rapid.SampledFrom(hostile).Draw(t, what)
		}
		study, plan, _ := everything()
		study.Name = name("study")
		for i := range study.Features {
			if f := &study.Features[i]; f.Name != "zone" && f.Name != "bar" {
				f.Name = short(strconv.Itoa(i) + name("feature"))
				f.Class, f.Grade = short(name("class")), name("grade")
			}
		}
		plan.Name, plan.Part = name("plan"), short("W"+name("part"))
		plan.Steps[0].Part, plan.Steps[1].Part = plan.Part, plan.Part
		plan.Steps[2].Note = name("note")
		plan.Ends[0].Stones[0].Name = short(name("stone"))
		trim := plan.Steps[4].Do.(saw.Trim)
		trim.Keep = append([]saw.Kept{}, trim.Keep...)
		trim.Keep[0].Stone = plan.Ends[0].Stones[0].Name
		plan.Steps[4].Do = trim
		result, err := saw.Evaluate(study, plan, saw.Prices{Currency: "AUD"})
		if err != nil {
			t.Fatal(err)
		}
		o := draw.Options{Photo: photos}
		all := map[string]func(w io.Writer) error{
			"study.svg":    func(w io.Writer) error { return draw.Study(w, study, o) },
			"plan.svg":     func(w io.Writer) error { return draw.Plan(w, study, plan, result, o) },
			"step.svg":     func(w io.Writer) error { return draw.Step(w, study, plan, result, "steps[4]", o) },
			"outcomes.svg": func(w io.Writer) error { return draw.Outcomes(w, study, plan, result, "steps[5]", o) },
			"sheet.html":   func(w io.Writer) error { return draw.Sheet(w, study, plan, result, o) },
			"seams.svg": func(w io.Writer) error {
				a := angled()["midway"]
				a.Name, a.First, a.Second = study.Name, study.Name, plan.Name
				return draw.Seams(w, a, o)
			},
		}
		what := rapid.SampledFrom(slices.Sorted(maps.Keys(all))).Draw(t, "what")
		var b bytes.Buffer
		if err := all[what](&b); err != nil {
			t.Fatal(err)
		}
		for _, bad := range []string{"<script", "<!--", "\x00", "\x1b", "\u202e", "\u2066"} {
			if strings.Contains(b.String(), bad) {
				t.Fatalf("%s has %q", what, bad)
			}
		}
		for i, svg := range svgs(t, what, b.Bytes()) {
			if i > 0 || strings.HasSuffix(what, ".svg") {
				sound(t, svg)
			}
		}
	})
}

// short is a name within its bound.
func short(s string) string { return strings.ToValidUTF8(s[:min(len(s), 60)], "?") }

// The two points of a photo lie where they should: the first at its place, the second so far and in that direction.
func TestPhotoIsToScale(t *testing.T) {
	study, _, _ := everything()
	var b bytes.Buffer
	if err := draw.Study(&b, study, draw.Options{Photo: photos}); err != nil {
		t.Fatal(err)
	}
	var m [6]float64
	var outline [][2]float64
	parsed(t, b.Bytes()).walk(func(e element) {
		if e.attr("class") == "photo" {
			if _, err := fmt.Sscanf(e.attr("transform"), "matrix(%g %g %g %g %g %g)", &m[0], &m[1], &m[2], &m[3], &m[4], &m[5]); err != nil {
				t.Fatal(err)
			}
		}
		if e.attr("class") == "outline" && outline == nil {
			outline = points(t, e.attr("d"))[0]
		}
	})
	u := study.Underlays[0]
	at := func(p saw.Pixel) (x, y float64) {
		return m[0]*float64(p.X) + m[2]*float64(p.Y) + m[4], m[1]*float64(p.X) + m[3]*float64(p.Y) + m[5]
	}
	ax, ay := at(u.PixelA)
	bx, by := at(u.PixelB)
	// The outline begins at the view's origin; the study is drawn at 2:1, y down.
	x0, y0 := outline[0][0], outline[0][1]
	close := func(what string, got, want float64) {
		if math.Abs(got-want) > 0.005 {
			t.Errorf("%s is %v, want %v", what, got, want)
		}
	}
	close("x of the first", ax-x0, 2*1)
	close("y of the first", ay-y0, -2*1)
	close("x of the second", bx-ax, 2*40*math.Cos(5*math.Pi/180))
	close("y of the second", by-ay, -2*40*math.Sin(5*math.Pi/180))
}

// What is drawn of two seams is what is computed of them: where both can be had, each side of the cut is its backing away
// from its seam. Values: derived from point-to-line distances, no published source; the first two rows are the
// project's check values for geometry.
func TestSeamsAreToScale(t *testing.T) {
	for _, c := range []struct {
		angle, back, kerf int64
		cut               seam.Cut
		from              float64 // mm
	}{
		{8_000, 1_000, 600, seam.Parallel, 18.569888},
		{12_000, 1_000, 600, seam.Bisector, 12.421082},
		{14_000, 1_200, 600, seam.Bisector, 12.290},
	} {
		from := int64(math.Ceil(c.from * 1_000))
		a := draw.Angled{Name: "x", Seams: seam.Seams{AngleMilliDeg: c.angle, NearUm: 4_000, FarUm: 38_000, FirstBackUm: c.back, SecBackUm: c.back, KerfUm: c.kerf}, Cut: c.cut, PlaceUm: from}
		var b bytes.Buffer
		if err := draw.Seams(&b, a, draw.Options{}); err != nil {
			t.Fatal(err)
		}
		// Backing is measured in the detail: its arrows are the two shortest dimensions of the drawing.
		root := parsed(t, b.Bytes())
		var detail float64
		root.walk(func(e element) {
			if at := strings.LastIndex(e.Text, ", "); strings.HasPrefix(e.Text, "At ") && at > 0 {
				fmt.Sscanf(e.Text[at+2:], "%g:1", &detail)
			}
		})
		found := 0
		root.walk(func(e element) {
			if e.attr("class") != "backing" {
				return
			}
			l := points(t, e.attr("d"))[0]
			found++
			if got := math.Hypot(l[1][0]-l[0][0], l[1][1]-l[0][1]) / detail; math.Abs(got-float64(c.back)/1_000) > 0.002 {
				t.Errorf("%d mdeg: backing is drawn %v mm, want %v", c.angle, got, float64(c.back)/1_000)
			}
		})
		if found != 2 {
			t.Errorf("%d backings are drawn", found)
		}
		if got := kerfs(t, b.Bytes(), [2]float64{1, 0}); len(got) < 4 || math.Abs(got[1]-0.6*2) > 0.003 || math.Abs(got[3]-0.6*detail) > 0.003 {
			t.Errorf("cuts are %v mm high", got)
		}
		if !strings.Contains(b.String(), "from "+strconv.FormatFloat(float64(from)/1_000, 'f', -1, 64)+"\u00a0mm") {
			t.Errorf("it doesn't say from where: %d µm", from)
		}
	}
}

// Findings of a plan that breaks rules are marked where and told by how much; supposed features are named as such.
func TestFindingsAreMarked(t *testing.T) {
	study, plan, prices := everything()
	result, err := saw.Evaluate(study, plan, prices)
	if err != nil {
		t.Fatal(err)
	}
	var b, page bytes.Buffer
	if err := errors.Join(draw.Plan(&b, study, plan, result, draw.Options{}), draw.Sheet(&page, study, plan, result, draw.Options{})); err != nil {
		t.Fatal(err)
	}
	marks := 0
	parsed(t, b.Bytes()).walk(func(e element) {
		if e.attr("class") == "finding" && strings.HasSuffix(e.attr("d"), "Z") {
			marks++
		}
	})
	broken := 0
	for _, f := range result.Trunk.Findings {
		if f.Notice {
			continue
		}
		broken++
		want := fmt.Sprintf("Mark %d: ", broken)
		by := "by " + strconv.FormatFloat(float64(f.ByUm)/1_000, 'f', -1, 64) + "\u00a0mm"
		if !strings.Contains(b.String(), want) || !strings.Contains(page.String(), by) {
			t.Errorf("no %q, or no %q", want, by)
		}
	}
	if marks != broken+1 || broken < 5 { // and the legend's
		t.Errorf("%d marks for %d findings", marks, broken)
	}
	for _, want := range []string{"This plan breaks rules", "thin crack is only supposed"} {
		if !strings.Contains(page.String(), want) {
			t.Errorf("the sheet doesn't say %q", want)
		}
	}
}

// A result of another plan is refused, as are bad options, and nothing else is written.
func TestRefusals(t *testing.T) {
	study, plan := example.P1Piece1(), example.P1Piece1Plan()
	result, err := saw.Evaluate(study, plan, example.Prices())
	if err != nil {
		t.Fatal(err)
	}
	other := example.P1Piece1Plan()
	other.Steps = other.Steps[:2]
	crooked := study
	crooked.Outline = crooked.Outline[:2]
	shown, _, _ := everything()
	for what, c := range map[string]struct {
		err  func(w io.Writer) error
		says string
	}{
		"another plan":  {func(w io.Writer) error { return draw.Plan(w, example.P1Piece2(), plan, result, draw.Options{}) }, "isn't of this study and plan"},
		"another's end": {func(w io.Writer) error { return draw.Plan(w, study, other, result, draw.Options{}) }, "evaluate the plan again"},
		"no such step":  {func(w io.Writer) error { return draw.Step(w, study, plan, result, "steps[9]", draw.Options{}) }, `no step "steps[9]"`},
		"no such look":  {func(w io.Writer) error { return draw.Outcomes(w, study, plan, result, "steps[0]", draw.Options{}) }, `no look "steps[0]"`},
		"no outline":    {func(w io.Writer) error { return draw.Study(w, crooked, draw.Options{}) }, "outline"},
		"id":            {func(w io.Writer) error { return draw.Study(w, study, draw.Options{ID: `a" b`}) }, "small letter"},
		"division":      {func(w io.Writer) error { return draw.Study(w, study, draw.Options{Division: -1}) }, "above zero"},
		"place": {func(w io.Writer) error {
			a := angled()["midway"]
			a.PlaceUm = 1
			return draw.Seams(w, a, draw.Options{})
		}, "place_um"},
		"cut": {func(w io.Writer) error { a := angled()["midway"]; a.Cut = 0; return draw.Seams(w, a, draw.Options{}) }, "parallel"},
		"angle": {func(w io.Writer) error {
			a := angled()["midway"]
			a.Seams.AngleMilliDeg = 0
			return draw.Seams(w, a, draw.Options{})
		}, "angle_milli_deg"},
	} {
		var b bytes.Buffer
		err := c.err(&b)
		if err == nil || !strings.Contains(err.Error(), c.says) || b.Len() > 0 {
			t.Errorf("%s: %v, %d bytes written", what, err, b.Len())
		}
	}
	for _, href := range []string{"javascript:alert(1)", "https://a.example/p.png", "//a.example/p.png", "/a/../../b\"", "data:text/html;base64,aaaa", "data:image/svg+xml;base64,aaaa", ""} {
		o := draw.Options{Photo: func([32]byte) (draw.Photo, bool) { return draw.Photo{Href: href, Width: 1, Height: 1}, true }}
		if err := draw.Study(io.Discard, shown, o); err == nil || !strings.Contains(err.Error(), "underlays[0]") {
			t.Errorf("photo at %q: %v", href, err)
		}
	}
	for _, href := range []string{"/photos/ab12", "photos/ab12.jpg", pixels} {
		o := draw.Options{Photo: func([32]byte) (draw.Photo, bool) { return draw.Photo{Href: href, Width: 1, Height: 1}, true }}
		if err := draw.Study(io.Discard, shown, o); err != nil {
			t.Errorf("photo at %q: %v", href, err)
		}
	}
}

// The sheet has each step to tick off, each part to weigh, and the cautions once.
func TestSheetHasAll(t *testing.T) {
	study, plan, prices := everything()
	result, err := saw.Evaluate(study, plan, prices)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := draw.Sheet(&b, study, plan, result, draw.Options{}); err != nil {
		t.Fatal(err)
	}
	page := b.String()
	for what, n := range map[string]int{
		`<span class="box">`:                   7, // steps, those of outcomes too
		"crystalline silica":                   1,
		"local codes":                          1,
		"thin &amp; sharp, 0.45\u00a0mm":       2,
		"if the look shows":                    4,
		"@page { size: A4;":                    1,
		"to scale in print only":               1,
		"oval 9 × 6</td>":                      4,
		"round 7</td>":                         1,
		"<script":                              0,
		"http":                                 strings.Count(page, `xmlns="http://www.w3.org/2000/svg"`),
		"&lt;b&gt;back&lt;/b&gt;</td><td>u1</": 1,
	} {
		if got := strings.Count(page, what); got != n {
			t.Errorf("%q stands %d times, want %d", what, got, n)
		}
	}
}

// No two texts of the demo's pictures lie on each other, by the widths that a plain font has.
func TestLabelsLieApart(t *testing.T) {
	type text struct {
		words                    string
		left, top, right, bottom float64
	}
	for name, body := range pictures(t) {
		if strings.HasPrefix(name, "all-") {
			continue // crowded on purpose
		}
		for _, svg := range svgs(t, name, body) {
			var all []text
			parsed(t, svg).walk(func(e element) {
				if e.XMLName.Local != "text" || e.attr("font-size") == "" || strings.HasPrefix(e.attr("transform"), "rotate") {
					return
				}
				size := e.number(t, "font-size")
				wide := 0.5 * size * float64(utf8.RuneCountInString(e.Text))
				x, y := e.number(t, "x"), e.number(t, "y")
				switch e.attr("text-anchor") {
				case "middle":
					x -= wide / 2
				case "end":
					x -= wide
				}
				all = append(all, text{e.Text, x, y - 0.75*size, x + wide, y})
			})
			for i, a := range all {
				for _, b := range all[:i] {
					if a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom {
						t.Errorf("%s: %q lies on %q", name, a.words, b.words)
					}
				}
			}
		}
	}
}

// Whatever its size, a piece is on the sheet at its own size or the sheet says that it isn't, and no drawing is larger than
// A4 between its margins.
func TestSheetFitsItsPaper(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, h := rapid.Int64Range(4_000, 450_000).Draw(t, "w"), rapid.Int64Range(4_000, 450_000).Draw(t, "h")
		study := saw.Study{Name: "block", MassUg: 1_000_000, SGMilli: 2_000, ThicknessUm: rapid.Int64Range(1_000, 200_000).Draw(t, "deep"), Outline: []saw.Point{{X: 0, Y: 0}, {X: w, Y: 0}, {X: w, Y: h}, {X: 0, Y: h}}}
		if rapid.Bool().Draw(t, "back") {
			study.Features = []saw.Feature{{Name: "grey", Kind: saw.Potch, View: saw.Back, Closed: true, Points: []saw.Point{{X: -w / 2, Y: 0}, {X: -1_000, Y: 0}, {X: -1_000, Y: h / 2}}}}
		}
		plan := saw.Plan{Name: "keep it", Settings: saw.Settings{Currency: "AUD"}, Ends: []saw.End{{Part: saw.Whole, Kind: saw.Shelf}}}
		result, err := saw.Evaluate(study, plan, saw.Prices{Currency: "AUD"})
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := draw.Sheet(&b, study, plan, result, draw.Options{}); err != nil {
			t.Fatal(err)
		}
		for _, svg := range svgs(t, "sheet.html", b.Bytes())[1:] {
			root := parsed(t, svg)
			if w, h := root.number(t, "width"), root.number(t, "height"); w > 210-2*13 || h > 297-2*13 {
				t.Fatalf("a drawing of %v × %v mm", w, h)
			}
		}
		full := strings.Contains(b.String(), "scale 1:1<") || strings.Contains(b.String(), "1:1, to lay the piece on")
		if says := strings.Contains(b.String(), "too large for this paper"); full == says {
			t.Fatalf("at its own size: %v, says that it is too large: %v", full, says)
		}
		if !full && w < 150_000 && h+study.ThicknessUm < 180_000 && len(study.Features) == 0 {
			t.Fatalf("%d × %d would fit the paper", w, h)
		}
	})
}
