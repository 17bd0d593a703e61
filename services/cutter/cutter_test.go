package cutter_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"
	"google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/cutter"
	"seamshare.example/services/miner"
	"seamshare.example/services/tradetest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

type trade struct {
	*tradetest.House
	miners  minerv1.MinerServiceClient
	cutters cutterv1.CutterServiceClient
	cutter  *cutter.Server

	billycart, wetWheel, twoDops context.Context
	keeper                       context.Context // once a stone was checked
	requests                     int
}

func open(t *testing.T) *trade {
	t.Helper()
	d := &trade{House: tradetest.Open(t)}
	d.cutter = cutter.New(d.Node, d.Tokens)
	conn := d.Serve(t, func(r grpc.ServiceRegistrar) {
		minerv1.RegisterMinerServiceServer(r, miner.New(d.Node, d.Tokens))
		cutterv1.RegisterCutterServiceServer(r, d.cutter)
	})
	d.miners, d.cutters = minerv1.NewMinerServiceClient(conn), cutterv1.NewCutterServiceClient(conn)
	d.billycart = d.Join(t, "billycart", memberv1.Role_ROLE_MINER)
	d.wetWheel = d.Join(t, "wetwheel", memberv1.Role_ROLE_CUTTER)
	d.twoDops = d.Join(t, "twodops", memberv1.Role_ROLE_CUTTER)
	return d
}

// id makes a request id.
func (d *trade) id() string {
	d.requests++
	return fmt.Sprint("r", d.requests)
}

func aud(units int64) *money.Money { return &money.Money{CurrencyCode: "AUD", Units: units} }

func mg(mass int64) *typev1.Weighing {
	return &typev1.Weighing{MassUg: mass * 1_000, DivisionUg: 10_000}
}

func mm(l, w, d int64) *typev1.Size {
	return &typev1.Size{LengthUm: l * 1_000, WidthUm: w * 1_000, DepthUm: d * 1_000}
}

func agreement(price int64, ratios ...*typev1.Ratio) *typev1.Agreement {
	return &typev1.Agreement{
		Price: aud(price), SaleLevy: &typev1.Levy{BasisPoints: 600},
		Tiers: []*typev1.Tier{{Form: &typev1.Tier_Split{Split: &typev1.Split{Ratios: ratios}}}},
	}
}

var (
	halves   = agreement(1600, &typev1.Ratio{Party: "miner", Weight: 1}, &typev1.Ratio{Party: "cutter", Weight: 1})
	outright = agreement(1600, &typev1.Ratio{Party: "cutter", Weight: 1})
)

// listed lists piece P1-1 of the demo and a lot of chips.
func (d *trade) listed(t *testing.T, terms *typev1.Agreement) *typev1.Parcel {
	t.Helper()
	got, err := d.miners.PublishParcel(d.billycart, &minerv1.PublishParcelRequest{
		RequestId: d.id(), Label: "P1", Total: mg(56_800), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, OpenAtAsking: true, Agreement: terms,
		Pieces: []*minerv1.NewPiece{
			{Label: "1", Weighing: mg(34_200), Size: mm(46, 31, 14), Kind: typev1.Kind_KIND_BOULDER},
			{Label: "2", Weighing: mg(22_600), Kind: typev1.Kind_KIND_MATRIX, Count: 9},
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	return got.GetParcel()
}

// inHand is a parcel that Wet Wheel has taken and received.
func (d *trade) inHand(t *testing.T, terms *typev1.Agreement) *typev1.Parcel {
	t.Helper()
	p := d.listed(t, terms)
	if _, err := d.cutters.TakeParcel(d.wetWheel, &cutterv1.TakeParcelRequest{RequestId: d.id(), ParcelId: p.GetId()}); err != nil {
		t.Fatal(err)
	}
	if _, err := d.miners.HandOverParcel(d.billycart, &minerv1.HandOverParcelRequest{RequestId: d.id(), ParcelId: p.GetId(), Count: 10, Total: mg(56_800)}); err != nil {
		t.Fatal(err)
	}
	got, err := d.cutters.ReceiveParcel(d.wetWheel, &cutterv1.ReceiveParcelRequest{RequestId: d.id(), ParcelId: p.GetId(), Count: 10, Total: mg(56_800)})
	if err != nil {
		t.Fatal(err)
	}
	return got.GetParcel()
}

func out(name string, mass int64) *cutterv1.PartOut {
	return &cutterv1.PartOut{Name: name, Weighing: mg(mass)}
}

func (d *trade) work(t *testing.T, req *cutterv1.WorkPartRequest) *typev1.Piece {
	t.Helper()
	req.RequestId = d.id()
	got, err := d.cutters.WorkPart(d.wetWheel, req)
	if err != nil {
		t.Fatal(err)
	}
	return got.GetPiece()
}

// cut does the demo's bench work on piece P1-1 up to stone 1.
func (d *trade) cut(t *testing.T, piece string) *typev1.Stone {
	t.Helper()
	saw, waste := typev1.Step_STEP_SAW, typev1.Reason_REASON_WASTE
	d.work(t, &cutterv1.WorkPartRequest{PieceId: piece, Part: "1", Step: saw, Reason: typev1.Reason_REASON_KERF, PartsOut: []*cutterv1.PartOut{out("1A", 9_240), out("1B", 23_440)}, How: "in the section, along the seam"})
	d.work(t, &cutterv1.WorkPartRequest{PieceId: piece, Part: "1B", Step: typev1.Step_STEP_SET_ASIDE, Reason: waste})
	d.work(t, &cutterv1.WorkPartRequest{PieceId: piece, Part: "1A", Step: saw, Reason: typev1.Reason_REASON_KERF, PartsOut: []*cutterv1.PartOut{out("1C", 5_020), out("1D", 4_050)}})
	offcut := out("1C-", 1_150)
	offcut.Fate = typev1.Fate_FATE_OFFCUT
	d.work(t, &cutterv1.WorkPartRequest{PieceId: piece, Part: "1C", Step: typev1.Step_STEP_TRIM, Reason: waste, PartsOut: []*cutterv1.PartOut{out("1C'", 1_420), offcut}})
	got, err := d.cutters.FinishStone(d.wetWheel, d.finish(piece, "1C'"))
	if err != nil {
		t.Fatal(err)
	}
	return got.GetStone()
}

func (d *trade) finish(piece, part string) *cutterv1.FinishStoneRequest {
	return &cutterv1.FinishStoneRequest{
		RequestId: d.id(), PieceId: piece, Part: part, Label: "1", Weighing: &typev1.Weighing{MassUg: 608_000, DivisionUg: 2_000}, Size: mm(12, 9, 3),
		Outline: typev1.Outline_OUTLINE_OVAL, Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN,
		Hydrophane: typev1.Hydrophane_HYDROPHANE_NO, Composite: typev1.Composite_COMPOSITE_NONE,
		Grade: &typev1.Grade{Pattern: typev1.Pattern_PATTERN_BROAD_FLASH, Colours: "green and blue"}, WhyEarly: "shaped before it came here",
	}
}

var photo = &typev1.Photo{Sha256: make([]byte, 32), MediaType: "image/jpeg", Light: "daylight, overcast"}

func (d *trade) checking(stone *typev1.Stone) *cutterv1.CheckStoneRequest {
	return &cutterv1.CheckStoneRequest{
		RequestId: d.id(), StoneId: stone.GetId(), BackFlat: true, WallEven: true, BevelClears: true, Candled: true,
		Weighing: stone.GetWeighing(), Size: stone.GetSize(), Photo: photo,
	}
}

// check makes a stone's final check, which the stock keeper confirms.
func (d *trade) check(t *testing.T, stone *typev1.Stone) *typev1.Stone {
	t.Helper()
	if _, err := d.cutters.CheckStone(d.wetWheel, d.checking(stone)); err != nil {
		t.Fatal(err)
	}
	if d.keeper == nil {
		d.keeper = d.Join(t, "desk", memberv1.Role_ROLE_STOCK_KEEPER)
	}
	if _, err := d.cutters.ConfirmStone(d.keeper, &cutterv1.ConfirmStoneRequest{RequestId: d.id(), StoneId: stone.GetId()}); err != nil {
		t.Fatal(err)
	}
	got, err := d.cutters.GetStone(d.wetWheel, &cutterv1.GetStoneRequest{StoneId: stone.GetId()})
	if err != nil {
		t.Fatal(err)
	}
	return got.GetStone()
}

func TestMarket(t *testing.T) {
	d := open(t)
	p := d.listed(t, halves)
	t.Run("OK: shows terms and no parties", func(t *testing.T) {
		got, err := d.cutters.ListMarket(d.wetWheel, &cutterv1.ListMarketRequest{})
		if err != nil || len(got.GetParcels()) != 1 {
			t.Fatalf("got %v, %v", got, err)
		}
		shown := got.GetParcels()[0]
		if shown.GetSellerId() != "" || shown.GetBuyerId() != "" || !proto.Equal(shown.GetAgreement(), halves) || shown.GetAsking().GetUnits() != 1600 {
			t.Errorf("got %v", shown)
		}
	})
	t.Run("OK: a rival's offer changes nothing that a cutter sees", func(t *testing.T) {
		before, err := d.cutters.GetParcel(d.wetWheel, &cutterv1.GetParcelRequest{ParcelId: p.GetId()})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := d.cutters.MakeOffer(d.twoDops, &cutterv1.MakeOfferRequest{
			RequestId: d.id(), ParcelId: p.GetId(), Agreement: halves, EndsAt: time.Now().Add(time.Hour).Format(time.RFC3339),
		}); err != nil {
			t.Fatal(err)
		}
		after, err := d.cutters.GetParcel(d.wetWheel, &cutterv1.GetParcelRequest{ParcelId: p.GetId()})
		if err != nil || !proto.Equal(before.GetParcel(), after.GetParcel()) {
			t.Errorf("before %v, after %v, %v", before.GetParcel(), after.GetParcel(), err)
		}
		own, err := d.cutters.GetParcel(d.twoDops, &cutterv1.GetParcelRequest{ParcelId: p.GetId()})
		if err != nil || own.GetParcel().GetState() != typev1.ParcelState_PARCEL_STATE_UNDER_OFFER {
			t.Errorf("who offered sees %v, %v", own, err)
		}
		rivals, err := d.cutters.ListMyOffers(d.wetWheel, &cutterv1.ListMyOffersRequest{ParcelId: p.GetId()})
		if err != nil || len(rivals.GetOffers()) != 0 {
			t.Errorf("got %v, %v", rivals, err)
		}
	})
	t.Run("OK: a repeat of an offer gives it as it was made, and no second one", func(t *testing.T) {
		req := &cutterv1.MakeOfferRequest{RequestId: d.id(), ParcelId: p.GetId(), Agreement: halves, EndsAt: time.Now().Add(time.Hour).Format(time.RFC3339)}
		first, err := d.cutters.MakeOffer(d.wetWheel, req)
		if err != nil {
			t.Fatal(err)
		}
		if again, err := d.cutters.MakeOffer(d.wetWheel, req); err != nil || !proto.Equal(first, again) {
			t.Errorf("first %v, again %v, %v", first, again, err)
		}
		if mine, err := d.cutters.ListMyOffers(d.wetWheel, &cutterv1.ListMyOffersRequest{ParcelId: p.GetId()}); err != nil || len(mine.GetOffers()) != 1 {
			t.Errorf("got %v, %v", mine, err)
		}
	})
	t.Run("refused: an offer that ended, and one whose end can't be read", func(t *testing.T) {
		req := &cutterv1.MakeOfferRequest{RequestId: d.id(), ParcelId: p.GetId(), Agreement: halves, EndsAt: "2001-01-01T00:00:00Z"}
		_, err := d.cutters.MakeOffer(d.wetWheel, req)
		tradetest.Refused(t, err, codes.InvalidArgument, "TIME_INVALID", "ends_at")
		req.EndsAt = "tomorrow, around noon"
		_, err = d.cutters.MakeOffer(d.wetWheel, req)
		tradetest.Refused(t, err, codes.InvalidArgument, "TIME_INVALID", "ends_at")
	})
}

func TestPages(t *testing.T) {
	d := open(t)
	for range 5 {
		d.listed(t, outright)
	}
	var parcels []string
	market := &cutterv1.ListMarketRequest{PageSize: 2}
	for {
		got, err := d.cutters.ListMarket(d.wetWheel, market)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range got.GetParcels() {
			parcels = append(parcels, p.GetId())
		}
		if market.PageToken = got.GetNextPageToken(); market.PageToken == "" {
			break
		}
	}
	if len(parcels) != 5 || !slices.IsSorted(parcels) {
		t.Fatalf("got %q", parcels)
	}
	var labels []string
	pieces := &cutterv1.ListPiecesRequest{ParcelId: parcels[0], PageSize: 1}
	for {
		got, err := d.cutters.ListPieces(d.wetWheel, pieces)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range got.GetPieces() {
			labels = append(labels, p.GetLabel())
		}
		if pieces.PageToken = got.GetNextPageToken(); pieces.PageToken == "" {
			break
		}
		other := &cutterv1.ListPiecesRequest{ParcelId: parcels[1], PageToken: pieces.GetPageToken()}
		_, err = d.cutters.ListPieces(d.wetWheel, other)
		tradetest.Refused(t, err, codes.InvalidArgument, "PAGE_TOKEN_INVALID", "page_token")
	}
	if !slices.Equal(labels, []string{"1", "2"}) {
		t.Errorf("got %q", labels)
	}
}

func TestRace(t *testing.T) {
	d := open(t)
	buyers := []context.Context{d.wetWheel, d.twoDops}
	for i := range 6 {
		buyers = append(buyers, d.Join(t, fmt.Sprint("cutter", i), memberv1.Role_ROLE_CUTTER))
	}
	const parcels = 10
	wins, losses := make([]int, parcels), make([]int, parcels)
	var mu sync.Mutex
	var race sync.WaitGroup
	for i := range parcels {
		p := d.listed(t, outright).GetId()
		for j, who := range buyers {
			race.Go(func() {
				_, err := d.cutters.TakeParcel(who, &cutterv1.TakeParcelRequest{RequestId: fmt.Sprintf("take-%d-%d", i, j), ParcelId: p})
				mu.Lock()
				defer mu.Unlock()
				switch {
				case err == nil:
					wins[i]++
				case status.Code(err) == codes.FailedPrecondition:
					losses[i]++
				default:
					t.Error(err)
				}
			})
		}
	}
	race.Wait()
	for i := range parcels {
		if wins[i] != 1 || losses[i] != len(buyers)-1 {
			t.Errorf("parcel %d was won %d times and lost %d times", i, wins[i], losses[i])
		}
	}
}

func TestBench(t *testing.T) {
	t.Run("OK: the demo's stone 1, and its parcel's yield closes", func(t *testing.T) {
		d := open(t)
		p := d.inHand(t, halves)
		stone := d.cut(t, p.GetLines()[0].GetPieceId())
		if stone.GetCarat() != "3.04" || stone.GetKind() != typev1.Kind_KIND_BOULDER || stone.GetState() != typev1.StoneState_STONE_STATE_IN_STOCK {
			t.Errorf("got %v", stone)
		}
		got, err := d.cutters.GetYield(d.wetWheel, &cutterv1.GetYieldRequest{ParcelId: p.GetId()})
		if err != nil {
			t.Fatal(err)
		}
		y := got.GetYield()
		want := &cutterv1.Yield{
			ParcelId: p.GetId(), BoughtUg: 56_800_000, FinishedUg: 608_000, OffcutUg: 1_150_000, UncutUg: 4_050_000 + 22_600_000,
			LossUg: (1_520 + 23_440 + 170 + 2_450 + 812) * 1_000, ToleranceUg: 50_000, Stones: 1, Losses: y.GetLosses(),
			InWorkUg: 4_050_000 + 22_600_000, Parts: y.GetParts(), Classes: y.GetClasses(), Asked: aud(0), Sold: aud(0),
		}
		if !proto.Equal(y, want) {
			t.Errorf("got %v, want %v", y, want)
		}
	})
	t.Run("refused: before the handover, another's piece, a part that isn't there", func(t *testing.T) {
		d := open(t)
		p := d.listed(t, halves)
		req := &cutterv1.WorkPartRequest{RequestId: d.id(), PieceId: p.GetLines()[0].GetPieceId(), Part: "1", Step: typev1.Step_STEP_LOOK, PartsOut: []*cutterv1.PartOut{out("1", 34_200)}}
		_, err := d.cutters.WorkPart(d.wetWheel, req)
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "piece_id")
		if _, err := d.cutters.TakeParcel(d.wetWheel, &cutterv1.TakeParcelRequest{RequestId: d.id(), ParcelId: p.GetId()}); err != nil {
			t.Fatal(err)
		}
		_, err = d.cutters.WorkPart(d.wetWheel, req)
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_HANDED_OVER")
		_, others := d.cutters.WorkPart(d.twoDops, req)
		req.PieceId = "none"
		_, none := d.cutters.WorkPart(d.twoDops, req)
		tradetest.Refused(t, others, codes.NotFound, "NOT_FOUND", "piece_id")
		if others.Error() != none.Error() {
			t.Errorf("%q is not %q", others, none)
		}
		p = d.inHand(t, halves)
		_, err = d.cutters.WorkPart(d.wetWheel, &cutterv1.WorkPartRequest{RequestId: d.id(), PieceId: p.GetLines()[0].GetPieceId(), Part: "9", Step: typev1.Step_STEP_LOOK})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "part")
	})
	t.Run("refused: more out than in, and the piece changed since it was seen", func(t *testing.T) {
		d := open(t)
		piece := d.inHand(t, halves).GetLines()[0].GetPieceId()
		req := &cutterv1.WorkPartRequest{RequestId: d.id(), PieceId: piece, Part: "1", Step: typev1.Step_STEP_SAW, PartsOut: []*cutterv1.PartOut{out("1A", 34_201)}}
		_, err := d.cutters.WorkPart(d.wetWheel, req)
		tradetest.Refused(t, err, codes.InvalidArgument, "HEAVIER_THAN_BEFORE", "parts_out")
		seen, err := d.cutters.GetPiece(d.wetWheel, &cutterv1.GetPieceRequest{PieceId: piece})
		if err != nil {
			t.Fatal(err)
		}
		d.cut(t, piece)
		_, err = d.cutters.PlacePart(d.wetWheel, &cutterv1.PlacePartRequest{RequestId: d.id(), PieceId: piece, Part: "1D", Fate: typev1.Fate_FATE_SHELF, Etag: seen.GetPiece().GetEtag()})
		tradetest.Refused(t, err, codes.Aborted, "ETAG_DIFFERS", "etag")
		now, err := d.cutters.GetPiece(d.wetWheel, &cutterv1.GetPieceRequest{PieceId: piece})
		if err != nil {
			t.Fatal(err)
		}
		if _, err = d.cutters.PlacePart(d.wetWheel, &cutterv1.PlacePartRequest{RequestId: d.id(), PieceId: piece, Part: "1D", Fate: typev1.Fate_FATE_SHELF, Etag: now.GetPiece().GetEtag()}); err != nil {
			t.Error(err)
		}
	})
	t.Run("refused: a stone heavier than its part; nothing is half done", func(t *testing.T) {
		d := open(t)
		piece := d.inHand(t, halves).GetLines()[0].GetPieceId()
		before, err := d.cutters.GetPiece(d.wetWheel, &cutterv1.GetPieceRequest{PieceId: piece})
		if err != nil {
			t.Fatal(err)
		}
		req := d.finish(piece, "1")
		req.Weighing.MassUg = 34_200_001
		_, err = d.cutters.FinishStone(d.wetWheel, req)
		tradetest.Refused(t, err, codes.InvalidArgument, "HEAVIER_THAN_BEFORE", "weighing.mass_ug")
		after, err := d.cutters.GetPiece(d.wetWheel, &cutterv1.GetPieceRequest{PieceId: piece})
		if err != nil || !proto.Equal(before, after) {
			t.Errorf("before %v, after %v, %v", before, after, err)
		}
		if stones, err := d.cutters.ListStones(d.wetWheel, &cutterv1.ListStonesRequest{}); err != nil || len(stones.GetStones()) != 0 {
			t.Errorf("got %v, %v", stones, err)
		}
	})
	t.Run("OK: a repeat of a step or a stone gives the first outcome", func(t *testing.T) {
		d := open(t)
		piece := d.inHand(t, halves).GetLines()[0].GetPieceId()
		step := &cutterv1.WorkPartRequest{RequestId: "step", PieceId: piece, Part: "1", Step: typev1.Step_STEP_SAW, Reason: typev1.Reason_REASON_KERF, PartsOut: []*cutterv1.PartOut{out("1A", 9_240), out("1B", 23_440)}}
		worked, err := d.cutters.WorkPart(d.wetWheel, step)
		if err != nil {
			t.Fatal(err)
		}
		req := d.finish(piece, "1A")
		finished, err := d.cutters.FinishStone(d.wetWheel, req)
		if err != nil {
			t.Fatal(err)
		}
		d.check(t, finished.GetStone())
		if _, err := d.cutters.PutStoneOnSale(d.wetWheel, &cutterv1.PutStoneOnSaleRequest{RequestId: d.id(), StoneId: finished.GetStone().GetId(), Price: aud(740)}); err != nil {
			t.Fatal(err)
		}
		if again, err := d.cutters.WorkPart(d.wetWheel, step); err != nil || !proto.Equal(worked, again) {
			t.Errorf("first %v, again %v, %v", worked, again, err)
		}
		if again, err := d.cutters.FinishStone(d.wetWheel, req); err != nil || !proto.Equal(finished, again) {
			t.Errorf("first %v, again %v, %v", finished, again, err)
		}
	})
}

// TestDoor: what turns a caller away before anything is decided.
func TestDoor(t *testing.T) {
	d := open(t)
	p := d.listed(t, outright)
	for name, call := range map[string]func(context.Context) error{
		"a miner takes a parcel": func(ctx context.Context) error {
			_, err := d.cutters.TakeParcel(ctx, &cutterv1.TakeParcelRequest{RequestId: d.id(), ParcelId: p.GetId()})
			return err
		},
		"a miner looks at the market": func(ctx context.Context) error {
			_, err := d.cutters.ListMarket(ctx, &cutterv1.ListMarketRequest{})
			return err
		},
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			tradetest.Refused(t, call(d.billycart), codes.PermissionDenied, "ROLE_MISSING")
		})
	}
	t.Run("refused: without a token", func(t *testing.T) {
		_, err := d.cutters.ListMarket(t.Context(), &cutterv1.ListMarketRequest{})
		tradetest.Refused(t, err, codes.Unauthenticated, "TOKEN_MISSING")
	})
	t.Run("refused: a position that isn't there yet, within the caller's time", func(t *testing.T) {
		ctx, cancel := context.WithTimeout(d.wetWheel, 50*time.Millisecond)
		defer cancel()
		_, err := d.cutters.ListMarket(ctx, &cutterv1.ListMarketRequest{MinPosition: 1 << 40})
		if c := status.Code(err); c != codes.DeadlineExceeded && c != codes.Unavailable {
			t.Errorf("got %v", err)
		}
		if errors.Is(err, context.Canceled) {
			t.Error(err)
		}
	})
}
