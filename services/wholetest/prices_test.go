package wholetest_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	gmoney "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/stream"
	"seamshare.example/services/tablestest"
)

// An outright deal whose amounts each occur once in the world, in minor units.
const (
	askedPrice  = 161_723 // by the miner, on the market
	rivalsOffer = 147_189 // by another cutter
	dealPrice   = 158_347 // offered by the cutter, accepted
	freightCost = 3_187   // laid out by the co-op
	soldPrice   = 74_321  // of a stone that the jeweller bought
	onSalePrice = 51_263  // of a stone that anybody may buy
	heldBack    = 68_957  // of a stone that the cutter took off sale again
	partPayment = 31_117  // by the jeweller
)

// amounts are the eight, and who may see each once the deal is done. The desk that handles
// money sees them all, and its stock keeper and registrar none.
var amounts = map[int64][]string{
	askedPrice:  {"the miner", "the cutter"},
	rivalsOffer: {"the miner", "another cutter"},
	dealPrice:   {"the miner", "the cutter"},
	freightCost: {"the cutter"}, // outright, it is the cutter's proceeds that bear it
	soldPrice:   {"the cutter", "the jeweller"},
	onSalePrice: {"the cutter", "the jeweller", "another jeweller"},
	heldBack:    nil, // it is asked no more
	partPayment: {"the cutter", "the jeweller"},
}

// money are the desks that see all amounts.
var moneyDesks = []string{"the bookkeeper", "the approver", "the auditor"}

// TestPrices lets everybody look at all they can after an outright deal with its sales.
func TestPrices(t *testing.T) {
	k := newKnown()
	random := rand.New(rand.NewPCG(1, 1))
	traffic := &tablestest.Traffic{Hear: func(h tablestest.Heard) {
		if h.Err == nil {
			k.learn(h.Answer, random)
		}
	}}
	w := tablestest.NewWorld(t, traffic.Dial())
	playOutright(t, w)
	traffic.Hear = nil
	saw := map[int64]map[string]string{} // by amount and reader, the rpc
	for minor := range amounts {
		saw[minor] = map[string]string{}
	}
	codec := eventstore.NewCodec(stream.Events()...)
	chains := 0
	sweep(w, &k, cast(w), func(who reader, r rpc, answer proto.Message, err error) {
		if chain, ok := answer.(chainFile); ok && err == nil && len(chain.GetFile()) > 0 {
			chains++
			for _, leaf := range parse(t, chain).Leaves {
				_, event, err := codec.OpenLeaf(leaf.Data)
				w.Must(err)
				for minor := range amounts {
					if holds(event.ProtoReflect(), minor) {
						t.Errorf("%d stands in the file of a stone's chain, which strangers are handed: %v", minor, event)
					}
				}
			}
		}
		for minor := range amounts {
			if holds(answer.ProtoReflect(), minor) || err != nil && writes(err.Error(), minor) {
				saw[minor][who.name] = r.name()
			}
		}
	})
	if chains == 0 {
		t.Error("nobody got a stone's chain")
	}
	for minor, may := range amounts {
		for _, who := range cast(w) {
			by, seen := saw[minor][who.name]
			switch {
			case seen && !slices.Contains(may, who.name) && !slices.Contains(moneyDesks, who.name):
				t.Errorf("%s was shown %d by %s", who.name, minor, by)
			case !seen && slices.Contains(may, who.name):
				t.Errorf("%s can't see %d, which concerns them", who.name, minor)
			}
		}
	}
	if len(saw[dealPrice]) < 3 {
		t.Errorf("the price of the deal was seen by %v only: the sweep misses something", saw[dealPrice])
	}
}

// playOutright plays the deal, through gRPC.
func playOutright(t *testing.T, w *tablestest.World) {
	t.Helper()
	ctx := w.Ctx()
	outright := func(price int64) *typev1.Agreement {
		return &typev1.Agreement{
			Price: cooptest.AUD(price), CostKinds: []string{"freight"}, SaleLevy: &typev1.Levy{BasisPoints: 600},
			Tiers: []*typev1.Tier{
				{Form: &typev1.Tier_Recoup{Recoup: &typev1.Recoup{Party: "coop", Target: &typev1.Recoup_Costs{Costs: &typev1.CostKinds{Kinds: []string{"freight"}}}}}},
				{Form: &typev1.Tier_Split{Split: &typev1.Split{Ratios: []*typev1.Ratio{{Party: "cutter", Weight: 1}}}}},
			},
		}
	}
	listing := &minerv1.PublishParcelRequest{
		RequestId: command.NewID(), Label: "P1", Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, Agreement: outright(askedPrice), Total: cooptest.Grams(60_000_000),
	}
	for i := range 3 {
		listing.Pieces = append(listing.Pieces, &minerv1.NewPiece{
			Label: fmt.Sprint(i + 1), Weighing: cooptest.Grams(20_000_000), Size: &typev1.Size{LengthUm: 40_000, WidthUm: 30_000, DepthUm: 12_000}, Kind: typev1.Kind_KIND_BOULDER,
		})
	}
	p, err := w.Miner.Miner().PublishParcel(ctx, listing)
	w.Must(err)
	id := p.GetParcel().GetId()
	offer := func(who cooptest.Person, price int64) string {
		got, err := who.Cutter().MakeOffer(ctx, &cutterv1.MakeOfferRequest{
			RequestId: command.NewID(), ParcelId: id, Agreement: outright(price), EndsAt: w.Now().Add(time.Hour).Format(time.RFC3339),
		})
		w.Must(err)
		return got.GetOffer().GetId()
	}
	offer(w.OtherCutter, rivalsOffer)
	_, err = w.Miner.Miner().AcceptOffer(ctx, &minerv1.AcceptOfferRequest{RequestId: command.NewID(), ParcelId: id, OfferId: offer(w.Cutter, dealPrice)})
	w.Must(err)
	_, err = w.Miner.Miner().HandOverParcel(ctx, &minerv1.HandOverParcelRequest{RequestId: command.NewID(), ParcelId: id, Count: 3, Total: listing.GetTotal()})
	w.Must(err)
	_, err = w.Cutter.Cutter().ReceiveParcel(ctx, &cutterv1.ReceiveParcelRequest{RequestId: command.NewID(), ParcelId: id, Count: 3, Total: listing.GetTotal()})
	w.Must(err)
	_, err = w.Books.Coop().RecordParcelPayment(ctx, &coopv1.RecordParcelPaymentRequest{RequestId: command.NewID(), ParcelId: id, Amount: cooptest.AUD(dealPrice), Reference: "transfer"})
	w.Must(err)
	_, err = w.Books.Coop().RecordCost(ctx, &coopv1.RecordCostRequest{RequestId: command.NewID(), ParcelId: id, Amount: cooptest.AUD(freightCost), Reference: "carrier", Kind: "freight"})
	w.Must(err)
	var stones []*typev1.Stone
	for i, price := range []int64{soldPrice, onSalePrice, heldBack} {
		part := fmt.Sprint(i + 1)
		finished, err := w.Cutter.Cutter().FinishStone(ctx, &cutterv1.FinishStoneRequest{
			RequestId: command.NewID(), PieceId: p.GetParcel().GetLines()[i].GetPieceId(), Part: part, Label: "stone " + part,
			Weighing: &typev1.Weighing{MassUg: 608_000, DivisionUg: 2_000}, Size: &typev1.Size{LengthUm: 12_000, WidthUm: 9_000, DepthUm: 3_000},
			Outline: typev1.Outline_OUTLINE_OVAL, Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, Hydrophane: typev1.Hydrophane_HYDROPHANE_NO,
			Composite: typev1.Composite_COMPOSITE_NONE, WhyEarly: "the test doesn't wait",
		})
		w.Must(err)
		w.Check(t, w.Cutter, w.SecondCutter, finished.GetStone())
		onSale, err := w.Cutter.Cutter().PutStoneOnSale(ctx, &cutterv1.PutStoneOnSaleRequest{RequestId: command.NewID(), StoneId: finished.GetStone().GetId(), Price: cooptest.AUD(price)})
		w.Must(err)
		stones = append(stones, onSale.GetStone())
	}
	order := w.Order(t, w.Jeweller, stones[0])
	_, err = w.Books.Coop().RecordOrderPayment(ctx, &coopv1.RecordOrderPaymentRequest{RequestId: command.NewID(), OrderId: order.GetId(), Amount: cooptest.AUD(partPayment), Reference: "transfer"})
	w.Must(err)
	_, err = w.Cutter.Cutter().TakeOffSale(ctx, &cutterv1.TakeOffSaleRequest{RequestId: command.NewID(), StoneId: stones[2].GetId()})
	w.Must(err)
}

// holds tells whether an amount stands anywhere in an answer: as money or in words.
func holds(m protoreflect.Message, minor int64) (found bool) {
	if amount, ok := m.Interface().(*gmoney.Money); ok {
		return amount.GetUnits()*100+int64(amount.GetNanos())/10_000_000 == minor
	}
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.IsMap():
		case f.IsList():
			for i := range v.List().Len() {
				found = found || holdsValue(f, v.List().Get(i), minor)
			}
		default:
			found = holdsValue(f, v, minor)
		}
		return !found
	})
	return found
}

func holdsValue(f protoreflect.FieldDescriptor, v protoreflect.Value, minor int64) bool {
	switch f.Kind() {
	case protoreflect.MessageKind:
		return holds(v.Message(), minor)
	case protoreflect.StringKind:
		return writes(v.String(), minor)
	case protoreflect.Int64Kind:
		return v.Int() == minor
	}
	return false
}

// writes tells whether a text has an amount in any way that we write one.
func writes(text string, minor int64) bool {
	units := fmt.Sprint(minor / 100)
	for _, written := range []string{
		fmt.Sprintf("%d.%02d", minor/100, minor%100),
		fmt.Sprintf("%s %s.%02d", units[:max(0, len(units)-3)], units[max(0, len(units)-3):], minor%100),
		fmt.Sprintf(`"%d"`, minor), fmt.Sprintf(":%d,", minor), fmt.Sprintf(":%d}", minor),
	} {
		if strings.Contains(text, written) {
			return true
		}
	}
	return false
}
