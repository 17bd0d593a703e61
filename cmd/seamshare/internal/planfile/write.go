package planfile

import (
	"encoding/hex"
	"fmt"
	"strconv"

	"seamshare.example/cmd/seamshare/internal/strictjson"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/search"
	"seamshare.example/services/wire"
)

// Format writes a file as Parse reads it.
func Format(f File) []byte {
	w := &writer{}
	if f.HasPiece() {
		w.put("piece", f.piece())
	}
	if len(f.Blades) > 0 {
		w.put("blades", list(f.Blades, blade))
	}
	if rules := f.rules(); len(rules.Members) > 0 {
		w.put("rules", rules)
	}
	if len(f.Prices.Markets) > 0 {
		w.put("prices", list(f.Prices.Markets, f.market))
	}
	if len(f.Plans) > 0 {
		w.put("plans", list(f.Plans, plan))
	}
	if len(f.Wants) > 0 {
		w.put("wants", list(f.Wants, want))
	}
	w.whole("saw_minutes", f.SawMinutes)
	return strictjson.Format(&w.Object)
}

// writer puts members behind one another. What is zero is left out, save by put.
type writer struct{ strictjson.Object }

func (w *writer) put(name string, v strictjson.Value) {
	w.Members = append(w.Members, strictjson.Member{Name: name, Value: v})
}

func (w *writer) text(name, s string) {
	if s != "" {
		w.put(name, strictjson.Text(s))
	}
}

func (w *writer) number(name string, thousandths int64) {
	if thousandths != 0 {
		w.put(name, number(thousandths))
	}
}

func (w *writer) whole(name string, n int64) {
	if n != 0 {
		w.put(name, strictjson.Number(strconv.FormatInt(n, 10)))
	}
}

func (w *writer) flag(name string, b bool) {
	if b {
		w.put(name, strictjson.Boolean(true))
	}
}

func (w *writer) view(name string, v saw.View) {
	if v != saw.Face {
		w.text(name, string(v))
	}
}

func (w *writer) names(name string, all []string) {
	if len(all) > 0 {
		w.put(name, list(all, func(s string) strictjson.Value { return strictjson.Text(s) }))
	}
}

func list[T any](all []T, write func(T) strictjson.Value) strictjson.Value {
	out := make(strictjson.List, len(all))
	for i, one := range all {
		out[i] = write(one)
	}
	return out
}

func number(thousandths int64) strictjson.Value {
	sign, n := "", thousandths
	if n < 0 {
		sign, n = "-", -n
	}
	if n%1000 == 0 {
		return strictjson.Number(fmt.Sprintf("%s%d", sign, n/1000))
	}
	text := fmt.Sprintf("%s%d.%03d", sign, n/1000, n%1000)
	for text[len(text)-1] == '0' {
		text = text[:len(text)-1]
	}
	return strictjson.Number(text)
}

func rate(bp int64) strictjson.Value {
	if bp%100 == 0 {
		return strictjson.Text(fmt.Sprintf("%d %%", bp/100))
	}
	return strictjson.Text(fmt.Sprintf("%d.%02d %%", bp/100, bp%100))
}

func point(p saw.Point) strictjson.Value {
	return strictjson.List{number(p.X), number(p.Y)}
}

func points(all []saw.Point) strictjson.Value { return list(all, point) }

func line(l saw.Line) strictjson.Value { return points([]saw.Point{l.A, l.B}) }

func (f File) piece() strictjson.Value {
	s, w := f.Study, &writer{}
	w.text("name", s.Name)
	w.put("mass", strictjson.Text(measure.Mass(s.MassUg).String()))
	w.number("sg", s.SGMilli)
	w.put("outline", points(s.Outline))
	w.number("thickness", s.ThicknessUm)
	if len(s.Layers) > 0 {
		w.put("layers", list(s.Layers, func(l saw.Layer) strictjson.Value {
			w := &writer{}
			w.text("name", l.Name)
			w.text("kind", string(l.Kind))
			w.put("thickness", number(l.ThicknessUm))
			w.number("sg", l.SGMilli)
			w.text("class", l.Class)
			w.text("grade", l.Grade)
			w.flag("supposed", l.Supposed)
			return &w.Object
		}))
	}
	if s.Trace != (saw.Line{}) || len(s.Profile) > 0 {
		w.put("section", &strictjson.Object{Members: []strictjson.Member{{Name: "along", Value: line(s.Trace)}, {Name: "outline", Value: points(s.Profile)}}})
	}
	if len(s.Features) > 0 {
		w.put("features", list(s.Features, feature))
	}
	if len(s.Underlays) > 0 {
		w.put("photos", list(s.Underlays, func(u saw.Underlay) strictjson.Value {
			w := &writer{}
			w.view("view", u.View)
			w.text("sha256", hex.EncodeToString(u.SHA256[:]))
			pixel := func(p saw.Pixel) strictjson.Value {
				return strictjson.List{strictjson.Number(strconv.FormatInt(p.X, 10)), strictjson.Number(strconv.FormatInt(p.Y, 10))}
			}
			w.put("pixels", strictjson.List{pixel(u.PixelA), pixel(u.PixelB)})
			w.put("apart", number(u.DistanceUm))
			w.put("at", point(u.At))
			w.number("turn", u.TurnMdeg)
			return &w.Object
		}))
	}
	return &w.Object
}

func feature(f saw.Feature) strictjson.Value {
	w := &writer{}
	w.text("name", f.Name)
	w.text("kind", string(f.Kind))
	w.view("view", f.View)
	w.flag("supposed", f.Supposed)
	if f.Closed {
		w.put("area", points(f.Points))
	} else {
		w.put("line", points(f.Points))
	}
	w.number("thickness", f.ThicknessUm)
	w.number("depth", f.DepthUm)
	w.number("sg", f.SGMilli)
	w.text("class", f.Class)
	w.text("grade", f.Grade)
	return &w.Object
}

func blade(b saw.Blade) strictjson.Value {
	w := &writer{}
	w.text("name", b.Name)
	w.put("kerf", number(b.KerfUm))
	w.put("reach", number(b.ReachUm))
	w.number("wander", b.WanderUm)
	return &w.Object
}

func (f File) amount(minor int64) strictjson.Value {
	return strictjson.Text(wire.Text(f.Prices.Currency, minor))
}

func (f File) rules() *strictjson.Object {
	s, w := f.Settings, &writer{}
	w.number("crack", s.CrackUm)
	w.number("potch", s.PotchUm)
	w.number("backing", s.BackingUm)
	w.number("bevel", s.BevelUm)
	w.number("between", s.BetweenUm)
	w.number("grip", s.GripUm)
	if s.HourMinor != 0 {
		w.put("hour", f.amount(s.HourMinor))
	}
	if s.LevyBp != 0 {
		w.put("levy", rate(s.LevyBp))
	}
	if s.SellingMinor != 0 {
		w.put("selling", f.amount(s.SellingMinor))
	}
	return &w.Object
}

func (f File) market(m saw.Market) strictjson.Value {
	w := &writer{}
	w.text("market", m.Name)
	w.put("pays", list(m.Prices, func(p saw.Price) strictjson.Value {
		w := &writer{}
		w.text("class", p.Class)
		if p.Per == saw.PerFaceMm2 {
			p.Per = facePer
		}
		w.text("per", string(p.Per))
		w.number("from", p.FromUm)
		w.number("to", p.ToUm)
		w.put("price", f.amount(p.Minor))
		return &w.Object
	}))
	return &w.Object
}

func plan(p saw.Plan) strictjson.Value {
	w := &writer{}
	w.text("name", p.Name)
	w.text("part", p.Part)
	w.course(p.Steps, p.Ends)
	return &w.Object
}

func (w *writer) course(steps []saw.Step, ends []saw.End) {
	if len(steps) > 0 {
		w.put("steps", list(steps, step))
	}
	if len(ends) > 0 {
		w.put("ends", list(ends, end))
	}
}

func step(s saw.Step) strictjson.Value {
	w, do := &writer{}, &writer{}
	w.text("part", s.Part)
	w.whole("minutes", s.Minutes)
	w.text("note", s.Note)
	switch d := s.Do.(type) {
	case saw.Saw:
		do.text("blade", d.Blade)
		do.cut(d.View, d.Line, d.Left, d.Right)
		w.put("saw", &do.Object)
	case saw.Split:
		do.cut(d.View, d.Line, d.Left, d.Right)
		w.put("split", &do.Object)
	case saw.Trim:
		do.view("view", d.View)
		do.put("keep", list(d.Keep, func(k saw.Kept) strictjson.Value {
			w := &writer{}
			w.text("part", k.Part)
			if len(k.Ring) > 0 {
				w.put("ring", points(k.Ring))
			}
			w.text("stone", k.Stone)
			w.number("allow", k.AllowUm)
			return &w.Object
		}))
		w.put("trim", &do.Object)
	case saw.Grind:
		do.view("from", d.View)
		do.put("thickness", number(d.ThicknessUm))
		do.text("of", string(d.What))
		w.put("grind", &do.Object)
	case saw.Look:
		do.text("how", string(d.Kind))
		do.view("from", d.View)
		do.number("off", d.OffUm)
		do.put("outcomes", list(d.Outcomes, func(o saw.Outcome) strictjson.Value {
			w := &writer{}
			w.text("name", o.Name)
			w.put("chance", rate(o.ChanceBp))
			if len(o.Features) > 0 {
				w.put("features", list(o.Features, feature))
			}
			w.course(o.Steps, o.Ends)
			return &w.Object
		}))
		w.put("look", &do.Object)
	}
	return &w.Object
}

func (w *writer) cut(v saw.View, l saw.Line, left, right []string) {
	w.view("view", v)
	w.put("line", line(l))
	w.names("left", left)
	w.names("right", right)
}

func end(e saw.End) strictjson.Value {
	w := &writer{}
	w.text("part", e.Part)
	w.text("as", string(e.Kind))
	if len(e.Stones) > 0 {
		w.put("stones", list(e.Stones, stone))
	}
	w.text("class", e.Class)
	w.text("market", e.Market)
	return &w.Object
}

func stone(s saw.Stone) strictjson.Value {
	w := &writer{}
	w.text("name", s.Name)
	w.pattern(s)
	w.put("at", point(s.At))
	w.number("turn", s.TurnMdeg)
	return &w.Object
}

func want(one search.Want) strictjson.Value {
	w := &writer{}
	w.pattern(one.Pattern)
	if len(one.Sizes) > 0 {
		w.put("sizes", list(one.Sizes, func(s search.Size) strictjson.Value { return point(saw.Point{X: s.LengthUm, Y: s.WidthUm}) }))
	}
	w.number("from", one.FromUm)
	w.number("to", one.ToUm)
	w.whole("together", int64(one.Together))
	w.number("step", one.StepUm)
	return &w.Object
}

func (w *writer) pattern(s saw.Stone) {
	w.text("shape", string(s.Shape))
	if len(s.Ring) > 0 {
		w.put("ring", points(s.Ring))
	}
	w.number("length", s.LengthUm)
	w.number("width", s.WidthUm)
	w.put("depth", number(s.DepthUm))
	w.number("dome", s.DomeUm)
	w.number("sg", s.SGMilli)
	w.view("view", s.View)
	w.text("zone", s.Zone)
	w.text("bar", s.Bar)
	w.number("tilt", s.TiltMdeg)
	w.text("surface", string(s.Surface))
	w.text("class", s.Class)
	w.text("market", s.Market)
	w.put("chance", rate(s.ChanceBp))
	w.whole("minutes", s.Minutes)
}
