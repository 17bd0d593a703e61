package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/table"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/estimate"
)

// stoneTyped is what estimate stone takes besides the request's own fields.
type stoneTyped struct {
	depthUm int64
	bevel   [2]int64
}

func (s *session) estimateStoneCommand() *cobra.Command {
	r := &cutterv1.EstimateStoneRequest{Kind: typev1.Kind_KIND_SOLID}
	var typed stoneTyped
	c := &cobra.Command{
		Use:   "stone --outline WORD --top WORD --layer LAYER…",
		Short: "What a stone of a shape will weigh, layer by layer",
		Long: `Estimates what a stone of a shape will weigh, layer by layer, and sets beside it what
its length, width and depth alone would say, with how far that may be off.

A dome stands on a wall, and --depth is both: give two of --depth, --dome and --wall.
A flat stone has --depth alone. An undulating one has --heights instead, measured
above the back.

A layer is its thickness from the top down and its specific gravity, the last one its
specific gravity alone: all that is left. Opal on or in rock needs two, since rock
weighs from 2.7 to 4 times as much as water: one number for both says nothing.`,
		Example: `  seamshare estimate stone --outline oval --length 12 --width 9 --depth 3 \
    --dome 1 --top elliptical --bevel 0.5 --layer 2.1
  seamshare estimate stone --kind boulder --outline oval --length 12 \
    --width 10 --depth 4 --top flat --bevel 0.5 --layer "1, 2.1" --layer 3.2
  seamshare estimate stone --outline freeform --ring "0 0, 14 1, 12 9, 2 8" \
    --top undulating --heights "3 3 2.6, 9 5 3.1" --layer 2.1`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := typed.into(c, r); err != nil {
				return err
			}
			answer, err := reckoned(r, estimate.Stone, map[string]string{
				"kind": "--kind", "outline": "--outline", "length_um": "--length", "width_um": "--width", "ring": "--ring", "top": "--top", "dome_um": "--dome",
				"wall_um": "--wall", "heights": "--heights", "bevel_in_um": "--bevel", "bevel_up_um": "--bevel", "bevel_scaled": "--bevel-scaled", "layers": "--layer",
			})
			if err != nil {
				return err
			}
			return s.estimated(answer, func(w io.Writer) error { return printStoneEstimate(w, r, answer) })
		},
	}
	wordFlag(c, &r.Kind, "kind", "what it is of, solid where it isn't said")
	wordFlag(c, &r.Outline, "outline", "its outline")
	mmFlag(c, &r.LengthUm, "length", "the length")
	mmFlag(c, &r.WidthUm, "width", "the width")
	mmFlag(c, &typed.depthUm, "depth", "the depth at its highest")
	c.Flags().Var(&parsed[[]*typev1.Point]{into: &r.Ring, kind: "corners", parse: parseRing}, "ring", "the outline of a freeform, corner by corner: \"X Y, X Y, …\"")
	wordFlag(c, &r.Top, "top", "how its top rises")
	mmFlag(c, &r.DomeUm, "dome", "how high the top stands above the wall")
	mmFlag(c, &r.WallUm, "wall", "how high the side stands, with the bevel")
	c.Flags().Var(&parsed[[]*cutterv1.FaceHeight]{into: &r.Heights, kind: "heights", parse: parseHeights}, "heights", "heights above the back of an undulating top: \"X Y HEIGHT, …\", seen from the middle of any outline but a freeform")
	c.Flags().Var(&parsed[[2]int64]{into: &typed.bevel, kind: "bevel", parse: parseBevel}, "bevel", "the bevel round the back: how far in, and up where that differs, as 0.5 or 0.5x0.4")
	c.Flags().BoolVar(&r.BevelScaled, "bevel-scaled", false, "of an oval: the bevel takes its half length and half width shorter, where it goes in square to the outline otherwise")
	listFlag(c, &r.Layers, "layer", "layer", "a layer from the top down, as \"THICKNESS, GRAVITY\"; the last as GRAVITY alone", parseLayer)
	need(c, "outline", "top", "layer")
	return c
}

// into fills the request in from what was typed.
func (t stoneTyped) into(c *cobra.Command, r *cutterv1.EstimateStoneRequest) error {
	r.BevelInUm, r.BevelUpUm = t.bevel[0], t.bevel[1]
	given := c.Flags().Changed
	switch {
	case r.GetTop() == cutterv1.TopForm_TOP_FORM_UNDULATING:
		if given("depth") {
			return wrongUsage("--depth", "leave it out", "an undulating stone is as deep as the highest of its --heights")
		}
	case !given("depth"):
	case t.depthUm < r.GetDomeUm() || t.depthUm < r.GetWallUm():
		return wrongUsage("--depth", "--depth is dome and wall together", "%s is less than the dome or the wall alone", measure.Length(t.depthUm))
	case given("dome") && given("wall"):
		if t.depthUm != r.GetDomeUm()+r.GetWallUm() {
			return wrongUsage("--depth", "give two of --depth, --dome and --wall", "%s is not --dome and --wall together", measure.Length(t.depthUm))
		}
	case given("wall") && r.GetTop() != cutterv1.TopForm_TOP_FORM_FLAT:
		r.DomeUm = t.depthUm - r.GetWallUm()
	case given("dome") || r.GetTop() == cutterv1.TopForm_TOP_FORM_FLAT:
		r.WallUm = t.depthUm - r.GetDomeUm()
	default:
		return wrongUsage("--dome", "give it, or --wall; both together are --depth", "is needed where the top is no flat one")
	}
	return nil
}

func printStoneEstimate(w io.Writer, r *cutterv1.EstimateStoneRequest, a *cutterv1.EstimateStoneResponse) error {
	sayLong(w, "A %s %s, %s top, %s deep, %s mm² of face, would weigh %s.", word(r.GetKind()), word(r.GetOutline()), word(r.GetTop()), measure.Length(a.GetDepthUm()), mm2(a.GetFaceUm2()), roughly(a.GetMassUg()))
	t := table.New(text("layer"), right("gravity"), right("mm³"), right("g"), right("ct"))
	row := func(name, gravity string, volume, mass int64) {
		t.Row(name, gravity, fmt.Sprintf("%.1f", measure.Volume(volume).CubicMillimetres()), bare(roughly(mass)), bare(measure.Mass(mass).Carats()))
	}
	for i, l := range a.GetLayers() {
		asked := r.GetLayers()[i]
		name := "all of it"
		switch {
		case asked.GetThicknessUm() > 0:
			name = "the top " + measure.Length(asked.GetThicknessUm()).String()
		case i > 0:
			name = "what is under it"
		}
		row(name, measure.SGMilli(asked.GetSgMilli()).String(), l.GetVolumeUm3(), l.GetMassUg())
	}
	if len(a.GetLayers()) > 1 {
		row("together", "", a.GetVolumeUm3(), a.GetMassUg())
	}
	if _, err := t.WriteTo(w); err != nil {
		return err
	}
	if q := a.GetQuick(); q != nil {
		sayLong(w, "Its length, width and depth alone would say %s, and leave open anything from %s to %s.", roughly(q.GetMassUg()), bareUnit(q.GetLeastUg()), bareUnit(q.GetMostUg()))
	}
	if ppm := a.GetErrorPpm(); ppm >= 1_000 {
		say(w, "The volume is off from that shape's by at most %s.", hundredths((ppm+99)/100))
	}
	say(w, "Estimated from the shape as given; the scale has the last word.")
	return nil
}

// bareUnit is an estimated mass in grams only.
func bareUnit(ug int64) string { return measure.Mass(roundTo(ug, 1_000)).OnScale(1_000) }

// parseLayer reads "1.3, 2.1" or, for the last layer, "2.1".
func parseLayer(text string) (*cutterv1.StoneLayer, error) {
	thickness, gravity, two := strings.Cut(text, ",")
	if !two {
		thickness, gravity = "0", text
	}
	um, err := parseMm(thickness)
	if err != nil {
		return nil, err
	}
	sg, err := parseGravity(gravity)
	return &cutterv1.StoneLayer{ThicknessUm: um, SgMilli: sg}, err
}

// parseBevel reads "0.5" or "0.5x0.4": in, and up the wall.
func parseBevel(text string) (both [2]int64, err error) {
	in, up, two := strings.Cut(strings.ReplaceAll(text, "×", "x"), "x")
	if !two {
		up = in
	}
	if both[0], err = parseMm(in); err == nil {
		both[1], err = parseMm(up)
	}
	return both, err
}

// parseRing reads "0 0, 14 1, 12 9".
func parseRing(text string) (ring []*typev1.Point, err error) {
	rows, err := parseRows(text, 2, "0 0, 14 1, 12 9, 2 8")
	for _, row := range rows {
		ring = append(ring, &typev1.Point{XUm: row[0], YUm: row[1]})
	}
	return ring, err
}

// parseHeights reads "3 3 2.6, 9 5 3.1": where, and how high.
func parseHeights(text string) (heights []*cutterv1.FaceHeight, err error) {
	rows, err := parseRows(text, 3, "3 3 2.6, 9 5 3.1")
	for _, row := range rows {
		heights = append(heights, &cutterv1.FaceHeight{At: &typev1.Point{XUm: row[0], YUm: row[1]}, HeightUm: row[2]})
	}
	return heights, err
}

// parseRows reads rows of millimetres, which may be below zero.
func parseRows(text string, columns int, example string) (rows [][]int64, err error) {
	for part := range strings.SplitSeq(text, ",") {
		var row []int64
		for _, word := range strings.Fields(part) {
			number, negative := strings.CutPrefix(word, "-")
			um, err := parseMm(number)
			if err != nil {
				return nil, err
			}
			if negative {
				um = -um
			}
			row = append(row, um)
		}
		if len(row) != columns {
			return nil, fmt.Errorf("%q: write %d numbers of millimetres between commas, such as %q", strings.TrimSpace(part), columns, example)
		}
		rows = append(rows, row)
	}
	return rows, nil
}

func (s *session) estimateGravityCommand() *cobra.Command {
	var air, water, scale measure.Mass
	r := &cutterv1.EstimateGravityRequest{}
	c := &cobra.Command{
		Use:   "gravity --air MASS --water MASS --sound",
		Short: "A stone's specific gravity, weighed in air and in water",
		Long: `Estimates a specific gravity from a stone's mass in air and hanging in water, and what
the scale leaves open. With --opal and --rock it says how much of the stone is opal.

` + measure.WaterCaution + ` --sound says that you know it is none of these.`,
		Example: `  seamshare estimate gravity --air "2.40 g" --water "1.26 g" --sound
  seamshare estimate gravity --air "12.06 ct" --water "7.71 ct" --sound \
    --scale "0.01 ct" --opal 2.1 --rock 3.2`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			r.Air, r.Water = weighing(air, scale), weighing(water, scale)
			answer, err := reckoned(r, estimate.Gravity, map[string]string{
				"air": "--air", "water": "--water", "air.division_ug": "--scale", "water.division_ug": "--scale", "sound": "--sound", "opal_sg_milli": "--opal", "rock_sg_milli": "--rock",
			})
			if err != nil {
				return err
			}
			return s.estimated(answer, func(w io.Writer) error {
				sayLong(w, "Specific gravity %s; the scale leaves open %s to %s.", measure.SGMilli(answer.GetSgMilli()), measure.SGMilli(answer.GetLeastMilli()), measure.SGMilli(answer.GetMostMilli()))
				if answer.OpalVolumePpm != nil {
					sayLong(w, "Of opal at %s and rock at %s, about %s of its volume and %s of its mass would be opal.", measure.SGMilli(r.GetOpalSgMilli()), measure.SGMilli(r.GetRockSgMilli()), millionths(answer.GetOpalVolumePpm()), millionths(answer.GetOpalMassPpm()))
				}
				sayLong(w, "%s", answer.GetCaution())
				return nil
			})
		},
	}
	massFlag(c, &air, "air", "its mass in air, dry")
	massFlag(c, &water, "water", "its mass hanging in water")
	scaleFlag(c, &scale, "0.01 g")
	c.Flags().BoolVar(&r.Sound, "sound", false, "it is known to be neither hydrophane nor cracked nor porous")
	gravityFlag(c, &r.OpalSgMilli, "opal", "the specific gravity of its opal")
	gravityFlag(c, &r.RockSgMilli, "rock", "the specific gravity of its rock")
	need(c, "air", "water")
	together(c, "opal", "rock")
	return c
}

func (s *session) estimateSlabsCommand() *cobra.Command {
	r := &cutterv1.EstimateSlabsRequest{}
	c := &cobra.Command{
		Use:   "slabs --thickness MM --slab MM --kerf MM",
		Short: "How many slabs a block gives, and what the saw takes",
		Long: `Estimates how many slabs of one thickness a block gives, how thick an off-cut the last
cut frees, and what the saw turns to mud: with --face, the section that each cut goes
through, and --gravity, that of what is sawn (of mixed rough its weighed mass over its
volume), also as a mass.

` + strings.TrimSpace(safetyLine),
		Example: `  seamshare estimate slabs --thickness 22 --slab 4 --kerf 0.6
  seamshare estimate slabs --thickness 22 --slab 4 --kerf 0.6 \
    --face "440 mm2" --gravity 2.6`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			answer, err := reckoned(r, estimate.Slabs, map[string]string{"thickness_um": "--thickness", "slab_um": "--slab", "kerf_um": "--kerf", "face_um2": "--face", "sg_milli": "--gravity", "lean_mdeg": "--lean"})
			if err != nil {
				return err
			}
			return s.estimated(answer, func(w io.Writer) error {
				sayLong(w, "%s of %s and an off-cut of %s, in %s; the saw turns %s to mud.", count(int(answer.GetSlabs()), "slab"), measure.Length(r.GetSlabUm()), measure.Length(answer.GetOffcutUm()), count(int(answer.GetCuts()), "cut"), measure.Length(answer.GetKerfUm()))
				if answer.KerfLossUg != nil {
					say(w, "Lost to the saw, estimated: %s.", roughly(answer.GetKerfLossUg()))
				}
				sayCaution(w)
				return nil
			})
		},
	}
	mmFlag(c, &r.ThicknessUm, "thickness", "how thick the block is")
	mmFlag(c, &r.SlabUm, "slab", "how thick a slab is to be")
	mmFlag(c, &r.KerfUm, "kerf", "the blade's kerf, measured")
	faceFlag(c, &r.FaceUm2, "face", "the section that each cut goes through")
	gravityFlag(c, &r.SgMilli, "gravity", "the specific gravity of what is sawn")
	c.Flags().Var(&parsed[int64]{into: &r.LeanMdeg, parse: parseLean, kind: "degrees"}, "lean", "how far the cuts lean from that section")
	need(c, "thickness", "slab", "kerf")
	together(c, "face", "gravity")
	return c
}
