package main

import (
	"io"
	"strings"

	"github.com/spf13/cobra"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

func (s *session) setCommand() *cobra.Command {
	offer := &cobra.Command{
		Use:   "offer (pair | suite) \"STONE=PRICE\"…",
		Short: "Put stones on sale together, with a price for each",
		Long: `Puts checked stones on sale as a matched pair, or as a suite of three or more. They
go together or not at all; each has its own price, which a part return needs. Take
them off sale with seamshare stone off-sale, any of them for all.`,
		Example: `  seamshare set offer pair "STONE-1=740.00 AUD" "STONE-2=740.00 AUD"`,
		Args:    atLeastOne("KIND", "STONE=PRICE"),
		RunE: func(c *cobra.Command, args []string) error {
			kind, err := parseWord[typev1.SetKind](args[0])
			if err != nil {
				return wrongInput("KIND", "", "%v", err)
			}
			var stones []*cutterv1.SetStone
			for _, typed := range args[1:] {
				id, priceText, ok := strings.Cut(typed, "=")
				price, err := parseAmount(priceText)
				if !ok || id == "" || err != nil {
					return wrongInput("STONE=PRICE", "", "%q: write the stone's id, =, and its price, such as \"STONE=740.00 AUD\"", typed)
				}
				stones = append(stones, &cutterv1.SetStone{StoneId: id, Price: price})
			}
			return change(c, s, func(q call) (*cutterv1.OfferSetResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).OfferSet(q.ctx, &cutterv1.OfferSetRequest{RequestId: q.requestID, Kind: kind, Stones: stones})
			}, func(w io.Writer, a *cutterv1.OfferSetResponse) error { return printStones(w, a.GetStones(), "") })
		},
	}
	return group("set", "Matched pairs and suites (cutter)", offer)
}
