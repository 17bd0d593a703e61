package planfile

import (
	"encoding/hex"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"seamshare.example/cmd/seamshare/internal/agreementfile"
	"seamshare.example/cmd/seamshare/internal/strictjson"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/money"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/search"
)

// maxText is how long a name may be; what is longer is cut off in drawings.
const maxText = 80

type reader struct {
	strictjson.Reader
	currency string // of the first amount; a file has one
}

func (r *reader) file(v strictjson.Value) (f File) {
	o := r.Object("", v, "piece", "blades", "rules", "prices", "plans", "wants", "saw_minutes")
	if o == nil {
		return f
	}
	if v, ok := o.Get("piece"); ok {
		f.Study = r.piece(v)
	}
	if v, ok := o.Get("blades"); ok {
		f.Blades = each(r, "blades", v, r.blade)
	}
	if v, ok := o.Get("rules"); ok {
		f.Settings = r.rules(v)
	}
	if v, ok := o.Get("prices"); ok {
		f.Prices.Markets = each(r, "prices", v, r.market)
	}
	if v, ok := o.Get("plans"); ok {
		f.Plans = each(r, "plans", v, r.plan)
	}
	if v, ok := o.Get("wants"); ok {
		f.Wants = each(r, "wants", v, r.want)
	}
	f.SawMinutes = members{r, "", o}.whole("saw_minutes", saw.MaxMinutes)
	f.Settings.Currency, f.Prices.Currency = r.currency, r.currency
	for i := range f.Plans {
		f.Plans[i].Blades, f.Plans[i].Settings = f.Blades, f.Settings
		for j, other := range f.Plans[:i] {
			if other.Name == f.Plans[i].Name {
				r.Add(fmt.Sprintf("plans[%d].name", i), "%q is the name of plans[%d] already; give each its own", other.Name, j)
			}
		}
	}
	return f
}

// members of an object, read by name. Its methods take a member that may be missing.
type members struct {
	*reader
	path string
	o    *strictjson.Object
}

func (r *reader) members(path string, v strictjson.Value, names ...string) (members, bool) {
	o := r.Object(path, v, names...)
	return members{r, path, o}, o != nil
}

func (m members) at(name string) string { return strictjson.Join(m.path, name) }

func (m members) has(name string) bool {
	_, ok := m.o.Get(name)
	return ok
}

// name is a text that must be there.
func (m members) name(name string) string {
	v, ok := m.Needed(m.path, m.o, name)
	if !ok {
		return ""
	}
	return m.Text(m.at(name), v, maxText)
}

func (m members) text(name string) string {
	v, ok := m.o.Get(name)
	if !ok {
		return ""
	}
	return m.Text(m.at(name), v, maxText)
}

// word is one of a few texts; the first stands where it is missing, or, if that is empty, it must be there.
func (m members) word(name string, words ...string) string {
	v, ok := m.o.Get(name)
	if !ok {
		if words[0] == "" {
			m.Needed(m.path, m.o, name)
		}
		return words[0]
	}
	words = slices.DeleteFunc(slices.Clone(words), func(w string) bool { return w == "" })
	s, _ := v.(strictjson.Text)
	if !slices.Contains(words, string(s)) {
		m.Add(m.at(name), "%s is not known here; write one of: %s", strictjson.Show(v), strings.Join(words, ", "))
	}
	return string(s)
}

func (m members) flag(name string) bool {
	v, ok := m.o.Get(name)
	if !ok {
		return false
	}
	b, ok := v.(strictjson.Boolean)
	if !ok {
		m.Add(m.at(name), "%s is neither true nor false", strictjson.Show(v))
	}
	return bool(b)
}

// number is a number with at most three decimals, in thousandths; 0 where it is missing.
func (m members) number(name, unit string) int64 {
	v, ok := m.o.Get(name)
	if !ok {
		return 0
	}
	return m.thousandths(m.at(name), v, unit)
}

// length is a number of millimetres that must be there, as micrometres.
func (m members) length(name string) int64 {
	v, ok := m.Needed(m.path, m.o, name)
	if !ok {
		return 0
	}
	return m.thousandths(m.at(name), v, "mm")
}

func (m members) whole(name string, most int64) int64 {
	v, ok := m.o.Get(name)
	if !ok {
		return 0
	}
	s, isNumber := v.(strictjson.Number)
	n, err := strconv.ParseInt(string(s), 10, 64)
	if !isNumber || err != nil || n < 0 || n > most {
		m.Add(m.at(name), "%s is not a whole number from 0 to %d", strictjson.Show(v), most)
		return 0
	}
	return n
}

func (m members) rate(name string) int64 {
	v, ok := m.o.Get(name)
	if !ok {
		return 0
	}
	s, _ := v.(strictjson.Text)
	bp, err := agreementfile.ParseRate(string(s))
	if err != nil {
		m.Add(m.at(name), "%s %v", strictjson.Show(v), err)
	}
	return int64(bp)
}

// amount is an amount of money in minor units of the file's one currency.
func (m members) amount(name string) int64 {
	v, ok := m.o.Get(name)
	if !ok {
		return 0
	}
	path := m.at(name)
	s, _ := v.(strictjson.Text)
	typed, code, ok := strings.Cut(strings.TrimSpace(string(s)), " ")
	if !ok {
		m.Add(path, `%s is not an amount; write amount and currency in quotation marks, such as "45.00 AUD"`, strictjson.Show(v))
		return 0
	}
	if code = strings.TrimSpace(code); m.currency == "" {
		m.currency = code
	}
	if code != m.currency {
		m.Add(path, "%s is in %s, but amounts before it are in %s; a plan file has one currency", strictjson.Show(v), code, m.currency)
		return 0
	}
	minor, err := money.Parse(typed, code)
	if err == nil && minor < 0 {
		err = fmt.Errorf("%q is negative; write zero or more", typed)
	}
	if err != nil {
		m.Add(path, "%v", err)
	}
	return minor
}

func (m members) points(name string) []saw.Point {
	v, ok := m.o.Get(name)
	if !ok {
		return nil
	}
	return each(m.reader, m.at(name), v, m.point)
}

func (m members) point0(name string) saw.Point {
	v, ok := m.Needed(m.path, m.o, name)
	if !ok {
		return saw.Point{}
	}
	return m.point(m.at(name), v)
}

func (m members) line(name string) (l saw.Line) {
	v, ok := m.Needed(m.path, m.o, name)
	if !ok {
		return l
	}
	if points := each(m.reader, m.at(name), v, m.point); len(points) == 2 {
		return saw.Line{A: points[0], B: points[1]}
	}
	m.Add(m.at(name), "must be two points, such as [[0, 5], [20, 5]]")
	return l
}

func (m members) names(name string) []string {
	v, ok := m.o.Get(name)
	if !ok {
		return nil
	}
	return each(m.reader, m.at(name), v, func(path string, v strictjson.Value) string { return m.Text(path, v, maxText) })
}

// each reads the values of a list.
func each[T any](r *reader, path string, v strictjson.Value, read func(path string, v strictjson.Value) T) []T {
	list, ok := v.(strictjson.List)
	if !ok {
		r.Add(path, "%s stands where a list […] must", strictjson.Show(v))
		return nil
	}
	out := make([]T, len(list))
	for i, v := range list {
		out[i] = read(fmt.Sprintf("%s[%d]", path, i), v)
	}
	return out
}

var decimal = regexp.MustCompile(`^(-?)([0-9]{1,6})(?:\.([0-9]{1,3}))?$`)

var long = regexp.MustCompile(`^-?[0-9]{7,}(?:\.[0-9]{1,3})?$`)

func (r *reader) thousandths(path string, v strictjson.Value, unit string) int64 {
	s, ok := v.(strictjson.Number)
	m := decimal.FindStringSubmatch(string(s))
	if ok && m == nil && long.MatchString(string(s)) {
		r.Add(path, "%s is out of range; at most 999999.999 can stand here", s)
		return 0
	}
	if !ok || m == nil {
		r.Add(path, "%s is not a number%s; write it without quotation marks, with at most three decimals, such as 12.5", strictjson.Show(v), of(unit))
		return 0
	}
	n, _ := strconv.ParseInt(m[2]+(m[3] + "000")[:3], 10, 64) // at most nine digits
	if m[1] != "" {
		return -n
	}
	return n
}

func of(unit string) string {
	if unit == "" {
		return ""
	}
	return " of " + unit
}

func (r *reader) point(path string, v strictjson.Value) saw.Point {
	pair, _ := v.(strictjson.List)
	if len(pair) != 2 {
		r.Add(path, "%s is not a point; write two numbers of mm, such as [12.5, 3]", strictjson.Show(v))
		return saw.Point{}
	}
	return saw.Point{X: r.thousandths(path+"[0]", pair[0], "mm"), Y: r.thousandths(path+"[1]", pair[1], "mm")}
}

func (r *reader) piece(v strictjson.Value) (s saw.Study) {
	m, ok := r.members("piece", v, "name", "mass", "sg", "outline", "thickness", "layers", "section", "features", "photos")
	if !ok {
		return s
	}
	s.Name, s.SGMilli = m.name("name"), m.number("sg", "")
	if v, ok := m.Needed(m.path, m.o, "mass"); ok {
		text, _ := v.(strictjson.Text)
		mass, err := measure.ParseMass(string(text))
		if err != nil {
			r.Add("piece.mass", "%v", err)
		}
		s.MassUg = int64(mass)
	}
	if m.Needed(m.path, m.o, "outline"); m.has("outline") {
		s.Outline = m.points("outline")
		if len(s.Outline) == 0 {
			r.Add("piece.outline", "has no points; draw the piece as seen from its face")
		}
	}
	s.ThicknessUm = m.number("thickness", "mm")
	if v, ok := m.o.Get("layers"); ok {
		s.Layers = each(r, "piece.layers", v, r.layer)
	}
	if v, ok := m.o.Get("section"); ok {
		if d, ok := r.members("piece.section", v, "along", "outline"); ok {
			s.Trace, s.Profile = d.line("along"), d.points("outline")
		}
	}
	if v, ok := m.o.Get("features"); ok {
		s.Features = each(r, "piece.features", v, r.feature)
	}
	if v, ok := m.o.Get("photos"); ok {
		s.Underlays = each(r, "piece.photos", v, r.photo)
	}
	return s
}

func (r *reader) layer(path string, v strictjson.Value) (l saw.Layer) {
	m, ok := r.members(path, v, "name", "kind", "thickness", "sg", "class", "grade", "supposed")
	if !ok {
		return l
	}
	return saw.Layer{
		Name: m.name("name"), Kind: saw.Kind(m.word("kind", kinds...)), ThicknessUm: m.length("thickness"), SGMilli: m.number("sg", ""),
		Class: m.text("class"), Grade: m.text("grade"), Supposed: m.flag("supposed"),
	}
}

var (
	kinds = []string{"", string(saw.Colour), string(saw.Potch), string(saw.Rock), string(saw.Crack), string(saw.Matrix), string(saw.Seam)}
	views = []string{string(saw.Face), string(saw.Back), string(saw.Section)}
)

func (r *reader) feature(path string, v strictjson.Value) (f saw.Feature) {
	m, ok := r.members(path, v, "name", "kind", "view", "supposed", "area", "line", "thickness", "depth", "sg", "class", "grade")
	if !ok {
		return f
	}
	f = saw.Feature{
		Name: m.name("name"), Kind: saw.Kind(m.word("kind", kinds...)), View: saw.View(m.word("view", views...)), Supposed: m.flag("supposed"),
		ThicknessUm: m.number("thickness", "mm"), DepthUm: m.number("depth", "mm"), SGMilli: m.number("sg", ""),
		Class: m.text("class"), Grade: m.text("grade"),
	}
	switch f.Closed = m.has("area"); {
	case f.Closed:
		r.Without(path, m.o, "area", "line")
		f.Points = m.points("area")
	case m.has("line"):
		f.Points = m.points("line")
	default:
		r.Add(path, `is not drawn; give its points as an "area" or as a "line"`)
	}
	return f
}

func (r *reader) photo(path string, v strictjson.Value) (u saw.Underlay) {
	m, ok := r.members(path, v, "view", "sha256", "pixels", "apart", "at", "turn")
	if !ok {
		return u
	}
	u = saw.Underlay{View: saw.View(m.word("view", views...)), DistanceUm: m.length("apart"), At: m.point0("at"), TurnMdeg: m.number("turn", "degrees")}
	hash, err := hex.DecodeString(m.name("sha256"))
	if err != nil || len(hash) != len(u.SHA256) {
		r.Add(path+".sha256", "must be the 64 hexadecimal digits by which the picture is kept; see seamshare photo add --help")
	}
	copy(u.SHA256[:], hash)
	if v, ok := m.Needed(path, m.o, "pixels"); ok {
		pixels := each(r, path+".pixels", v, r.pixel)
		if len(pixels) != 2 {
			r.Add(path+".pixels", "must be two pixels that are a known distance apart, such as [[120, 400], [980, 410]]")
			return u
		}
		u.PixelA, u.PixelB = pixels[0], pixels[1]
	}
	return u
}

func (r *reader) pixel(path string, v strictjson.Value) saw.Pixel {
	pair, _ := v.(strictjson.List)
	if len(pair) == 2 {
		x, isX := pair[0].(strictjson.Number)
		y, isY := pair[1].(strictjson.Number)
		px, errX := strconv.ParseInt(string(x), 10, 32)
		py, errY := strconv.ParseInt(string(y), 10, 32)
		if isX && isY && errX == nil && errY == nil {
			return saw.Pixel{X: px, Y: py}
		}
	}
	r.Add(path, "%s is not a pixel; write two whole numbers, from the upper left corner, such as [120, 400]", strictjson.Show(v))
	return saw.Pixel{}
}

func (r *reader) blade(path string, v strictjson.Value) (b saw.Blade) {
	m, ok := r.members(path, v, "name", "kerf", "reach", "wander")
	if !ok {
		return b
	}
	return saw.Blade{Name: m.name("name"), KerfUm: m.length("kerf"), ReachUm: m.length("reach"), WanderUm: m.number("wander", "mm")}
}

func (r *reader) rules(v strictjson.Value) (s saw.Settings) {
	m, ok := r.members("rules", v, "crack", "potch", "backing", "bevel", "between", "grip", "hour", "levy", "selling")
	if !ok {
		return s
	}
	return saw.Settings{
		CrackUm: m.number("crack", "mm"), PotchUm: m.number("potch", "mm"), BackingUm: m.number("backing", "mm"), BevelUm: m.number("bevel", "mm"),
		BetweenUm: m.number("between", "mm"), GripUm: m.number("grip", "mm"),
		HourMinor: m.amount("hour"), LevyBp: m.rate("levy"), SellingMinor: m.amount("selling"),
	}
}

func (r *reader) market(path string, v strictjson.Value) (out saw.Market) {
	m, ok := r.members(path, v, "market", "pays")
	if !ok {
		return out
	}
	out.Name = m.name("market")
	if v, ok := m.Needed(path, m.o, "pays"); ok {
		out.Prices = each(r, path+".pays", v, r.price)
	}
	return out
}

// facePer is how the file writes [saw.PerFaceMm2], which has a letter that few keyboards have.
const facePer = "face mm2"

func (r *reader) price(path string, v strictjson.Value) (p saw.Price) {
	m, ok := r.members(path, v, "class", "per", "from", "to", "price")
	if !ok {
		return p
	}
	p = saw.Price{Class: m.name("class"), Per: saw.Per(m.word("per", "", facePer, string(saw.PerCarat), string(saw.PerStone), string(saw.PerGram))), FromUm: m.number("from", "mm"), ToUm: m.number("to", "mm")}
	if p.Per == facePer {
		p.Per = saw.PerFaceMm2
	}
	if m.Needed(path, m.o, "price"); m.has("price") {
		p.Minor = m.amount("price")
	}
	return p
}

func (r *reader) plan(path string, v strictjson.Value) (p saw.Plan) {
	m, ok := r.members(path, v, "name", "part", "steps", "ends")
	if !ok {
		return p
	}
	p = saw.Plan{Name: m.name("name"), Part: m.text("part")}
	p.Steps, p.Ends = r.course(m)
	return p
}

// course is the steps and ends of a plan or of a look's outcome.
func (r *reader) course(m members) (steps []saw.Step, ends []saw.End) {
	if v, ok := m.o.Get("steps"); ok {
		steps = each(r, m.at("steps"), v, r.step)
	}
	if v, ok := m.o.Get("ends"); ok {
		ends = each(r, m.at("ends"), v, r.end)
	}
	return steps, ends
}

func (r *reader) step(path string, v strictjson.Value) (s saw.Step) {
	m, ok := r.members(path, v, "part", "minutes", "note", "saw", "split", "trim", "grind", "look")
	if !ok {
		return s
	}
	s = saw.Step{Part: m.name("part"), Minutes: m.whole("minutes", saw.MaxMinutes), Note: m.text("note")}
	works := map[string]func(string, strictjson.Value) saw.Work{"saw": r.saw, "split": r.split, "trim": r.trim, "grind": r.grind, "look": r.look}
	for _, name := range []string{"saw", "split", "trim", "grind", "look"} {
		v, ok := m.o.Get(name)
		if !ok {
			continue
		}
		if s.Do != nil {
			r.Add(m.at(name), "is a second thing to do; make two steps of it")
			break
		}
		s.Do = works[name](m.at(name), v)
	}
	if s.Do == nil {
		r.Add(path, "says nothing to do; write one of saw, split, trim, grind, look")
	}
	return s
}

func (r *reader) saw(path string, v strictjson.Value) saw.Work {
	m, ok := r.members(path, v, "blade", "view", "line", "left", "right")
	if !ok {
		return saw.Saw{}
	}
	return saw.Saw{Blade: m.name("blade"), View: saw.View(m.word("view", views...)), Line: m.line("line"), Left: m.names("left"), Right: m.names("right")}
}

func (r *reader) split(path string, v strictjson.Value) saw.Work {
	m, ok := r.members(path, v, "view", "line", "left", "right")
	if !ok {
		return saw.Split{}
	}
	return saw.Split{View: saw.View(m.word("view", views...)), Line: m.line("line"), Left: m.names("left"), Right: m.names("right")}
}

func (r *reader) trim(path string, v strictjson.Value) saw.Work {
	m, ok := r.members(path, v, "view", "keep")
	if !ok {
		return saw.Trim{}
	}
	t := saw.Trim{View: saw.View(m.word("view", views...))}
	if v, ok := m.Needed(path, m.o, "keep"); ok {
		t.Keep = each(r, path+".keep", v, func(path string, v strictjson.Value) (k saw.Kept) {
			m, ok := r.members(path, v, "part", "ring", "stone", "allow")
			if !ok {
				return k
			}
			if m.has("ring") {
				r.Without(path, m.o, "ring", "stone", "allow")
			}
			return saw.Kept{Part: m.name("part"), Ring: m.points("ring"), Stone: m.text("stone"), AllowUm: m.number("allow", "mm")}
		})
	}
	return t
}

func (r *reader) grind(path string, v strictjson.Value) saw.Work {
	m, ok := r.members(path, v, "from", "thickness", "of")
	if !ok {
		return saw.Grind{}
	}
	return saw.Grind{View: saw.View(m.word("from", views...)), ThicknessUm: m.length("thickness"), What: saw.Kind(m.word("of", kinds...))}
}

func (r *reader) look(path string, v strictjson.Value) saw.Work {
	m, ok := r.members(path, v, "how", "from", "off", "outcomes")
	if !ok {
		return saw.Look{}
	}
	l := saw.Look{Kind: saw.LookKind(m.word("how", "", string(saw.Facing), string(saw.Window), string(saw.TrialCut))), View: saw.View(m.word("from", views...)), OffUm: m.number("off", "mm")}
	if v, ok := m.Needed(path, m.o, "outcomes"); ok {
		l.Outcomes = each(r, path+".outcomes", v, r.outcome)
	}
	return l
}

func (r *reader) outcome(path string, v strictjson.Value) (o saw.Outcome) {
	m, ok := r.members(path, v, "name", "chance", "features", "steps", "ends")
	if !ok {
		return o
	}
	o = saw.Outcome{Name: m.name("name"), ChanceBp: m.rate("chance")}
	if v, ok := m.o.Get("features"); ok {
		o.Features = each(r, path+".features", v, r.feature)
	}
	o.Steps, o.Ends = r.course(m)
	return o
}

func (r *reader) end(path string, v strictjson.Value) (e saw.End) {
	m, ok := r.members(path, v, "part", "as", "stones", "class", "market")
	if !ok {
		return e
	}
	e = saw.End{
		Part: m.name("part"), Class: m.text("class"), Market: m.text("market"),
		Kind: saw.EndKind(m.word("as", "", string(saw.Stones), string(saw.OffCut), string(saw.Shelf), string(saw.Specimen), string(saw.Slice), string(saw.Waste))),
	}
	if v, ok := m.o.Get("stones"); ok {
		e.Stones = each(r, path+".stones", v, r.stone)
	}
	return e
}

var shapes = []string{
	"", string(saw.Oval), string(saw.Round), string(saw.Pear), string(saw.Marquise), string(saw.Cushion), string(saw.Rectangle), string(saw.Triangle), string(saw.Freeform),
}

// pattern is what a planned stone and one that is wanted have in common.
var pattern = []string{"shape", "ring", "length", "width", "depth", "dome", "sg", "view", "zone", "bar", "tilt", "surface", "class", "market", "chance", "minutes"}

func (r *reader) stone(path string, v strictjson.Value) (s saw.Stone) {
	m, ok := r.members(path, v, append([]string{"name", "at", "turn"}, pattern...)...)
	if !ok {
		return s
	}
	s = m.pattern(false)
	s.Name, s.At, s.TurnMdeg = m.name("name"), m.point0("at"), m.number("turn", "degrees")
	return s
}

func (r *reader) want(path string, v strictjson.Value) (w search.Want) {
	m, ok := r.members(path, v, append([]string{"sizes", "from", "to", "together", "step"}, pattern...)...)
	if !ok {
		return w
	}
	if v, ok := m.o.Get("sizes"); ok {
		w.Sizes = each(r, path+".sizes", v, func(path string, v strictjson.Value) search.Size {
			p := r.point(path, v)
			return search.Size{LengthUm: p.X, WidthUm: p.Y}
		})
		r.Without(path, m.o, "sizes", "length", "width", "from", "to")
	}
	w.Pattern = m.pattern(len(w.Sizes) > 0)
	w.FromUm, w.ToUm, w.Together, w.StepUm = m.number("from", "mm"), m.number("to", "mm"), int(m.whole("together", 3)), m.number("step", "mm")
	return w
}

// pattern reads what a stone is like; one that is wanted in some sizes has no length and width of its own.
func (m members) pattern(sized bool) saw.Stone {
	s := saw.Stone{
		Shape: saw.Shape(m.word("shape", shapes...)), Ring: m.points("ring"), DepthUm: m.length("depth"), DomeUm: m.number("dome", "mm"), SGMilli: m.number("sg", ""),
		View: saw.View(m.word("view", views...)),
		Zone: m.text("zone"), Bar: m.text("bar"), TiltMdeg: m.number("tilt", "degrees"),
		Class: m.text("class"), Market: m.text("market"), ChanceBp: 10_000, Minutes: m.whole("minutes", saw.MaxMinutes),
	}
	if !sized {
		s.LengthUm = m.length("length")
		if s.WidthUm = s.LengthUm; m.has("width") || s.Shape != saw.Round {
			s.WidthUm = m.length("width")
		}
	}
	if m.has("chance") {
		s.ChanceBp = m.rate("chance")
	}
	if m.has("surface") {
		s.Surface = saw.Surface(m.word("surface", "", string(saw.RockInFace), string(saw.PotchInFace), string(saw.Hollow)))
	}
	return s
}
