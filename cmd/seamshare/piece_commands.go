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
)

func (s *session) pieceCommand() *cobra.Command {
	return group("piece", "Pieces of rough at the bench (cutter)",
		s.pieceListCommand(), s.pieceShowCommand(), s.pieceStudyCommand(), s.pieceWorkCommand(), s.piecePlaceCommand(),
		s.pieceAwaitCommand(), s.pieceDecideCommand(), s.pieceGradeCommand(),
		s.pieceLookAgainCommand(), s.pieceMixedUpCommand())
}

func (s *session) pieceListCommand() *cobra.Command {
	c := &cobra.Command{Use: "list PARCEL", Short: "List a parcel's pieces with what they were cut into", Args: exactly("PARCEL")}
	p := pageFlags(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		a, err := query(c.Context(), s, func(q call) (*cutterv1.ListPiecesResponse, error) {
			return cutterv1.NewCutterServiceClient(q.conn).ListPieces(q.ctx, &cutterv1.ListPiecesRequest{ParcelId: args[0], PageSize: p.rows, PageToken: p.token})
		})
		if err != nil {
			return err
		}
		return s.answer(a, func(w io.Writer) error {
			t := table.New(text("piece"), wrapped("label"), right("mass"), right("carats"), wrapped("parts now"))
			for _, one := range a.GetPieces() {
				var parts []string
				for _, part := range one.GetParts() {
					parts = append(parts, part.GetName()+" "+grams(part.GetWeighing())+" "+word(part.GetFate()))
				}
				t.Row(one.GetId(), one.GetLabel(), grams(one.GetWeighing()), carats(one.GetWeighing()), strings.Join(parts, ", "))
			}
			_, err := t.WriteTo(w)
			more(w, a.GetNextPageToken())
			return err
		})
	}
	return c
}

func (s *session) pieceShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "show PIECE",
		Short: "Look at a piece: its parts, what was lost and why",
		Args:  exactly("PIECE"),
		RunE: func(c *cobra.Command, args []string) error {
			a, err := query(c.Context(), s, func(q call) (*cutterv1.GetPieceResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).GetPiece(q.ctx, &cutterv1.GetPieceRequest{PieceId: args[0]})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error { return printPiece(w, a.GetPiece()) })
		},
	}
}

// benchStep are the flags of piece work.
type benchStep struct {
	outs      []partOut
	massIn    measure.Mass
	scale     measure.Mass
	reason    typev1.Reason
	how, note string
	areaUm2   int64
	etag      string

	notWeighed bool
	tray, dop  string
	done       stepDone
}

// partOut is one part that a step leaves, as typed: "1A=9.24g" or "1C2=1.15g:offcut".
type partOut struct {
	name string
	mass measure.Mass
	fate typev1.Fate
}

func (s *session) pieceWorkCommand() *cobra.Command {
	var b benchStep
	c := &cobra.Command{
		Use:   "work PIECE PART STEP [--out PARTS] [--loss-reason WORD]",
		Short: "Record a bench step: mass in, masses out, what was lost",
		Long: "Records a step that was done at the bench. STEP is one of:\n" + wrapList(choices[typev1.Step]()) + `
--out names the parts it left with their masses; ":offcut" or ":shelf" behind a
mass puts the part there. What is missing from the mass in was lost and needs a
--loss-reason. A part that is waste, broken or lost is "set-aside", without --out.
Where nothing was weighed, as on a dop or between two grits, say --not-weighed.

` + restLine + `
` + safetyLine,
		Example: `  seamshare piece work PIECE 1 saw --out "1A=9.24g,1B=23.44g" --loss-reason kerf
  seamshare piece work PIECE 1C trim --out "1E=1.42g,1F=1.1g:offcut" \
    --loss-reason waste
  seamshare piece work PIECE 1E dop --not-weighed --dop 7
  seamshare piece work PIECE 1E shape --out "1E=0.72g" \
    --loss-reason ground-off --minutes 40 --done-at "4 days ago"
  seamshare piece work PIECE 1B set-aside --loss-reason waste`,
		Args: exactly("PIECE", "PART", "STEP"),
		RunE: func(c *cobra.Command, args []string) error { return s.workPart(c, args, b) },
	}
	f := c.Flags()
	f.Var(&parsed[[]partOut]{into: &b.outs, parse: parseOuts, kind: "parts"}, "out", "the parts it left, such as \"1A=9.24g,1B=23.44g\"")
	massFlag(c, &b.massIn, "in", "the part weighed again before; without it, as last weighed")
	scaleFlag(c, &b.scale, "0.01 g")
	wordFlag(c, &b.reason, "loss-reason", "why mass was lost")
	f.StringVar(&b.how, "how", "", "where and how, such as \"in the section, along the seam\"")
	f.Var(&parsed[int64]{into: &b.areaUm2, parse: parseArea, kind: "area"}, "area", "the sawn area, such as \"108 mm2\"")
	f.BoolVar(&b.notWeighed, "not-weighed", false, "nothing was weighed; the part goes on at its last mass")
	f.StringVar(&b.tray, "tray", "", "the number on its tray")
	f.StringVar(&b.dop, "dop", "", "the number of its dop")
	b.done.flags(c, "sanded or polished")
	f.StringVar(&b.note, "note", "", "a note for your own use")
	etagFlag(c, &b.etag, "piece")
	return c
}

func (s *session) workPart(c *cobra.Command, args []string, b benchStep) error {
	step, err := parseWord[typev1.Step](args[2])
	if err != nil {
		return wrongInput("STEP", "", "%v", err)
	}
	a, err := command(c.Context(), s, func(q call) (*cutterv1.WorkPartResponse, error) {
		r := &cutterv1.WorkPartRequest{
			RequestId: q.requestID, PieceId: args[0], Part: args[1], Step: step, Reason: b.reason,
			How: b.how, AreaUm2: b.areaUm2, Note: b.note, Etag: b.etag,
			NotWeighed: b.notWeighed, Tray: b.tray, Dop: b.dop, Minutes: b.done.minutes, DoneAt: b.done.at, WhyEarly: b.done.whyEarly,
		}
		if b.massIn > 0 {
			r.MassIn = weighing(b.massIn, b.scale)
		}
		for _, out := range b.outs {
			r.PartsOut = append(r.PartsOut, &cutterv1.PartOut{Name: out.name, Weighing: weighing(out.mass, b.scale), Fate: out.fate})
		}
		return cutterv1.NewCutterServiceClient(q.conn).WorkPart(q.ctx, r)
	})
	if err != nil {
		return err
	}
	return s.answer(a, func(w io.Writer) error {
		err := printPiece(w, a.GetPiece())
		sayCaution(w)
		return err
	})
}

// parseOuts reads "1A=9.24g,1B=23.44g:offcut".
func parseOuts(typed string) ([]partOut, error) {
	var outs []partOut
	for one := range strings.SplitSeq(typed, ",") {
		name, rest, ok := strings.Cut(strings.TrimSpace(one), "=")
		if !ok || name == "" {
			return nil, fmt.Errorf("%q: write the part's name, =, and its mass, such as 1A=9.24g", one)
		}
		massText, fateText, placed := strings.Cut(rest, ":")
		mass, err := parseMass(massText)
		if err != nil {
			return nil, fmt.Errorf("part %s: %w", name, err)
		}
		out := partOut{name: name, mass: mass}
		if placed {
			if out.fate, err = parseFate(fateText); err != nil {
				return nil, fmt.Errorf("part %s: %w", name, err)
			}
		}
		outs = append(outs, out)
	}
	return outs, nil
}

// parseFate takes the places where a person may put a part; a stone is made with stone finish.
func parseFate(typed string) (typev1.Fate, error) {
	fate, err := parseWord[typev1.Fate](strings.TrimSpace(typed))
	if err != nil || fate == typev1.Fate_FATE_STONE {
		return 0, fmt.Errorf("%q: choose one of in-work, shelf, offcut", typed)
	}
	return fate, nil
}

func (s *session) piecePlaceCommand() *cobra.Command {
	var why, etag string
	c := &cobra.Command{
		Use:   "place PIECE PART (in-work | shelf | offcut)",
		Short: "Move a part between work, shelf and off-cuts",
		Args:  exactly("PIECE", "PART", "PLACE"),
		RunE: func(c *cobra.Command, args []string) error {
			fate, err := parseFate(args[2])
			if err != nil {
				return wrongInput("PLACE", "", "%v", err)
			}
			a, err := command(c.Context(), s, func(q call) (*cutterv1.PlacePartResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).PlacePart(q.ctx, &cutterv1.PlacePartRequest{
					RequestId: q.requestID, PieceId: args[0], Part: args[1], Fate: fate, Why: why, Etag: etag,
				})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error { return printPiece(w, a.GetPiece()) })
		},
	}
	c.Flags().StringVar(&why, "why", "", "why, such as \"wants a window first\"")
	etagFlag(c, &etag, "piece")
	return c
}

// wrapList sets words out over lines of a help page.
func wrapList(words []string) string {
	return "  " + strings.Join(table.Break(strings.Join(words, ", "), table.Width-4), "\n  ") + "\n"
}
