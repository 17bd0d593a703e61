package miner_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"
	"google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
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

	billycart, ninthShaft context.Context // miners
	wetWheel, twoDops     context.Context // cutters
	claim                 string          // of billycart
}

func open(t *testing.T) *trade {
	t.Helper()
	d := &trade{House: tradetest.Open(t)}
	conn := d.Serve(t, func(r grpc.ServiceRegistrar) {
		minerv1.RegisterMinerServiceServer(r, miner.New(d.Node, d.Tokens))
		cutterv1.RegisterCutterServiceServer(r, cutter.New(d.Node, d.Tokens))
	})
	d.miners, d.cutters = minerv1.NewMinerServiceClient(conn), cutterv1.NewCutterServiceClient(conn)
	d.billycart = d.Join(t, "billycart", memberv1.Role_ROLE_MINER)
	d.ninthShaft = d.Join(t, "ninthshaft", memberv1.Role_ROLE_MINER)
	d.wetWheel = d.Join(t, "wetwheel", memberv1.Role_ROLE_CUTTER)
	d.twoDops = d.Join(t, "twodops", memberv1.Role_ROLE_CUTTER)
	d.Field(t, "ashbarrel", "Ashbarrel Rise")
	got, err := d.miners.RecordClaim(d.billycart, &minerv1.RecordClaimRequest{RequestId: "claim", FieldId: "ashbarrel", Name: "Claim 4"})
	if err != nil {
		t.Fatal(err)
	}
	d.claim = got.GetClaim().GetId()
	return d
}

func aud(units int64) *money.Money { return &money.Money{CurrencyCode: "AUD", Units: units} }

func grams(hundredths int64) *typev1.Weighing {
	return &typev1.Weighing{MassUg: hundredths * 10_000, DivisionUg: 10_000}
}

func halves(price int64) *typev1.Agreement {
	return &typev1.Agreement{
		Price: aud(price), SaleLevy: &typev1.Levy{BasisPoints: 600},
		Tiers: []*typev1.Tier{{Form: &typev1.Tier_Split{Split: &typev1.Split{Ratios: []*typev1.Ratio{
			{Party: "miner", Weight: 1}, {Party: "cutter", Weight: 1},
		}}}}},
	}
}

func (d *trade) listing(id string) *minerv1.PublishParcelRequest {
	piece := func(label string, hundredths int64) *minerv1.NewPiece {
		return &minerv1.NewPiece{
			Label: label, Weighing: grams(hundredths), Kind: typev1.Kind_KIND_BOULDER, ClaimId: d.claim,
			Size: &typev1.Size{LengthUm: 46_000, WidthUm: 31_000, DepthUm: 14_000},
		}
	}
	return &minerv1.PublishParcelRequest{
		RequestId: id, Label: "P1", Pieces: []*minerv1.NewPiece{piece("1", 3420), piece("2", 3085)}, Total: grams(6505),
		Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, OpenAtAsking: true, Agreement: halves(1900),
	}
}

func (d *trade) published(t *testing.T) *typev1.Parcel {
	t.Helper()
	got, err := d.miners.PublishParcel(d.billycart, d.listing("list"))
	if err != nil {
		t.Fatal(err)
	}
	return got.GetParcel()
}

func (d *trade) offered(t *testing.T, who context.Context, parcel, id string, price int64) *typev1.Offer {
	t.Helper()
	got, err := d.cutters.MakeOffer(who, &cutterv1.MakeOfferRequest{
		RequestId: id, ParcelId: parcel, Agreement: halves(price), EndsAt: time.Now().Add(time.Hour).Format(time.RFC3339),
	})
	if err != nil {
		t.Fatal(err)
	}
	return got.GetOffer()
}

func TestClaim(t *testing.T) {
	d := open(t)
	t.Run("refused: on a field that isn't recorded", func(t *testing.T) {
		_, err := d.miners.RecordClaim(d.billycart, &minerv1.RecordClaimRequest{RequestId: "x", FieldId: "nowhere", Name: "Claim 1"})
		tradetest.Refused(t, err, codes.FailedPrecondition, "FIELD_NOT_RECORDED", "field_id")
	})
	t.Run("refused: by a cutter", func(t *testing.T) {
		_, err := d.miners.RecordClaim(d.wetWheel, &minerv1.RecordClaimRequest{RequestId: "x", FieldId: "ashbarrel", Name: "Claim 1"})
		tradetest.Refused(t, err, codes.PermissionDenied, "ROLE_MISSING")
	})
	t.Run("OK: own claims, page by page", func(t *testing.T) {
		for i := range 4 {
			if _, err := d.miners.RecordClaim(d.billycart, &minerv1.RecordClaimRequest{RequestId: fmt.Sprint("c", i), FieldId: "ashbarrel", Name: fmt.Sprint("Claim ", i)}); err != nil {
				t.Fatal(err)
			}
		}
		var names []string
		req := &minerv1.ListClaimsRequest{PageSize: 2}
		for {
			got, err := d.miners.ListClaims(d.billycart, req)
			if err != nil {
				t.Fatal(err)
			}
			for _, c := range got.GetClaims() {
				names = append(names, c.GetName())
			}
			if req.PageToken = got.GetNextPageToken(); req.PageToken == "" {
				break
			}
			_, err = d.miners.ListClaims(d.ninthShaft, req)
			tradetest.Refused(t, err, codes.InvalidArgument, "PAGE_TOKEN_INVALID", "page_token")
		}
		if len(names) != 5 {
			t.Errorf("got %q", names)
		}
		if got, err := d.miners.ListClaims(d.ninthShaft, &minerv1.ListClaimsRequest{}); err != nil || len(got.GetClaims()) != 0 {
			t.Errorf("another's claims: %v, %v", got, err)
		}
	})
}

func TestPublish(t *testing.T) {
	t.Run("OK: what was sent is shown, each piece with its field", func(t *testing.T) {
		d := open(t)
		p := d.published(t)
		got, err := d.miners.GetParcel(d.billycart, &minerv1.GetParcelRequest{ParcelId: p.GetId()})
		if err != nil {
			t.Fatal(err)
		}
		if !proto.Equal(got.GetParcel(), p) {
			t.Errorf("got %v, published %v", got.GetParcel(), p)
		}
		if !proto.Equal(p.GetAgreement(), halves(1900)) {
			t.Errorf("agreement %v", p.GetAgreement())
		}
		pieces, err := d.cutters.ListPieces(d.wetWheel, &cutterv1.ListPiecesRequest{ParcelId: p.GetId()})
		if err != nil {
			t.Fatal(err)
		}
		for i, piece := range pieces.GetPieces() {
			if piece.GetId() != p.GetLines()[i].GetPieceId() || piece.GetFieldId() != "ashbarrel" || piece.GetClaimId() != "" {
				t.Errorf("piece %d is %v on the market", i, piece)
			}
		}
		if _, err := d.cutters.TakeParcel(d.wetWheel, &cutterv1.TakeParcelRequest{RequestId: "t", ParcelId: p.GetId()}); err != nil {
			t.Fatal(err)
		}
		pieces, err = d.cutters.ListPieces(d.wetWheel, &cutterv1.ListPiecesRequest{ParcelId: p.GetId()})
		if err != nil {
			t.Fatal(err)
		}
		for i, piece := range pieces.GetPieces() {
			one, err := d.cutters.GetPiece(d.wetWheel, &cutterv1.GetPieceRequest{PieceId: piece.GetId()})
			if err != nil || piece.GetClaimId() != d.claim || !proto.Equal(one.GetPiece(), piece) {
				t.Errorf("piece %d is %v to its cutter, %v alone, %v", i, piece, one, err)
			}
		}
	})
	t.Run("OK: its seller sees the pieces as listed, with their claims; nobody else does", func(t *testing.T) {
		d := open(t)
		p := d.published(t)
		req := &minerv1.ListPiecesRequest{ParcelId: p.GetId()}
		pieces, err := d.miners.ListPieces(d.billycart, req)
		if err != nil || len(pieces.GetPieces()) != len(p.GetLines()) {
			t.Fatalf("got %v, %v", pieces, err)
		}
		for i, piece := range pieces.GetPieces() {
			if piece.GetId() != p.GetLines()[i].GetPieceId() || piece.GetClaimId() != d.claim || piece.GetParts() != nil {
				t.Errorf("piece %d is %v to its seller", i, piece)
			}
		}
		_, err = d.miners.ListPieces(d.wetWheel, req)
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "parcel_id")
	})
	t.Run("OK: a repeat gives the first outcome, whatever happened since", func(t *testing.T) {
		d := open(t)
		first, err := d.miners.PublishParcel(d.billycart, d.listing("again"))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := d.cutters.TakeParcel(d.wetWheel, &cutterv1.TakeParcelRequest{RequestId: "t", ParcelId: first.GetParcel().GetId()}); err != nil {
			t.Fatal(err)
		}
		again, err := d.miners.PublishParcel(d.billycart, d.listing("again"))
		if err != nil {
			t.Fatal(err)
		}
		if !proto.Equal(first, again) {
			t.Errorf("first %v, again %v", first, again)
		}
		changed := d.listing("again")
		changed.Label = "P2"
		_, err = d.miners.PublishParcel(d.billycart, changed)
		tradetest.Refused(t, err, codes.AlreadyExists, "REQUEST_ID_REUSED", "request_id")
	})
	t.Run("refused: pieces don't add up, with both sums and the tolerance", func(t *testing.T) {
		d := open(t)
		req := d.listing("list")
		req.Total = grams(6555)
		_, err := d.miners.PublishParcel(d.billycart, req)
		tradetest.Refused(t, err, codes.InvalidArgument, "MASSES_DONT_ADD_UP", "total.mass_ug")
		for _, part := range []string{"65.55 g", "65.05 g", "0.015 g"} {
			if !strings.Contains(err.Error(), part) {
				t.Errorf("%v doesn't say %s", err, part)
			}
		}
	})
	t.Run("refused: all that is wrong at once", func(t *testing.T) {
		d := open(t)
		req := d.listing("list")
		req.Pieces[1].Label, req.Pieces[0].Size, req.Pieces[1].ClaimId = "1", nil, "another"
		req.Agreement.Price.Nanos = 1
		_, err := d.miners.PublishParcel(d.billycart, req)
		tradetest.Refused(t, err, codes.InvalidArgument, "AMOUNT_INVALID", "pieces[1].label", "pieces[0].size", "pieces[1].claim_id", "agreement.price")
	})
	t.Run("refused: another's claim", func(t *testing.T) {
		d := open(t)
		_, err := d.miners.PublishParcel(d.ninthShaft, d.listing("list"))
		tradetest.Refused(t, err, codes.FailedPrecondition, "CLAIM_NOT_YOURS", "pieces[0].claim_id", "pieces[1].claim_id")
	})
	t.Run("refused: a mass below zero, an unknown currency, a party nobody knows", func(t *testing.T) {
		d := open(t)
		req := d.listing("list")
		req.Pieces[0].Weighing.MassUg = -1
		_, err := d.miners.PublishParcel(d.billycart, req)
		tradetest.Refused(t, err, codes.InvalidArgument, "INVALID_REQUEST", "pieces[0].weighing.mass_ug")
		req = d.listing("list")
		req.Agreement.Price.CurrencyCode = "ZZZ"
		_, err = d.miners.PublishParcel(d.billycart, req)
		tradetest.Refused(t, err, codes.InvalidArgument, "CURRENCY_UNKNOWN", "agreement.price.currency_code")
		req = d.listing("list")
		req.Agreement.Tiers[0].GetSplit().Ratios[0].Party = "somebody"
		_, err = d.miners.PublishParcel(d.billycart, req)
		tradetest.Refused(t, err, codes.FailedPrecondition, "MEMBER_NOT_THERE", "agreement.tiers")
	})
}

func TestOffers(t *testing.T) {
	d := open(t)
	p := d.published(t)
	low := d.offered(t, d.twoDops, p.GetId(), "o1", 1550)
	high := d.offered(t, d.wetWheel, p.GetId(), "o2", 1600)

	t.Run("OK: the seller sees all with their buyers, a buyer only their own", func(t *testing.T) {
		got, err := d.miners.ListOffers(d.billycart, &minerv1.ListOffersRequest{ParcelId: p.GetId()})
		if err != nil || len(got.GetOffers()) != 2 || got.GetOffers()[0].GetBuyerId() != "twodops" {
			t.Fatalf("got %v, %v", got, err)
		}
		mine, err := d.cutters.ListMyOffers(d.wetWheel, &cutterv1.ListMyOffersRequest{ParcelId: p.GetId()})
		if err != nil || len(mine.GetOffers()) != 1 || !proto.Equal(mine.GetOffers()[0], high) {
			t.Fatalf("got %v, %v", mine, err)
		}
	})
	t.Run("refused: another's parcel looks like none", func(t *testing.T) {
		_, others := d.miners.GetParcel(d.ninthShaft, &minerv1.GetParcelRequest{ParcelId: p.GetId()})
		_, none := d.miners.GetParcel(d.ninthShaft, &minerv1.GetParcelRequest{ParcelId: "none"})
		tradetest.Refused(t, others, codes.NotFound, "NOT_FOUND", "parcel_id")
		if others.Error() != none.Error() {
			t.Errorf("%q is not %q", others, none)
		}
		_, others = d.miners.AcceptOffer(d.ninthShaft, &minerv1.AcceptOfferRequest{RequestId: "a", ParcelId: p.GetId(), OfferId: low.GetId()})
		_, none = d.miners.AcceptOffer(d.ninthShaft, &minerv1.AcceptOfferRequest{RequestId: "a", ParcelId: "none", OfferId: low.GetId()})
		tradetest.Refused(t, others, codes.NotFound, "NOT_FOUND", "parcel_id")
		if others.Error() != none.Error() {
			t.Errorf("%q is not %q", others, none)
		}
	})
	t.Run("refused: the parcel isn't as it was seen, an offer came in between", func(t *testing.T) {
		_, err := d.miners.AcceptOffer(d.billycart, &minerv1.AcceptOfferRequest{RequestId: "a1", ParcelId: p.GetId(), OfferId: high.GetId(), Etag: p.GetEtag()})
		tradetest.Refused(t, err, codes.Aborted, "ETAG_DIFFERS", "etag")
	})
	t.Run("OK: accepted as seen; the rest is closed, and its buyer sees that and no more", func(t *testing.T) {
		seen, err := d.miners.GetParcel(d.billycart, &minerv1.GetParcelRequest{ParcelId: p.GetId()})
		if err != nil || seen.GetParcel().GetState() != typev1.ParcelState_PARCEL_STATE_UNDER_OFFER {
			t.Fatalf("got %v, %v", seen, err)
		}
		got, err := d.miners.AcceptOffer(d.billycart, &minerv1.AcceptOfferRequest{
			RequestId: "a2", ParcelId: p.GetId(), OfferId: high.GetId(), Etag: seen.GetParcel().GetEtag(),
		})
		if err != nil {
			t.Fatal(err)
		}
		if got.GetParcel().GetState() != typev1.ParcelState_PARCEL_STATE_AGREED || got.GetParcel().GetBuyerId() != "wetwheel" || got.GetParcel().GetAgreement().GetPrice().GetUnits() != 1600 {
			t.Errorf("got %v", got.GetParcel())
		}
		mine, err := d.cutters.ListMyOffers(d.twoDops, &cutterv1.ListMyOffersRequest{ParcelId: p.GetId()})
		if err != nil || mine.GetOffers()[0].GetState() != typev1.OfferState_OFFER_STATE_CLOSED {
			t.Errorf("got %v, %v", mine, err)
		}
		_, err = d.cutters.GetParcel(d.twoDops, &cutterv1.GetParcelRequest{ParcelId: p.GetId()})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "parcel_id")
	})
	t.Run("refused: an offer on a sold parcel", func(t *testing.T) {
		_, err := d.cutters.MakeOffer(d.twoDops, &cutterv1.MakeOfferRequest{
			RequestId: "late", ParcelId: p.GetId(), Agreement: halves(2000), EndsAt: time.Now().Add(time.Hour).Format(time.RFC3339),
		})
		tradetest.Refused(t, err, codes.FailedPrecondition, "PARCEL_NOT_LISTED", "parcel_id")
	})
}

func TestHandover(t *testing.T) {
	d := open(t)
	p := d.published(t)
	if _, err := d.cutters.TakeParcel(d.wetWheel, &cutterv1.TakeParcelRequest{RequestId: "t", ParcelId: p.GetId()}); err != nil {
		t.Fatal(err)
	}
	if _, err := d.miners.HandOverParcel(d.billycart, &minerv1.HandOverParcelRequest{RequestId: "h2", ParcelId: p.GetId(), Count: 2, Total: grams(6505)}); err != nil {
		t.Fatal(err)
	}
	got, err := d.cutters.ReceiveParcel(d.wetWheel, &cutterv1.ReceiveParcelRequest{RequestId: "h3", ParcelId: p.GetId(), Count: 2, Total: grams(6400)})
	if err != nil || got.GetParcel().GetState() != typev1.ParcelState_PARCEL_STATE_HANDED_OVER {
		t.Fatalf("got %v, %v", got, err)
	}
	if h := got.GetParcel().GetHandover(); h.GetDifferenceUg() != 1_050_000 || !h.GetBeyondTolerance() || h.GetSeller().GetCount() != 2 {
		t.Errorf("the difference is no exception with both sides' word: %v", h)
	}
	if p := got.GetParcel(); p.GetCustodyId() != "wetwheel" || p.GetTitleId() != "wetwheel" || p.GetDueAt() == "" {
		t.Errorf("custody, title and due date: %v", p)
	}
	share, err := d.miners.GetShare(d.billycart, &minerv1.GetShareRequest{ParcelId: p.GetId()})
	if err != nil || len(share.GetStatement().GetShares()) != 1 || share.GetStatement().GetShares()[0].GetMemberId() != "billycart" {
		t.Fatalf("got %v, %v", share, err)
	}
}
