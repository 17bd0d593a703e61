package main

import (
	"io"

	"github.com/spf13/cobra"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
)

// finalCheck are the flags of stone check.
type finalCheck struct {
	backFlat, wallEven, bevelClears, candled bool
	cornerUm                                 int64
	mass, scale                              measure.Mass
	size                                     *typev1.Size
	photo, light                             string
	wet                                      bool
	etag                                     string
}

func (s *session) stoneCheckCommand() *cobra.Command {
	var d finalCheck
	c := &cobra.Command{
		Use:   "check STONE --back-flat --wall-even --bevel-clears --candled …",
		Short: "Record the final check: what a bezel setting needs (cutter)",
		Long: `Records the final check, which every stone needs before it is sold: the back flat
and parallel to the face, the wall even in height, a bevel round the back that clears
the fillet at the foot of a bezel, no corner too sharp, looked through before a light
(candled), weighed, measured, and a photo with its light. What fails goes back to the
bench. A second person then confirms it (seamshare stone confirm).

The photo is a JPEG or PNG file, or the SHA-256 of one that was named before.`,
		Example: `  seamshare stone check STONE --back-flat --wall-even --bevel-clears \
    --candled --mass "3.04 ct" --size "12x9x3.0 mm" --photo face.jpg \
    --light "daylight, overcast"`,
		Args: exactly("STONE"),
		RunE: func(c *cobra.Command, args []string) error {
			a, err := command(c.Context(), s, func(q call) (*cutterv1.CheckStoneResponse, error) {
				photo, err := s.photoNamed(q, d.photo, d.light, d.wet)
				if err != nil {
					return nil, err
				}
				return cutterv1.NewCutterServiceClient(q.conn).CheckStone(q.ctx, &cutterv1.CheckStoneRequest{
					RequestId: q.requestID, StoneId: args[0], BackFlat: d.backFlat, WallEven: d.wallEven, BevelClears: d.bevelClears,
					Candled: d.candled, CornerRadiusUm: d.cornerUm, Weighing: weighing(d.mass, d.scale), Size: d.size, Photo: photo, Etag: d.etag,
				})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error { return printStone(w, a.GetStone()) })
		},
	}
	f := c.Flags()
	f.BoolVar(&d.backFlat, "back-flat", false, "the back is flat and parallel to the face")
	f.BoolVar(&d.wallEven, "wall-even", false, "the wall is even in height all round")
	f.BoolVar(&d.bevelClears, "bevel-clears", false, "the bevel clears the fillet of a bezel")
	f.BoolVar(&d.candled, "candled", false, "it was looked through before a light")
	lengthFlag(c, &d.cornerUm, "corner-radius", "the smallest radius of its corners, such as \"0.5 mm\"; without corners, leave it out")
	massFlag(c, &d.mass, "mass", "its mass")
	scaleFlag(c, &d.scale, "0.01 ct")
	sizeFlag(c, &d.size, "size", "length, width and depth, such as \"12x9x3.0 mm\"")
	f.StringVar(&d.photo, "photo", "", "its picture: a `file`")
	f.StringVar(&d.light, "light", "", "the light it was taken in")
	f.BoolVar(&d.wet, "wet", false, "it was taken wet")
	etagFlag(c, &d.etag, "stone")
	need(c, "mass", "size", "photo", "light")
	return c
}

func (s *session) stoneConfirmCommand() *cobra.Command {
	var etag string
	c := &cobra.Command{
		Use:   "confirm STONE",
		Short: "Confirm a final check as a second person (cutter, stock keeper)",
		Long: `Confirms a final check, as another person of the cutter's or as the co-op's stock
keeper. Look at the stone, not at the record alone: your word stands beside it.`,
		Args: exactly("STONE"),
		RunE: func(c *cobra.Command, args []string) error {
			a, err := command(c.Context(), s, func(q call) (*cutterv1.ConfirmStoneResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).ConfirmStone(q.ctx, &cutterv1.ConfirmStoneRequest{RequestId: q.requestID, StoneId: args[0], Etag: etag})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error { return printStone(w, a.GetStone()) })
		},
	}
	etagFlag(c, &etag, "stone")
	return c
}

func (s *session) stoneRegradeCommand() *cobra.Command {
	var grade typev1.Grade
	var class, why, etag string
	c := &cobra.Command{
		Use:   "regrade STONE --why TEXT [--pattern WORD …]",
		Short: "Revise a stone's grade (cutter)",
		Long: `Revises a stone's grade: all of it is given anew, what is left out is not judged.
A grade has no total and is no price.`,
		Example: `  seamshare stone regrade STONE --body-tone 4 --pattern flagstone \
    --brightness clear --class middle --why "judged again in daylight"`,
		Args: exactly("STONE"),
		RunE: func(c *cobra.Command, args []string) error {
			a, err := command(c.Context(), s, func(q call) (*cutterv1.RegradeStoneResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).RegradeStone(q.ctx, &cutterv1.RegradeStoneRequest{
					RequestId: q.requestID, StoneId: args[0], Grade: &grade, Class: class, Why: why, Etag: etag,
				})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error { return printStone(w, a.GetStone()) })
		},
	}
	gradeFlags(c, &grade, &class)
	c.Flags().StringVar(&why, "why", "", "why")
	etagFlag(c, &etag, "stone")
	need(c, "why")
	return c
}

func (s *session) stoneRecutCommand() *cobra.Command {
	var d finished
	var reason typev1.Reason
	var minutes uint32
	var why, etag string
	c := &cobra.Command{
		Use:   "recut STONE --mass MASS --size SIZE --outline WORD …",
		Short: "Give a stone that was cut again its new facts (cutter)",
		Long: `Records that a stone was cut again, as after a chip or a return. It stays the same
stone and has new facts; papers from before are void, and it is checked and confirmed
again before it is sold.

` + safetyLine,
		Example: `  seamshare stone recut STONE --mass "2.71 ct" --size "11x8.5x2.9 mm" \
    --outline oval --loss-reason chipped-edge --why "an edge chipped"`,
		Args: exactly("STONE"),
		RunE: func(c *cobra.Command, args []string) error {
			a, err := command(c.Context(), s, func(q call) (*cutterv1.RecutStoneResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).RecutStone(q.ctx, &cutterv1.RecutStoneRequest{
					RequestId: q.requestID, StoneId: args[0], Weighing: weighing(d.mass, d.scale), Size: d.size, Outline: d.outline,
					Grade: &d.grade, Remarks: d.remarks, Reason: reason, Why: why, Minutes: minutes, Etag: etag,
				})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error { return printStone(w, a.GetStone()) })
		},
	}
	f := c.Flags()
	massFlag(c, &d.mass, "mass", "its mass now")
	scaleFlag(c, &d.scale, "0.01 ct")
	sizeFlag(c, &d.size, "size", "length, width and depth now")
	wordFlag(c, &d.outline, "outline", "its outline now")
	judgedFlags(c, &d.grade)
	f.StringVar(&d.remarks, "remarks", "", "what else is to be said")
	wordFlag(c, &reason, "loss-reason", "why mass was lost")
	f.Uint32Var(&minutes, "minutes", 0, "minutes at the bench")
	f.StringVar(&why, "why", "", "why it was cut again")
	etagFlag(c, &etag, "stone")
	need(c, "mass", "size", "outline", "why")
	return c
}

func (s *session) stoneOffSaleCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "off-sale STONE",
		Short: "Take a stone off sale, and the pair or suite it is in (cutter)",
		Args:  exactly("STONE"),
		RunE: func(c *cobra.Command, args []string) error {
			a, err := command(c.Context(), s, func(q call) (*cutterv1.TakeOffSaleResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).TakeOffSale(q.ctx, &cutterv1.TakeOffSaleRequest{RequestId: q.requestID, StoneId: args[0]})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error { return printStone(w, a.GetStone()) })
		},
	}
}
