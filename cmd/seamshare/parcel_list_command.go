package main

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/piecelist"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
)

// listing are the flags of parcel list.
type listing struct {
	from, label, agreement, mined, split, note string
	total, scale                               measure.Mass
	treatment                                  typev1.Treatment
	openAtAsking, keptWet, allowBOM            bool
}

func (l *listing) flags(c *cobra.Command) {
	f := c.Flags()
	f.StringVar(&l.from, "from", "", "the CSV `file` with the pieces; - reads standard input")
	f.StringVar(&l.label, "label", "", "what you call the parcel, such as P1")
	massFlag(c, &l.total, "total", "the whole parcel weighed together, such as \"185.76 g\"")
	scaleFlag(c, &l.scale, "0.01 g")
	f.StringVar(&l.agreement, "agreement", "", "the JSON `file` with the agreement you propose")
	wordFlag(c, &l.treatment, "treatment", "what was done to the rough, as far as you know")
	f.BoolVar(&l.openAtAsking, "open-at-asking", false, "the first cutter to pay the asking price gets it, without an offer")
	f.BoolVar(&l.keptWet, "kept-wet", false, "the rough is kept wet")
	f.StringVar(&l.mined, "mined", "", "when it was mined, as far as is known")
	f.StringVar(&l.split, "split", "", "when it was split, as far as is known")
	f.StringVar(&l.note, "note", "", "what else is to be said; every cutter sees it")
	f.BoolVar(&l.allowBOM, "allow-bom", false, "read a CSV file that begins with a byte-order mark")
}

func (s *session) parcelListCommand() *cobra.Command {
	var l listing
	c := &cobra.Command{
		Use:   "list --from FILE.csv --label NAME --total MASS …",
		Short: "Put a parcel on the market (miner)",
		Long: `Puts a parcel on the market: one lot, one price, its pieces read from a CSV file
(seamshare help pieces) and the agreement you propose from a JSON file (seamshare
help agreements); its price is what you ask. The pieces' masses must add up to the
total as far as the scale can tell, or nothing is listed.

To look at parcels: parcel market (to buy), parcel mine (yours), parcel show. To
prepare a listing that isn't complete yet: seamshare draft.`,
		Example: `  seamshare parcel list --from pieces.csv --label P1 --total "185.76 g" \
    --agreement p1.json --treatment none-known --mined 2030 --split 2031-05`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error { return s.listParcel(c, l) },
	}
	l.flags(c)
	need(c, "from", "label", "total", "agreement", "treatment")
	return c
}

// listParcel reads and checks both files before it asks the server anything.
func (s *session) listParcel(c *cobra.Command, l listing) error {
	pieces, err := s.readPieces(l.from, piecelist.Options{ByteOrderMark: l.allowBOM})
	if err != nil {
		return err
	}
	agreement, err := s.readAgreement(l.agreement)
	if err != nil {
		return err
	}
	a, err := command(c.Context(), s, func(q call) (*minerv1.PublishParcelResponse, error) {
		claims, err := s.claims(q.ctx, q)
		if err != nil {
			return nil, asFailure(err) // nothing was sent yet that changes anything
		}
		lines, err := newPieces(pieces, l.scale, claims)
		if err != nil {
			return nil, err
		}
		return minerv1.NewMinerServiceClient(q.conn).PublishParcel(q.ctx, &minerv1.PublishParcelRequest{
			RequestId: q.requestID, Label: l.label, Pieces: lines, Total: weighing(l.total, l.scale), Treatment: l.treatment,
			KeptWet: l.keptWet, Mined: l.mined, Split: l.split, OpenAtAsking: l.openAtAsking, Agreement: agreement, Note: l.note,
		})
	})
	if err != nil {
		return err
	}
	return s.answer(a, func(w io.Writer) error { return printParcel(w, a.GetParcel()) })
}

func (s *session) readPieces(path string, o piecelist.Options) (_ []piecelist.Piece, err error) {
	f, err := s.openInput(path)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	pieces, err := piecelist.Read(f, o)
	if problems, ok := errors.AsType[piecelist.Problems](err); ok {
		return nil, piecesFailure(path, problems)
	}
	return pieces, err
}

// piecesFailure shows everything that is wrong with the file.
func piecesFailure(path string, problems piecelist.Problems) *failure {
	f := wrongInput(path, "correct the file and try again; seamshare help pieces shows the form", "%s", problems[0])
	if len(problems) > 1 {
		f.Message = fmt.Sprintf("%d things are wrong with the file; nothing was sent", len(problems))
		for _, p := range problems {
			where := ""
			if p.Line > 0 {
				where = fmt.Sprintf("line %d", p.Line)
				if p.Column != "" {
					where += ", column " + p.Column
				}
			}
			rule := p
			rule.Line = 0
			f.Problems = append(f.Problems, fieldProblem{where, rule.String()})
		}
	}
	return f
}

// newPieces are the pieces as the API has them. claims turns what the file names into ids.
func newPieces(pieces []piecelist.Piece, scale measure.Mass, claims map[string]string) ([]*minerv1.NewPiece, error) {
	out := make([]*minerv1.NewPiece, len(pieces))
	for i, p := range pieces {
		n := &minerv1.NewPiece{Label: p.Label, Count: p.Count, Seen: p.Seen, Size: sizeOf(p), SmallestUm: int64(p.Smallest), LargestUm: int64(p.Largest)}
		if p.Mass > 0 { // else not weighed yet: a draft's
			n.Weighing = weighing(p.Mass, scale)
		}
		switch p.Kind {
		case piecelist.Solid:
			n.Kind = typev1.Kind_KIND_SOLID
		case piecelist.Boulder:
			n.Kind = typev1.Kind_KIND_BOULDER
		case piecelist.Matrix:
			n.Kind = typev1.Kind_KIND_MATRIX
		}
		if p.Claim != "" {
			id, ok := claims[p.Claim]
			if !ok {
				known := slices.Sorted(maps.Keys(claims))
				return nil, wrongInput(fmt.Sprintf("line %d, column claim", p.Line),
					"record it with seamshare claim add, or leave the cell empty: the field is then not shown, and stays so",
					"%q is not one of your claims (%s)", p.Claim, strings.Join(known, ", "))
			}
			n.ClaimId = id
		}
		out[i] = n
	}
	return out, nil
}

func sizeOf(p piecelist.Piece) *typev1.Size {
	if p.Size == nil {
		return nil
	}
	return &typev1.Size{LengthUm: int64(p.Size.Length), WidthUm: int64(p.Size.Width), DepthUm: int64(p.Size.Depth)}
}
