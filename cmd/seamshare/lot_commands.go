package main

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	gmoney "google.golang.org/genproto/googleapis/type/money"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
)

func (s *session) lotCommand() *cobra.Command {
	return group("lot", "Counted lots of the low end, by the carat or the piece (cutter)",
		s.lotMakeCommand(), s.lotSellCommand(), s.lotOffSaleCommand(), s.lotUnmakeCommand(), s.lotShowCommand(), s.lotListCommand(), s.lotChainCommand())
}

// ofLot is an answer that shows a lot.
type ofLot interface{ GetLot() *typev1.Lot }

func showLot[A ofLot](w io.Writer, a A) error { return printLot(w, a.GetLot()) }

// lotSource is one thing that goes into a lot, as typed; its mass is on the scale of --scale.
type lotSource struct {
	source *typev1.LotSource
	mass   measure.Mass
}

// parseLotSource reads "PIECE/PART", "stone/STONE", with ":COUNT" for chips and "=MASS" where it was weighed again.
func parseLotSource(typed string) (lotSource, error) {
	out := lotSource{source: &typev1.LotSource{Count: 1}}
	rest, massText, weighed := strings.Cut(typed, "=")
	if weighed {
		var err error
		if out.mass, err = parseMass(massText); err != nil {
			return out, err
		}
	}
	rest, countText, counted := strings.Cut(rest, ":")
	if counted {
		n, err := strconv.ParseUint(countText, 10, 32)
		if err != nil || n < 1 {
			return out, fmt.Errorf("%q: %q is no count of chips", typed, countText)
		}
		out.source.Count = uint32(n)
	}
	of, name, ok := strings.Cut(rest, "/")
	switch {
	case !ok || of == "" || name == "":
		return out, fmt.Errorf("%q: write PIECE/PART or stone/STONE, and :COUNT behind it for chips, =MASS where weighed again", typed)
	case of == "stone":
		out.source.StoneId = name
	default:
		out.source.PieceId, out.source.Part = of, name
	}
	return out, nil
}

func (s *session) lotMakeCommand() *cobra.Command {
	var r cutterv1.MakeLotRequest
	var mass, scale measure.Mass
	c := &cobra.Command{
		Use:   "make LABEL THING… --mass MASS --treatment WORD",
		Short: "Make a counted lot of parts and stones of one parcel",
		Long: `Makes a counted lot of what isn't worth a name of its own, all of one parcel. A
thing is a part, as PIECE/PART, or a stone, as stone/STONE; behind a line of chips
stands their count, as PIECE/PART:9; behind what was weighed again its mass, as
PIECE/PART=1.15g. --mass is all of it, weighed together.`,
		Example: `  seamshare lot make "chips" PIECE-1/1O PIECE-2/chips:9=22.58g stone/STONE \
    --mass "24.34 g" --treatment none-known`,
		Args: atLeastOne("LABEL", "THING"),
		RunE: func(c *cobra.Command, args []string) error {
			for _, typed := range args[1:] {
				one, err := parseLotSource(typed)
				if err != nil {
					return wrongInput("THING", "see "+c.CommandPath()+" --help", "%v", err)
				}
				if one.mass > 0 {
					one.source.Weighing = weighing(one.mass, scale)
				}
				r.Sources = append(r.Sources, one.source)
			}
			return change(c, s, func(q call) (*cutterv1.MakeLotResponse, error) {
				r.RequestId, r.Label, r.Weighing = q.requestID, args[0], weighing(mass, scale)
				return cutterv1.NewCutterServiceClient(q.conn).MakeLot(q.ctx, &r)
			}, showLot)
		},
	}
	massFlag(c, &mass, "mass", "what it all weighs together")
	scaleFlag(c, &scale, "0.01 g")
	wordFlag(c, &r.Treatment, "treatment", "what was done to it")
	c.Flags().StringVar(&r.Remarks, "remarks", "", "what else is to be said")
	need(c, "mass", "treatment")
	return c
}

func (s *session) lotSellCommand() *cobra.Command {
	var price *gmoney.Money
	var unit typev1.Unit
	var etag string
	c := &cobra.Command{
		Use:     "sell LOT --price \"4.50 AUD\" --by carat",
		Short:   "Ask a price by the carat or the piece, or another one",
		Example: `  seamshare lot sell LOT --price "4.50 AUD" --by carat`,
		Args:    exactly("LOT"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.PutLotOnSaleResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).PutLotOnSale(q.ctx, &cutterv1.PutLotOnSaleRequest{RequestId: q.requestID, LotId: args[0], Unit: unit, Price: price, Etag: etag})
			}, showLot)
		},
	}
	moneyFlag(c, &price, "price", "the price of one carat or one piece, without tax")
	wordFlag(c, &unit, "by", "what the price is for")
	etagFlag(c, &etag, "lot")
	need(c, "price", "by")
	return c
}

func (s *session) lotOffSaleCommand() *cobra.Command {
	var why, etag string
	c := &cobra.Command{
		Use:     "off-sale LOT --why TEXT",
		Short:   "Take what is left of a lot off sale",
		Example: `  seamshare lot off-sale LOT --why "to be sorted again"`,
		Args:    exactly("LOT"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.TakeLotOffSaleResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).TakeLotOffSale(q.ctx, &cutterv1.TakeLotOffSaleRequest{RequestId: q.requestID, LotId: args[0], Why: why, Etag: etag})
			}, showLot)
		},
	}
	c.Flags().StringVar(&why, "why", "", "why")
	etagFlag(c, &etag, "lot")
	need(c, "why")
	return c
}

func (s *session) lotUnmakeCommand() *cobra.Command {
	var why, etag string
	var scale measure.Mass
	c := &cobra.Command{
		Use:   "unmake LOT [THING=MASS]… --why TEXT",
		Short: "Bring all of a lot back to where it came from, while none is sold",
		Long: `Brings all of a lot back to where it came from, while none of it is sold and as
many are there as went in. Where portions came back lighter, or a stock count found
less, weigh what goes back, each by itself, and name what weighs otherwise than it
went in, as lot make does: PIECE/PART:9=20.10g or stone/STONE=3.02ct. What it weighs
less stays unexplained in the parcel.`,
		Example: `  seamshare lot unmake LOT --why "one of them is worth finishing"
  seamshare lot unmake LOT PIECE/3:9=20.10g --why "two chips crumbled"`,
		Args: atLeastOne("LOT"),
		RunE: func(c *cobra.Command, args []string) error {
			r := cutterv1.UnmakeLotRequest{LotId: args[0], Why: why, Etag: etag}
			for _, typed := range args[1:] {
				one, err := parseLotSource(typed)
				if err == nil && one.mass == 0 {
					err = fmt.Errorf("%q: name what it weighs, as %s=9.24g", typed, typed)
				}
				if err != nil {
					return wrongInput("THING", "see "+c.CommandPath()+" --help", "%v", err)
				}
				one.source.Weighing = weighing(one.mass, scale)
				r.Weighed = append(r.Weighed, one.source)
			}
			return change(c, s, func(q call) (*cutterv1.UnmakeLotResponse, error) {
				r.RequestId = q.requestID
				return cutterv1.NewCutterServiceClient(q.conn).UnmakeLot(q.ctx, &r)
			}, showLot)
		},
	}
	scaleFlag(c, &scale, "0.01 g")
	c.Flags().StringVar(&why, "why", "", "why")
	etagFlag(c, &etag, "lot")
	need(c, "why")
	return c
}

func (s *session) lotShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "show LOT",
		Short:   "Look at one of your lots and what it was made of",
		Example: "  seamshare lot show LOT",
		Args:    exactly("LOT"),
		RunE: func(c *cobra.Command, args []string) error {
			return look(c, s, func(q call) (*cutterv1.GetLotResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).GetLot(q.ctx, &cutterv1.GetLotRequest{LotId: args[0]})
			}, showLot)
		},
	}
}

func (s *session) lotChainCommand() *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:   "chain LOT [--out FILE]",
		Short: "Trace all that went into a lot back to its fields",
		Long: `Shows the records that all of a lot came by, from the fields to the lot. Nobody
knows which of it a portion holds, so that its origin is all of these. With --out the
proof is written to a file that anyone can check without a server: seamshare verify
--chain FILE --key KEY. A lot of more than 500 records has none.

` + originLine,
		Example: "  seamshare lot chain LOT --out lot.chain",
		Args:    exactly("LOT"),
		RunE: func(c *cobra.Command, args []string) error {
			a, err := query(c.Context(), s, func(q call) (*coopv1.GetLotChainResponse, error) {
				return coopv1.NewCoopServiceClient(q.conn).GetLotChain(q.ctx, &coopv1.GetLotChainRequest{LotId: args[0]})
			})
			switch {
			case err != nil:
				return err
			case out != "" && len(a.GetFile()) == 0:
				return wrongUsage("--out", "leave it out, and read the records", "the chain has %d records, more than a file holds", len(a.GetLinks()))
			case out != "":
				if err := writeNewFile(out, a.GetFile()); err != nil {
					return err
				}
			}
			return s.answer(a, func(w io.Writer) error { return printChain(w, a, out) })
		},
	}
	c.Flags().StringVar(&out, "out", "", "write the proof to this new `file`")
	return c
}

func (s *session) lotListCommand() *cobra.Command {
	c := &cobra.Command{Use: "list", Short: "List your lots, oldest first", Example: "  seamshare lot list", Args: exactly()}
	p := pageFlags(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		return look(c, s, func(q call) (*cutterv1.ListLotsResponse, error) {
			return cutterv1.NewCutterServiceClient(q.conn).ListLots(q.ctx, &cutterv1.ListLotsRequest{PageSize: p.rows, PageToken: p.token})
		}, func(w io.Writer, a *cutterv1.ListLotsResponse) error {
			if len(a.GetLots()) == 0 && a.GetNextPageToken() == "" {
				say(w, "No lots.")
				return nil
			}
			t := table.New(text("lot"), wrapped("label"), wrapped("state"), right("left"), right("ct"), right("price"))
			for _, l := range a.GetLots() {
				t.Row(l.GetId(), l.GetLabel(), word(l.GetState()), fmt.Sprint(l.GetCount()), l.GetCarat(), unitPrice(l))
			}
			_, err := t.WriteTo(w)
			more(w, a.GetNextPageToken())
			return err
		})
	}
	return c
}

// unitPrice is "4.50 AUD a carat"; empty where none is asked.
func unitPrice(l *typev1.Lot) string {
	if l.GetPrice() == nil {
		return ""
	}
	return amount.Text(l.GetPrice()) + " a " + word(l.GetUnit())
}

func printLot(w io.Writer, l *typev1.Lot) error {
	say(w, "Lot %s (%s): %s", plain(l.GetLabel()), l.GetId(), word(l.GetState()))
	say(w, "  %d left of %d, %s (%s), %s", l.GetCount(), l.GetMadeCount(), grams(l.GetWeighing()), carats(l.GetWeighing()), word(l.GetKind()))
	unexplained := ""
	if l.GetUnexplainedUg() != 0 {
		unexplained = both(l.GetUnexplainedUg())
	}
	for _, f := range []struct{ name, value string }{
		{"price", unitPrice(l)},
		{"treatment", treatmentWords(l.GetTreatment())},
		{"weighings disagree by", unexplained},
		{"remarks", l.GetRemarks()},
		{"parcel", l.GetParcelId()},
		{"etag", l.GetEtag()},
	} {
		if f.value != "" {
			sayLong(w, "  %s: %s", f.name, plain(f.value))
		}
	}
	if len(l.GetSources()) == 0 {
		return nil
	}
	t := table.New(text("made of"), text("part"), right("count"), right("mass"), text("stone"))
	for _, src := range l.GetSources() {
		t.Row(src.GetPieceId(), src.GetPart(), fmt.Sprint(src.GetCount()), grams(src.GetWeighing()), src.GetStoneId())
	}
	_, err := t.WriteTo(w)
	return err
}
