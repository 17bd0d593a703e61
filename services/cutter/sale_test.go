package cutter_test

import (
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/stream"
	"seamshare.example/services/tradetest"
)

// sell sells a stone as the jeweller's service does, and pays for it.
func (d *trade) sell(t *testing.T, stoneID string, price *eventv1.Amount) (orderID string) {
	t.Helper()
	orderID = command.NewID()
	for _, step := range []func(*eventstore.Tx) error{
		func(tx *eventstore.Tx) error {
			s, err := command.Open(tx, stream.Stone, stoneID)
			if err != nil {
				return err
			}
			sold, err := s.State.Sell(stone.Taking{Jeweller: "fernhook", Together: []string{stoneID}, Now: tx.Now()}, orderID, price, "items[0]")
			if err != nil {
				return err
			}
			f := s.State.Facts
			placed, err := order.State{}.Place(orderID, "fernhook", price.GetCurrency(), []order.Line{
				{StoneID: stoneID, ParcelID: f.GetParcelId(), Seller: f.GetCutterId(), Price: price.GetMinor()},
			}, order.Terms{})
			if err != nil {
				return err
			}
			s.Record(sold)
			tx.Record(stream.Order.Stream(orderID), placed)
			return nil
		},
		func(tx *eventstore.Tx) error {
			o, err := command.Open(tx, stream.Order, orderID)
			if err != nil {
				return err
			}
			paid, err := o.State.Pay(price, "bank")
			if err != nil {
				return err
			}
			o.Record(paid)
			return nil
		},
	} {
		if _, err := d.Node.Decide(t.Context(), eventstore.Request{}, step); err != nil {
			t.Fatal(err)
		}
	}
	return orderID
}

func TestSale(t *testing.T) {
	d := open(t)
	p := d.inHand(t, halves)
	stone := d.check(t, d.cut(t, p.GetLines()[0].GetPieceId()))

	t.Run("refused: another's stone, a price of nothing, another currency, finer than a cent", func(t *testing.T) {
		req := &cutterv1.PutStoneOnSaleRequest{RequestId: d.id(), StoneId: stone.GetId(), Price: aud(740)}
		_, others := d.cutters.PutStoneOnSale(d.twoDops, req)
		tradetest.Refused(t, others, codes.NotFound, "NOT_FOUND", "stone_id")
		req.Etag = "guessed"
		_, others = d.cutters.PutStoneOnSale(d.twoDops, req)
		tradetest.Refused(t, others, codes.NotFound, "NOT_FOUND", "stone_id")
		req.Etag = ""
		for price, reason := range map[*money.Money]string{
			aud(0):  "AMOUNT_INVALID",
			aud(-5): "AMOUNT_INVALID",
			{CurrencyCode: "AUD", Units: 1, Nanos: 1}:     "AMOUNT_INVALID",
			{CurrencyCode: "AUD", Units: 1 << 62}:         "AMOUNT_INVALID",
			{CurrencyCode: "EUR", Units: 5}:               "CURRENCY_DIFFERS",
			{CurrencyCode: "aud", Units: 5}:               "CURRENCY_UNKNOWN",
			{CurrencyCode: "AUD", Units: 1, Nanos: -1000}: "AMOUNT_INVALID",
		} {
			req.Price = price
			_, err := d.cutters.PutStoneOnSale(d.wetWheel, req)
			tradetest.Refused(t, err, codes.InvalidArgument, reason)
		}
	})
	put, err := d.cutters.PutStoneOnSale(d.wetWheel, &cutterv1.PutStoneOnSaleRequest{RequestId: d.id(), StoneId: stone.GetId(), Price: aud(740), Etag: stone.GetEtag()})
	if err != nil || put.GetStone().GetState() != typev1.StoneState_STONE_STATE_ON_SALE {
		t.Fatalf("got %v, %v", put, err)
	}
	d.sell(t, stone.GetId(), &eventv1.Amount{Currency: "AUD", Minor: 74_000})

	t.Run("OK: the miner sees the stone's money and no buyer, the cutter its own share", func(t *testing.T) {
		miners, err := d.miners.GetShare(d.billycart, &minerv1.GetShareRequest{ParcelId: p.GetId()})
		if err != nil {
			t.Fatal(err)
		}
		text := miners.String()
		if !strings.Contains(text, "740.00 AUD received of its price") || strings.Contains(text, "fernhook") {
			t.Errorf("got %s", text)
		}
		if got := miners.GetStatement().GetShares()[0].GetAmount(); !proto.Equal(got, &money.Money{CurrencyCode: "AUD", Units: 347, Nanos: 800_000_000}) {
			t.Errorf("the miner has %v", got) // half of 740.00 less 44.40
		}
		cutters, err := d.cutters.GetShare(d.wetWheel, &cutterv1.GetShareRequest{ParcelId: p.GetId()})
		if err != nil || len(cutters.GetStatement().GetShares()) != 1 || cutters.GetStatement().GetShares()[0].GetParty() != "cutter" {
			t.Errorf("got %v, %v", cutters, err)
		}
		_, err = d.cutters.GetShare(d.twoDops, &cutterv1.GetShareRequest{ParcelId: p.GetId()})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "parcel_id")
	})
	t.Run("refused: a sold stone is put on sale", func(t *testing.T) {
		_, err := d.cutters.PutStoneOnSale(d.wetWheel, &cutterv1.PutStoneOnSaleRequest{RequestId: d.id(), StoneId: stone.GetId(), Price: aud(1)})
		tradetest.Refused(t, err, codes.FailedPrecondition, "STONE_SOLD", "stone_id")
	})
	t.Run("OK: it comes back, once, and its order knows", func(t *testing.T) {
		back := &cutterv1.AcceptReturnRequest{RequestId: d.id(), StoneId: stone.GetId(), Weighing: stone.GetWeighing(), Size: stone.GetSize(), Why: "the setting was changed", Photo: photo}
		got, err := d.cutters.AcceptReturn(d.wetWheel, back)
		if err != nil || got.GetStone().GetState() != typev1.StoneState_STONE_STATE_IN_STOCK || got.GetStone().GetPrice() != nil {
			t.Fatalf("got %v, %v", got, err)
		}
		if again, err := d.cutters.AcceptReturn(d.wetWheel, back); err != nil || !proto.Equal(got, again) {
			t.Errorf("first %v, again %v, %v", got, again, err)
		}
		back.RequestId = d.id()
		_, err = d.cutters.AcceptReturn(d.wetWheel, back)
		tradetest.Refused(t, err, codes.FailedPrecondition, "STONE_NOT_SOLD", "stone_id")
	})
}

func TestOutright(t *testing.T) {
	d := open(t)
	p := d.inHand(t, outright)
	stone := d.check(t, d.cut(t, p.GetLines()[0].GetPieceId()))
	if _, err := d.cutters.PutStoneOnSale(d.wetWheel, &cutterv1.PutStoneOnSaleRequest{RequestId: d.id(), StoneId: stone.GetId(), Price: aud(740)}); err != nil {
		t.Fatal(err)
	}
	d.sell(t, stone.GetId(), &eventv1.Amount{Currency: "AUD", Minor: 74_000})
	t.Run("OK: the seller of an outright sale sees nothing of what the stones brought", func(t *testing.T) {
		got, err := d.miners.GetShare(d.billycart, &minerv1.GetShareRequest{ParcelId: p.GetId()})
		if err != nil {
			t.Fatal(err)
		}
		if s := got.GetStatement(); s.GetSalesReceived() != nil || s.GetCostsRecouped() != nil || s.GetLevies().GetUnits() != 0 || strings.Contains(got.String(), "740") {
			t.Errorf("got %v", s)
		}
	})
}
