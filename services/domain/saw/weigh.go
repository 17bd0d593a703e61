package saw

import (
	"math"

	"seamshare.example/services/domain/measure"
)

// weigh finds the mass of the stone as it will be finished: its wall, its dome, less the bevel round its back. What lies
// above the underside of its bar has the bar's density, the rest that of what it lies in.
//
// The mass is the planned sizes' own and isn't scaled to the piece's weighing: the sizes are what the cutter will
// measure, however the outline of the rough was drawn.
func (f *fitting) weigh() {
	form := measure.EllipticalDome
	if f.s.DomeUm == 0 {
		form = measure.FlatTop
	}
	shape := measure.Stone{Outline: f.s.known.outline, Form: form, Dome: measure.Length(f.s.DomeUm), Wall: measure.Length(f.s.WallUm())}
	layered := f.bar != nil && 0 < f.out.ColourUm && f.out.ColourUm < f.s.DepthUm
	kind, layers := measure.Solid, []measure.Layer{{SG: opal}}
	if layered {
		kind, layers = measure.Boulder, []measure.Layer{{Thickness: measure.Length(f.out.ColourUm), SG: opal}, {SG: opal}}
	}
	model, err := shape.Model(kind, layers...)
	if err != nil {
		f.find(EnoughDepth, "", false, Face, f.s.at, 0, "no stone has this shape: %v", err)
		return
	}
	bevel := f.outlines.bevel(f.s.known, f.s.WallUm(), f.plan.Settings.BevelUm)
	if !bevel.goes {
		f.find(BevelFits, "", false, Face, f.s.at, 0, "a bevel of %v doesn't go round the back: it is higher than the wall or wider than the outline's tightest curve", measure.Length(f.plan.Settings.BevelUm))
		return
	}
	sgBar, sgRest := f.densities()
	above := float64(model.Layers[0].Volume)
	if f.out.ColourUm == 0 {
		above = 0
	}
	whole := float64(model.Volume) - bevel.volume
	above = min(above, whole)
	f.out.MassUg = int64(math.Round((float64(above*sgBar) + float64((whole-above)*sgRest)) * 1e-9)) // µm³ · thousandths · 10⁻⁹ = µg
}

// densities are those of the stone's bar and of the rest of it, in thousandths, by the areas in its side view.
func (f *fitting) densities() (bar, rest float64) {
	if f.s.SGMilli != 0 {
		return float64(f.s.SGMilli), float64(f.s.SGMilli)
	}
	side := f.drawn
	own := f.p.sgMilli
	left := float64(side.TwiceArea())
	sum := left * float64(own)
	for _, l := range f.whole.layers {
		in := 0.0
		for _, r := range l.rings {
			if !r.Box().Near(side.Box(), 0) {
				continue
			}
			bits, err := common(r, side)
			if err != nil {
				continue
			}
			for _, bit := range bits {
				in += float64(bit.TwiceArea())
			}
		}
		if f.bar != nil && l.name == f.bar.name {
			left -= in
			sum -= in * float64(own)
			continue
		}
		sum += in * float64(l.sgMilli-own)
	}
	rest = float64(own)
	if left > 1 {
		rest = sum / left
	}
	if f.bar == nil {
		return rest, rest
	}
	return float64(f.bar.sgMilli), rest
}

// settle gives the mass of a part with stones to the stones and to what is lost of it. Stones weigh what they
// weigh; of the rest, what lies within a stone's outline and depth is ground off, what lies beyond is trimmed away.
// A part that was trimmed already is ground only.
func (ev *evaluation) settle(b *Branch, p part, out *Ended, e End) {
	stones := int64(0)
	for _, s := range out.Stones {
		stones += s.MassUg
	}
	if stones > p.ug {
		ev.find(b, Finding{
			Rule: MassIsThere, Path: out.Path, Part: p.name, View: Face, At: um(p.face.Centroid()),
			Text: "the stones as planned weigh more than their part, whose mass is its share of what was weighed; the piece is drawn too large, or its densities are too high",
		})
		left := p.ug
		for i := range out.Stones {
			if mass := &out.Stones[i].MassUg; *mass > 0 {
				planned := *mass
				*mass = portion(left, planned, stones)
				left, stones = left-*mass, stones-planned
			}
		}
		stones = p.ug
	}
	out.KeptUg = stones
	loss := Loss{Part: p.name, Path: out.Path, MassUg: p.ug - stones}
	switch {
	case stones == 0:
		loss.Reason = NotCut
	case p.trimmed:
		loss.Reason = GroundOff
	default:
		// What a box of each stone's outline weighs more than the stone.
		ground := int64(0)
		for i, s := range out.Stones {
			if s.MassUg > 0 {
				ground += int64(math.Round(float64(s.AreaUm2) * float64(e.Stones[i].DepthUm) * float64(p.ng) / ev.volume(p) * 1e6)) // µm³ · ng/nm³ · 10⁹ ng → µg
				ground -= s.MassUg
			}
		}
		ground = min(max(0, ground), loss.MassUg)
		b.Losses = append(b.Losses, Loss{Reason: GroundOff, Part: p.name, Path: out.Path, MassUg: ground})
		loss.Reason, loss.MassUg = TrimmedAway, loss.MassUg-ground
	}
	b.Losses = append(b.Losses, loss)
}
