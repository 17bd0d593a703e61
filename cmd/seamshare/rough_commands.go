package main

import (
	"io"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/piecelist"
	"seamshare.example/cmd/seamshare/internal/table"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	"seamshare.example/services/domain/measure"
)

func (s *session) roughCommand() *cobra.Command {
	return group("rough", "Rough of your own, sold on as a new parcel (cutter)", s.roughListCommand(), s.roughTakeBackCommand())
}

func (s *session) roughListCommand() *cobra.Command {
	var l listing
	c := &cobra.Command{
		Use:   "list --from FILE.csv --label NAME --total MASS …",
		Short: "Put uncut rough and off-cuts on the market anew (cutter)",
		Long: `Puts a new parcel on the market, made of uncut pieces and off-cuts of parcels that you
bought outright. The CSV file (columns piece, part, label, mass_g, length_mm,
width_mm, depth_mm, seen; seamshare help pieces) names each part, weighed again. The
origin of each is kept. You are its seller then: the seller's commands are yours, and
lists show it with --as miner.`,
		Example: `  seamshare rough list --from rough.csv --label "Off-cuts 1" \
    --total "11.20 g" --agreement outright.json --treatment none-known`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error { return s.listRough(c, l) },
	}
	l.flags(c)
	for _, name := range []string{"mined", "split"} { // each piece is of its own day
		if err := c.Flags().MarkHidden(name); err != nil {
			panic(err) // the flag was defined just before
		}
	}
	need(c, "from", "label", "total", "agreement", "treatment")
	return c
}

func (s *session) listRough(c *cobra.Command, l listing) error {
	pieces, err := s.readPieces(l.from, piecelist.Options{Form: piecelist.Rough, ByteOrderMark: l.allowBOM})
	if err != nil {
		return err
	}
	agreement, err := s.readAgreement(l.agreement)
	if err != nil {
		return err
	}
	return change(c, s, func(q call) (*cutterv1.PublishRoughResponse, error) {
		return cutterv1.NewCutterServiceClient(q.conn).PublishRough(q.ctx, &cutterv1.PublishRoughRequest{
			RequestId: q.requestID, Label: l.label, Lines: roughLines(pieces, l.scale), Total: weighing(l.total, l.scale), Treatment: l.treatment,
			KeptWet: l.keptWet, Note: l.note, OpenAtAsking: l.openAtAsking, Agreement: agreement,
		})
	}, func(w io.Writer, a *cutterv1.PublishRoughResponse) error { return printParcel(w, a.GetParcel()) })
}

func roughLines(pieces []piecelist.Piece, scale measure.Mass) []*cutterv1.RoughLine {
	lines := make([]*cutterv1.RoughLine, len(pieces))
	for i, p := range pieces {
		lines[i] = &cutterv1.RoughLine{PieceId: p.From, Part: p.Part, Label: p.Label, Weighing: weighing(p.Mass, scale), Size: sizeOf(p), Seen: p.Seen}
	}
	return lines
}

func (s *session) roughTakeBackCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "take-back PARCEL",
		Short: "Bring such rough back to where it came from (cutter)",
		Long: `Brings the rough of a parcel that you made, once withdrawn, back to the pieces it came
from. The parcel is closed.`,
		Example: `  seamshare rough take-back PARCEL`,
		Args:    exactly("PARCEL"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.TakeRoughBackResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).TakeRoughBack(q.ctx, &cutterv1.TakeRoughBackRequest{RequestId: q.requestID, ParcelId: args[0]})
			}, func(w io.Writer, a *cutterv1.TakeRoughBackResponse) error {
				t := table.New(text("piece"), text("part"), right("mass"), right("carats"))
				for _, p := range a.GetParts() {
					t.Row(p.GetPieceId(), p.GetPart(), grams(p.GetWeighing()), carats(p.GetWeighing()))
				}
				_, err := t.WriteTo(w)
				return err
			})
		},
	}
}
