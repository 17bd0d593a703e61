package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
)

func (s *session) stockCommand() *cobra.Command {
	var outline typev1.Outline
	var f jewellerv1.StockFilter
	c := &cobra.Command{
		Use:   "stock [filters]",
		Short: "Look through the stones on sale (jeweller)",
		Long: `Lists the stones on sale, oldest first. Each filter leaves out what it doesn't fit;
what you don't say doesn't matter, and bounds are included. A stone that wasn't
judged in what you ask for is left out.`,
		Example: `  seamshare stock --kind boulder --outline oval --min-length "10 mm" \
    --max-price "900.00 AUD" --available
  seamshare stock --set pair --max-body-tone 4
  seamshare stock lots`,
		Args: cobra.ArbitraryArgs,
	}
	p := pageFlags(c)
	wordFlag(c, &outline, "outline", "only this outline")
	wordFlag(c, &f.Kind, "kind", "only this kind of opal")
	wordFlag(c, &f.SetKind, "set", "only pairs, or only suites")
	c.Flags().BoolVar(&f.Available, "available", false, "only what you can have now")
	c.Flags().Uint32Var(&f.MinBodyTone, "min-body-tone", 0, "the darkest, 1 to 9")
	c.Flags().Uint32Var(&f.MaxBodyTone, "max-body-tone", 0, "the lightest, 1 to 9")
	wordFlag(c, &f.Transparency, "transparency", "only this")
	wordFlag(c, &f.Pattern, "pattern", "only this pattern")
	wordFlag(c, &f.Brightness, "brightness", "only this")
	c.Flags().StringVar(&f.Colours, "colours", "", "a `word` that its colours hold, such as green")
	moneyFlag(c, &f.MinPrice, "min-price", "the lowest price of a stone")
	moneyFlag(c, &f.MaxPrice, "max-price", "the highest price of a stone")
	var leastMass, mostMass measure.Mass
	massFlag(c, &leastMass, "min-mass", "the least mass, such as \"2 ct\"")
	massFlag(c, &mostMass, "max-mass", "the most mass")
	lengthFlag(c, &f.MinLengthUm, "min-length", "the shortest, such as \"10 mm\"")
	lengthFlag(c, &f.MaxLengthUm, "max-length", "the longest")
	lengthFlag(c, &f.MinWidthUm, "min-width", "the narrowest")
	lengthFlag(c, &f.MaxWidthUm, "max-width", "the widest")
	lengthFlag(c, &f.MaxDepthUm, "max-depth", "the deepest")
	wordFlag(c, &f.Treatment, "treatment", "only what this was done to")
	wordFlag(c, &f.Hydrophane, "hydrophane", "whether it takes up water")
	wordFlag(c, &f.Composite, "composite", "whether it is assembled")
	c.RunE = func(c *cobra.Command, args []string) error {
		if len(args) > 0 {
			return knownOnly(c, args)
		}
		f.MinMassUg, f.MaxMassUg = int64(leastMass), int64(mostMass)
		return look(c, s, func(q call) (*jewellerv1.ListStockResponse, error) {
			return jewellerv1.NewJewellerServiceClient(q.conn).ListStock(q.ctx, &jewellerv1.ListStockRequest{PageSize: p.rows, PageToken: p.token, Outline: outline, Filter: &f})
		}, func(w io.Writer, a *jewellerv1.ListStockResponse) error {
			return printStock(w, a.GetStones(), a.GetNextPageToken())
		})
	}
	c.AddCommand(s.stockLotsCommand())
	return c
}

func (s *session) stockLotsCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "lots",
		Short: "Look through the counted lots on sale (jeweller)",
		Long: `Lists counted lots of low-end stones or rough that sell by the carat or the piece.
Order a portion of one with seamshare order place --lot.`,
		Example: "  seamshare stock lots",
		Args:    exactly(),
	}
	p := pageFlags(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		return look(c, s, func(q call) (*jewellerv1.ListLotsOnSaleResponse, error) {
			return jewellerv1.NewJewellerServiceClient(q.conn).ListLotsOnSale(q.ctx, &jewellerv1.ListLotsOnSaleRequest{PageSize: p.rows, PageToken: p.token})
		}, func(w io.Writer, a *jewellerv1.ListLotsOnSaleResponse) error {
			if len(a.GetLots()) == 0 {
				say(w, "No lots.")
			} else {
				t := table.New(text("lot"), wrapped("what"), right("left"), right("ct"), right("g"), right("price"))
				for _, l := range a.GetLots() {
					t.Row(l.GetId(), sentence(l.GetLabel(), word(l.GetKind()), treatmentWords(l.GetTreatment()), l.GetRemarks()), fmt.Sprint(l.GetCount()),
						bare(carats(l.GetWeighing())), bare(grams(l.GetWeighing())), amount.Text(l.GetPrice())+" a "+word(l.GetUnit()))
				}
				if _, err := t.WriteTo(w); err != nil {
					return err
				}
			}
			more(w, a.GetNextPageToken())
			return nil
		})
	}
	return c
}

func printStock(w io.Writer, stones []*typev1.Stone, next string) error {
	switch {
	case len(stones) > 0:
		t := table.New(text("stone"), wrapped("what"), right("ct"), right("g"), right("price"))
		for _, s := range stones {
			g := s.GetGrade()
			t.Row(s.GetId(), sentence(s.GetLabel(), word(s.GetKind()), word(s.GetOutline()), size(s.GetSize()), tone(g.GetBodyTone()), word(g.GetTransparency()),
				word(g.GetBrightness()), word(g.GetPattern()), g.GetColours(), setWords(s), availability(s)), s.GetCarat(), bare(grams(s.GetWeighing())), amount.Text(s.GetPrice()))
		}
		if _, err := t.WriteTo(w); err != nil {
			return err
		}
	case next != "":
		say(w, "No stones on this page.")
	default:
		say(w, "No stones.")
	}
	more(w, next)
	return nil
}

// sentence strings together what was said.
func sentence(said ...string) string {
	var all []string
	for _, s := range said {
		if s != "" {
			all = append(all, s)
		}
	}
	return strings.Join(all, ", ")
}

func tone(n uint32) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("N%d", n)
}

// setWords says what a stone is offered in, and with which others.
func setWords(s *typev1.Stone) string {
	if s.GetSetId() == "" {
		return ""
	}
	var others []string
	for _, id := range s.GetSetStoneIds() {
		if id != s.GetId() {
			others = append(others, id)
		}
	}
	return word(s.GetSetKind()) + " with " + strings.Join(others, " ")
}

// availability says whether a jeweller can have a stone.
func availability(s *typev1.Stone) string {
	switch s.GetAvailability() {
	case typev1.Availability_AVAILABILITY_HELD_BY_YOU:
		return "held by you until " + s.GetHeldUntil()
	case typev1.Availability_AVAILABILITY_NOT_AVAILABLE:
		return "not to be had now"
	}
	return ""
}
