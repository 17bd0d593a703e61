package main

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	gmoney "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/protobuf/encoding/protojson"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// previewed is what one offer would bring; without an offer, what the seller proposes.
type previewed struct {
	offer   *typev1.Offer
	preview *minerv1.Preview
}

func (s *session) offerPreviewCommand() *cobra.Command {
	var sales *gmoney.Money
	var stones uint32
	var costs []string
	c := &cobra.Command{
		Use:   "preview PARCEL [OFFER …] --sales AMOUNT",
		Short: "See side by side what each offer would bring (the parcel's seller)",
		Long: `Shows side by side what each party would have under what you propose and under each
open offer, or under the offers that you name, if the stones sold for --sales
together. With one offer it shows how each amount comes about. It is an estimate, and
nothing is recorded. Costs are those recorded so far, or what you assume with --cost.`,
		Example: `  seamshare offer preview PARCEL --sales "3607.50 AUD" --stones 9
  seamshare offer preview PARCEL --sales "3607.50 AUD" \
    --cost "freight=38.50 AUD"`,
		Args: atLeastOne("PARCEL"),
		RunE: func(c *cobra.Command, args []string) error {
			assumed, err := parseCosts(costs)
			if err != nil {
				return err
			}
			ask := &minerv1.PreviewOfferRequest{ParcelId: args[0], AssumedSales: sales, AssumedStones: stones, AssumedCosts: assumed}
			all, err := query(c.Context(), s, func(q call) ([]previewed, error) { return previews(q, ask, args[1:]) })
			if err != nil {
				return err
			}
			if s.printID {
				return wrongUsage("--print-id", "leave it out here", "this command's answer has no id")
			}
			document, err := previewDocument(all)
			if err != nil {
				return err
			}
			return s.document(document, func(w io.Writer) error { return printPreviews(w, all, max(stones, 1), assumed) })
		},
	}
	moneyFlag(c, &sales, "sales", "what all stones together are assumed to sell for")
	c.Flags().Uint32Var(&stones, "stones", 1, "how many stones that is, all at one price")
	c.Flags().StringArrayVar(&costs, "cost", nil, "what the co-op is assumed to lay out, as `KIND=AMOUNT`; again for each kind")
	need(c, "sales")
	return c
}

// parseCosts reads "freight=38.50 AUD".
func parseCosts(typed []string) (all []*minerv1.AssumedCost, err error) {
	for _, one := range typed {
		kind, money, ok := strings.Cut(one, "=")
		if !ok {
			return nil, wrongUsage("--cost", "write it as \"freight=38.50 AUD\"", "%q must be a kind of cost, =, and its amount", one)
		}
		assumed, err := parseAmount(strings.TrimSpace(money))
		if err != nil {
			return nil, wrongInput("--cost", "write it as \"freight=38.50 AUD\"", "%v", err)
		}
		all = append(all, &minerv1.AssumedCost{Kind: strings.TrimSpace(kind), Amount: assumed})
	}
	return all, nil
}

// previews asks for the seller's own proposal and each open offer, or for the offers named.
func previews(q call, ask *minerv1.PreviewOfferRequest, offerIDs []string) ([]previewed, error) {
	miner := minerv1.NewMinerServiceClient(q.conn)
	offers, err := miner.ListOffers(q.ctx, &minerv1.ListOffersRequest{ParcelId: ask.GetParcelId()})
	if err != nil {
		return nil, err
	}
	wanted := []*typev1.Offer{}
	if len(offerIDs) == 0 {
		wanted = append(wanted, nil)
		for _, o := range offers.GetOffers() {
			if o.GetState() == typev1.OfferState_OFFER_STATE_OPEN {
				wanted = append(wanted, o)
			}
		}
	}
	for _, id := range offerIDs {
		i := slices.IndexFunc(offers.GetOffers(), func(o *typev1.Offer) bool { return o.GetId() == id })
		if i < 0 {
			return nil, &failure{Exit: exitRefused, Reason: "NOT_FOUND", Field: "OFFER", Message: fmt.Sprintf("%q is no offer for this parcel", id), Hint: "look at them with seamshare parcel offers"}
		}
		wanted = append(wanted, offers.GetOffers()[i])
	}
	all := make([]previewed, len(wanted))
	for i, o := range wanted {
		ask.OfferId = o.GetId()
		a, err := miner.PreviewOffer(q.ctx, ask)
		if err != nil {
			return nil, err
		}
		all[i] = previewed{o, a.GetPreview()}
	}
	return all, nil
}

type previewJSON struct {
	OfferID string          `json:"offer_id"`
	Preview json.RawMessage `json:"preview"`
}

func previewDocument(all []previewed) (any, error) {
	out := make([]previewJSON, len(all))
	for i, one := range all {
		data, err := protojson.MarshalOptions{UseProtoNames: true, EmitUnpopulated: true}.Marshal(one.preview)
		if err != nil {
			return nil, fmt.Errorf("couldn't write the answer as JSON: %w", err)
		}
		out[i] = previewJSON{one.offer.GetId(), data}
	}
	return struct {
		Previews []previewJSON `json:"previews"`
	}{out}, nil
}

// besides is how many offers stand beside each other in 80 columns.
const besides = 4

func printPreviews(w io.Writer, all []previewed, stones uint32, costs []*minerv1.AssumedCost) error {
	with := "with the costs recorded so far"
	if len(costs) > 0 {
		var each []string
		for _, c := range costs {
			each = append(each, plain(c.GetKind())+" "+amount.Text(c.GetAmount()))
		}
		with = "with assumed costs: " + strings.Join(each, ", ")
	}
	sayLong(w, "If the stones sell for %s, as %s at one price (an estimate, %s):", amount.Text(all[0].preview.GetAssumedSales()), count(int(stones), "stone"), with)
	for i, one := range all {
		if one.offer == nil {
			say(w, "  %d: as you propose it", i+1)
			continue
		}
		what := "offer"
		if one.offer.GetAnswersId() != "" {
			what = "your counter-offer"
		}
		say(w, "  %d: %s %s, %s", i+1, what, one.offer.GetId(), word(one.offer.GetState()))
	}
	for from := 0; from < len(all); from += besides {
		if err := printBeside(w, all[from:min(from+besides, len(all))], from); err != nil {
			return err
		}
	}
	sayLong(w, "What the cutter has is before the price, which they pay.")
	if len(all) > 1 {
		return nil
	}
	return printSteps(w, all[0].preview.GetSteps())
}

// printBeside prints a few previews as columns, numbered from first on.
func printBeside(w io.Writer, some []previewed, first int) error {
	columns := []table.Column{wrapped("")}
	price, levies, costs, laidOut := []string{"price"}, []string{"co-op, levies"}, []string{"co-op, costs back"}, false
	var parties []string
	for i, one := range some {
		columns = append(columns, right(fmt.Sprint(first+i+1)))
		price = append(price, amount.Text(one.preview.GetPrice()))
		levies = append(levies, amount.Text(one.preview.GetLevies()))
		costs, laidOut = append(costs, amount.Text(one.preview.GetCosts())), laidOut || !isZero(one.preview.GetCosts())
		for _, share := range one.preview.GetShares() {
			if !slices.Contains(parties, share.GetParty()) {
				parties = append(parties, share.GetParty())
			}
		}
	}
	t := table.New(columns...)
	t.Row(price...)
	for _, party := range parties {
		row := []string{partyWord(party)}
		for _, one := range some {
			cell := ""
			for _, share := range one.preview.GetShares() {
				if share.GetParty() == party {
					cell = amount.Text(share.GetAmount())
				}
			}
			row = append(row, cell)
		}
		t.Row(row...)
	}
	t.Row(levies...)
	if laidOut {
		t.Row(costs...)
	}
	_, err := t.WriteTo(w)
	return err
}
