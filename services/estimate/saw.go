package estimate

import (
	"cmp"
	"fmt"
	"math"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"

	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/saw/risk"
	"seamshare.example/services/domain/saw/seam"
)

// Slabs estimates what a block gives, sawn into slabs of one thickness.
func Slabs(req *cutterv1.EstimateSlabsRequest) (*cutterv1.EstimateSlabsResponse, error) {
	names := named(map[string]string{"block": "thickness_um", "slab": "slab_um", "kerf": "kerf_um", "area": "face_um2", "tilt": "lean_mdeg", "specific gravity": "sg_milli"})
	s, err := measure.SlabsOf(measure.Length(req.GetThicknessUm()), measure.Length(req.GetSlabUm()), measure.Length(req.GetKerfUm()))
	if err != nil {
		return nil, refused(err, names)
	}
	out := &cutterv1.EstimateSlabsResponse{Slabs: s.Slabs, Cuts: s.Cuts, UsedUm: int64(s.Used), KerfUm: int64(s.Kerf), OffcutUm: int64(s.Offcut)}
	if req.GetFaceUm2() != 0 || req.GetSgMilli() != 0 || req.GetLeanMdeg() != 0 {
		loss, err := measure.KerfLoss(s.Kerf, measure.Area(req.GetFaceUm2()), float64(req.GetLeanMdeg())/1_000*math.Pi/180, measure.SGMilli(req.GetSgMilli()))
		if err != nil {
			return nil, refused(err, names)
		}
		ug := int64(loss)
		out.KerfLossUg = &ug
	}
	return out, nil
}

// Angled is the seams of a request.
func Angled(req *cutterv1.EstimateSeamsRequest) (seam.Seams, seam.Cut) {
	second := req.GetBackingUm()
	if req.SecondBackingUm != nil {
		second = req.GetSecondBackingUm()
	}
	return seam.Seams{
		AngleMilliDeg: req.GetAngleMdeg(), NearUm: req.GetFromUm(), FarUm: req.GetToUm(), FirstBackUm: req.GetBackingUm(), SecBackUm: second,
		KerfUm: req.GetKerfUm(), WanderUm: req.GetWanderUm(),
	}, seam.Cut(req.GetCut())
}

// Seams estimates where two seams at an angle can both be had, and what each choice brings.
func Seams(req *cutterv1.EstimateSeamsRequest) (*cutterv1.EstimateSeamsResponse, error) {
	names := named(map[string]string{
		"angle_milli_deg": "angle_mdeg", "near_um": "from_um", "far_um": "to_um", "first_back_um": "backing_um", "second_back_um": "second_backing_um",
	})
	seams, cut := Angled(req)
	if seams.FarUm <= seams.NearUm {
		return nil, rule.Broken{
			Reason: rule.SizeInvalid, Field: "to_um", Value: measure.Length(seams.FarUm).String(),
			Rule: fmt.Sprintf("the piece ends further out than it begins, at %s", measure.Length(seams.NearUm)), Hint: "measure both from where the seams meet",
		}
	}
	from, err := seams.From(cut)
	if err != nil {
		return nil, renamed(err, names)
	}
	at := req.GetAtUm()
	if at != 0 && (at <= seams.NearUm || at >= seams.FarUm) {
		return nil, rule.Broken{
			Reason: rule.SizeInvalid, Field: "at_um", Value: measure.Length(at).String(),
			Rule: fmt.Sprintf("the place lies within the piece, between %s and %s", measure.Length(seams.NearUm), measure.Length(seams.FarUm)), Hint: "measure it from where the seams meet",
		}
	}
	at = cmp.Or(at, max(from, seams.NearUm))
	out := &cutterv1.EstimateSeamsResponse{BothFromUm: from, AtUm: at, BothAt: at >= from && at <= seams.FarUm}
	if out.FirstLeftUm, out.SecondLeftUm, err = seams.Backing(cut, at); err != nil {
		return nil, renamed(err, names)
	}
	if out.BothAt {
		yields, err := seams.Choices(cut, at)
		if err != nil {
			return nil, renamed(err, names)
		}
		for _, y := range yields {
			out.Choices = append(out.Choices, &cutterv1.SeamYield{
				ChoiceLabel: y.Name, FirstUm: y.FirstUm, SecondUm: y.SecondUm, ClosedFirstUm: y.ClosedFirstUm, ClosedSecondUm: y.ClosedSecUm,
			})
		}
	}
	if w := req.GetWager(); w != nil {
		var purse purse
		sure, holds, fails := purse.minor("wager.one", w.GetOne()), purse.minor("wager.holds", w.GetHolds()), purse.minor("wager.fails", w.GetFails())
		if err := purse.broken.Err(); err != nil {
			return nil, err
		}
		d := risk.Sure(sure, holds, fails, w.GetChanceBp())
		d.Acts[0].Name, d.Acts[1].Name = "one only", "both"
		if out.Worth, err = worth(d, &purse); err != nil {
			return nil, err
		}
	}
	return out, nil
}
