package saw

import (
	"encoding/binary"
	"math"
	"sync"

	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/measure/plane"
)

// corners is how many corners the outline of a curve is tried with.
const corners = 64

// shapes are the outlines that need no ring.
var shapes = map[Shape]measure.Shape{
	Oval: measure.Oval, Round: measure.Round, Pear: measure.Pear, Marquise: measure.Marquise,
	Cushion: measure.Cushion, Rectangle: measure.Rectangle, Triangle: measure.Triangle,
}

// outlines keeps what is dear to reckon and the same in plan after plan. Many plans may be evaluated at once.
type outlines struct {
	mutex  sync.Mutex // of all below
	known  map[outlineKey]known
	bevels map[bevelKey]bevel
}

type outlineKey struct {
	shape         Shape
	length, width int64
	ring          string
}

type bevelKey struct {
	outlineKey
	wall, bevel int64
}

// known is an outline about the origin, its length along x.
type known struct {
	outline measure.Outline
	ring    plane.Ring // never inside the true one
	key     outlineKey
}

// bevel is what a bevel takes off the back, in µm³; it doesn't go round where it is wider than the outline's tightest curve.
type bevel struct {
	volume float64
	goes   bool
}

// mostKept bounds what a model keeps; beyond it starts anew.
const mostKept = 4_096

// outline finds the outline of a stone. The error is an *Invalid with its path below the stone's.
func (o *outlines) outline(s Stone) (known, error) {
	key := outlineKey{s.Shape, s.LengthUm, s.WidthUm, ""}
	if s.Shape == Freeform {
		ring := make([]byte, 0, 16*len(s.Ring))
		for _, p := range s.Ring {
			ring = binary.LittleEndian.AppendUint64(binary.LittleEndian.AppendUint64(ring, uint64(p.X)), uint64(p.Y))
		}
		key.ring = string(ring)
	}
	o.mutex.Lock()
	defer o.mutex.Unlock()
	if found, ok := o.known[key]; ok {
		return found, nil
	}
	var err error
	found := known{key: key}
	if s.Shape == Freeform {
		var r plane.Ring
		if r, err = scaled(s); err == nil {
			found.outline, err = measure.NewFreeform(r)
		}
	} else {
		found.outline, err = measure.NewOutline(shapes[s.Shape], measure.Length(s.LengthUm), measure.Length(s.WidthUm))
	}
	if err != nil {
		return known{}, stoneError(err)
	}
	found.ring, _ = found.outline.Around(corners)
	if o.known == nil || len(o.known) >= mostKept {
		o.known = map[outlineKey]known{}
	}
	o.known[key] = found
	return found, nil
}

// scaled is a freeform's ring with its length and width, about the origin.
func scaled(s Stone) (plane.Ring, error) {
	r, err := ring("ring", s.Ring)
	if err != nil {
		return nil, err
	}
	box := r.Box()
	size := box.Size()
	out := make([]plane.Point, len(r))
	for i, p := range r {
		x := (float64(p.X-box.Min.X)/float64(size.X) - 0.5) * float64(s.LengthUm*plane.Micrometre)
		y := (float64(p.Y-box.Min.Y)/float64(size.Y) - 0.5) * float64(s.WidthUm*plane.Micrometre)
		out[i] = plane.Point{X: int64(math.Round(x)), Y: int64(math.Round(y))}
	}
	checked, err := plane.CheckRing(out)
	if err != nil {
		return nil, shape("ring", "", err)
	}
	return checked, nil
}

// bevel finds what a bevel as wide as it is high takes off the back.
func (o *outlines) bevel(k known, wallUm, bevelUm int64) bevel {
	if bevelUm == 0 {
		return bevel{goes: true}
	}
	key := bevelKey{k.key, wallUm, bevelUm}
	o.mutex.Lock()
	defer o.mutex.Unlock()
	if found, ok := o.bevels[key]; ok {
		return found
	}
	block := measure.Stone{Outline: k.outline, Form: measure.FlatTop, Wall: measure.Length(wallUm)}
	full, err := block.Model(measure.Solid, measure.Layer{SG: opal})
	var found bevel
	if err == nil {
		block.Bevel = measure.Bevel{In: measure.Length(bevelUm), Up: measure.Length(bevelUm)}
		if m, err := block.Model(measure.Solid, measure.Layer{SG: opal}); err == nil {
			found = bevel{float64(full.Volume - m.Volume), true}
		}
	}
	if o.bevels == nil || len(o.bevels) >= mostKept {
		o.bevels = map[bevelKey]bevel{}
	}
	o.bevels[key] = found
	return found
}

// opal stands where only a volume is asked for.
const opal measure.SGMilli = 2_100

// stoneError puts what is wrong with a stone's outline under its fields.
func stoneError(err error) error {
	switch e := err.(type) {
	case *Invalid:
		return e
	case *measure.FieldError:
		path := e.Field
		if path == "length" || path == "width" {
			path += "_um"
		}
		return &Invalid{path, e.Value, e.Rule}
	}
	return &Invalid{"shape", "", err.Error()}
}
