package estimate

import (
	"errors"
	"strings"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/rule"
)

// Stone estimates a stone's volume and mass from its shape.
func Stone(req *cutterv1.EstimateStoneRequest) (*cutterv1.EstimateStoneResponse, error) {
	outline, err := readOutline(req)
	if err != nil {
		return nil, refused(err, stoneField)
	}
	stone := measure.Stone{
		Outline: outline, Form: measure.Form(req.GetTop()), Dome: measure.Length(req.GetDomeUm()), Wall: measure.Length(req.GetWallUm()),
		Bevel: measure.Bevel{In: measure.Length(req.GetBevelInUm()), Up: measure.Length(req.GetBevelUpUm()), Scaled: req.GetBevelScaled()},
	}
	for _, h := range req.GetHeights() {
		stone.Spots = append(stone.Spots, measure.Spot{At: plane.Micrometres(h.GetAt().GetXUm(), h.GetAt().GetYUm()), Height: measure.Length(h.GetHeightUm())})
	}
	kind := measure.Kind(req.GetKind())
	layers := make([]measure.Layer, len(req.GetLayers()))
	for i, l := range req.GetLayers() {
		layers[i] = measure.Layer{Thickness: measure.Length(l.GetThicknessUm()), SG: measure.SGMilli(l.GetSgMilli())}
	}
	m, err := stone.Model(kind, layers...)
	if err != nil {
		return nil, refused(err, stoneField)
	}
	out := &cutterv1.EstimateStoneResponse{
		MassUg: int64(m.Mass), VolumeUm3: int64(m.Volume), FaceUm2: int64(m.Face), DepthUm: int64(m.Depth), ErrorPpm: m.ErrorPPM,
	}
	for _, l := range m.Layers {
		out.Layers = append(out.Layers, &cutterv1.LayerEstimate{VolumeUm3: int64(l.Volume), MassUg: int64(l.Mass)})
	}
	if kind == measure.Solid && len(layers) == 1 {
		quick, err := measure.Quick(outline, m.Depth, kind, layers[0].SG)
		if err != nil {
			return nil, refused(err, stoneField)
		}
		out.Quick = &cutterv1.QuickEstimate{MassUg: int64(quick.Mass), LeastUg: int64(quick.Least), MostUg: int64(quick.Most)}
	}
	return out, nil
}

func readOutline(req *cutterv1.EstimateStoneRequest) (measure.Outline, error) {
	if req.GetOutline() != typev1.Outline_OUTLINE_FREEFORM {
		if n := len(req.GetRing()); n > 0 {
			return measure.Outline{}, &measure.FieldError{Field: "ring", Value: "given", Rule: "only a freeform has an outline of its own; leave it out, or say freeform"}
		}
		return measure.NewOutline(measure.Shape(req.GetOutline()), measure.Length(req.GetLengthUm()), measure.Length(req.GetWidthUm()))
	}
	if req.GetLengthUm() != 0 || req.GetWidthUm() != 0 {
		return measure.Outline{}, &measure.FieldError{Field: "length", Value: measure.Length(max(req.GetLengthUm(), req.GetWidthUm())).String(), Rule: "a freeform has its length and width from its outline; leave them out"}
	}
	points := make([]plane.Point, len(req.GetRing()))
	for i, p := range req.GetRing() {
		points[i] = plane.Micrometres(p.GetXUm(), p.GetYUm())
	}
	ring, err := plane.CheckRing(points)
	if err != nil {
		return measure.Outline{}, err
	}
	return measure.NewFreeform(ring)
}

// stoneField is what the request calls a field of package measure: "layers[1].sg" is its "layers[1].sg_milli".
func stoneField(field string) string {
	field = strings.Replace(strings.Replace(field, "spots", "heights", 1), "bevel.", "bevel_", 1)
	start := strings.LastIndexByte(field, '.') + 1
	switch last := field[start:]; last {
	case "length", "width", "dome", "wall", "bevel_in", "bevel_up", "thickness", "height":
		return field + "_um"
	case "sg":
		return field + "_milli"
	case "form":
		return field[:start] + "top"
	case "bevel":
		return "bevel_in_um"
	}
	return field
}

// Gravity estimates a specific gravity from two weighings.
func Gravity(req *cutterv1.EstimateGravityRequest) (*cutterv1.EstimateGravityResponse, error) {
	if !req.GetSound() {
		return nil, rule.Broken{
			Reason: rule.NotAnswered, Field: "sound", Value: "false", Rule: strings.TrimSuffix(measure.WaterCaution, "."),
			Hint: "say that it is sound only where you know it; otherwise take its mass from the scale and leave its specific gravity open",
		}
	}
	read := func(w *typev1.Weighing) measure.Weighing {
		return measure.Weighing{Mass: measure.Mass(w.GetMassUg()), Division: measure.Mass(w.GetDivisionUg())}
	}
	names := named(map[string]string{
		"air": "air.mass_ug", "water": "water.mass_ug", "air.division": "air.division_ug", "water.division": "water.division_ug",
		"specific gravity": "water.mass_ug", "opal": "opal_sg_milli", "rock": "rock_sg_milli", "whole": "opal_sg_milli",
	})
	g, err := measure.InWater{Air: read(req.GetAir()), Water: read(req.GetWater()), Sound: true}.Gravity()
	if err != nil {
		return nil, refused(err, names)
	}
	out := &cutterv1.EstimateGravityResponse{SgMilli: int64(g.SG), LeastMilli: int64(g.Least), MostMilli: int64(g.Most), Caution: measure.WaterCaution}
	if req.GetOpalSgMilli() != 0 || req.GetRockSgMilli() != 0 {
		volume, mass, err := measure.OpalShare(g.SG, measure.SGMilli(req.GetOpalSgMilli()), measure.SGMilli(req.GetRockSgMilli()))
		if wrong, ok := errors.AsType[*measure.FieldError](err); ok && wrong.Field == "whole" {
			wrong.Value = g.SG.String() + " as a whole" // it is reckoned, no field of the request
			return nil, refused(wrong, names)
		}
		if err != nil {
			return nil, refused(err, names)
		}
		out.OpalVolumePpm, out.OpalMassPpm = &volume, &mass
	}
	return out, nil
}
