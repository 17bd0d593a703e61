package tablestest

import (
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/stage"
)

// minerTrials are the trials of the miner's things.
func minerTrials() []Trial {
	return []Trial{claimTrial(), parcelTrial(), viewingTrial(), offerTrial(), counterTrial(), dealTrial(), handoverTrial(), agreementTrial()}
}

// nothing is nobody's id.
const nothing = "nothing"

// rough is a parcel of the miner's and what lies around it. Where there is no offer or
// viewing, their ids are nobody's.
type rough struct {
	parcel, piece, group string
	offer, second        string // second: another cutter's
	counter, viewing     string
}

func noRough(*World) rough {
	return rough{nothing, nothing, nothing, nothing, nothing, nothing, nothing}
}

const (
	roughCount = 10
	roughUg    = 30_000_000
	roughPrice = 160_000
)

// listing is one piece of 10 g and a group of nine of 20 g, field not shown.
func roughListing() *minerv1.PublishParcelRequest {
	return &minerv1.PublishParcelRequest{
		RequestId: command.NewID(), Label: "P1", Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, OpenAtAsking: true,
		Agreement: cooptest.RisingShare(roughPrice), Total: cooptest.Grams(roughUg),
		Pieces: []*minerv1.NewPiece{
			{Label: "1", Weighing: cooptest.Grams(10_000_000), Size: &typev1.Size{LengthUm: 30_000, WidthUm: 20_000, DepthUm: 9_000}, Kind: typev1.Kind_KIND_BOULDER, Photos: []*typev1.Photo{cooptest.Photo()}},
			{Label: "2", Weighing: cooptest.Grams(20_000_000), Kind: typev1.Kind_KIND_MATRIX, Count: 9, SmallestUm: 8_000, LargestUm: 15_000},
		},
	}
}

func of(r rough, p *typev1.Parcel) rough {
	r.parcel = p.GetId()
	if lines := p.GetLines(); len(lines) > 1 {
		r.piece, r.group = lines[0].GetPieceId(), lines[1].GetPieceId()
	}
	return r
}

func publishRough(w *World, r rough) (rough, error) {
	got, err := w.Miner.Miner().PublishParcel(w.Ctx(), roughListing())
	return of(r, got.GetParcel()), err
}

func roughListed(w *World) rough {
	r, err := publishRough(w, noRough(w))
	w.Must(err)
	return r
}

func soon(w *World) string { return w.Now().Add(time.Hour).Format(time.RFC3339) }

// atPrice are the listing's terms at another price; rough for nothing goes on the listing's own.
func atPrice(minor int64) *typev1.Agreement {
	if minor == 0 {
		return &typev1.Agreement{Price: cooptest.AUD(0)}
	}
	return cooptest.RisingShare(minor)
}

func bid(w *World, who cooptest.Person, r rough, price int64) (string, error) {
	got, err := who.Cutter().MakeOffer(w.Ctx(), &cutterv1.MakeOfferRequest{RequestId: command.NewID(), ParcelId: r.parcel, Agreement: atPrice(price), EndsAt: soon(w)})
	return got.GetOffer().GetId(), err
}

func makeOffer(w *World, r rough) (rough, error) {
	id, err := bid(w, w.Cutter, r, roughPrice)
	r.offer = id
	return r, err
}

func bidFor(w *World) rough {
	r, err := makeOffer(w, roughListed(w))
	w.Must(err)
	return r
}

func bidTwice(w *World) rough {
	r := bidFor(w)
	id, err := bid(w, w.OtherCutter, r, roughPrice+1)
	w.Must(err)
	r.second = id
	return r
}

func counterOffer(w *World, r rough) (rough, error) {
	got, err := w.Miner.Miner().CounterOffer(w.Ctx(), &minerv1.CounterOfferRequest{
		RequestId: command.NewID(), ParcelId: r.parcel, OfferId: r.offer, Agreement: atPrice(roughPrice + 10_000), EndsAt: soon(w),
	})
	if err == nil {
		r.counter = got.GetOffer().GetId()
	}
	return r, err
}

func answered(w *World) rough {
	r, err := counterOffer(w, bidFor(w))
	w.Must(err)
	return r
}

// after gives a recipe that goes on from another.
func after[X any](from func(*World) X, do func(*World, X) (X, error)) func(*World) X {
	return func(w *World) X {
		x, err := do(w, from(w))
		w.Must(err)
		return x
	}
}

// said keeps the thing as it is known where a call tells nothing new of it.
func said[X any](call func(*World, X) error) func(*World, X) (X, error) {
	return func(w *World, x X) (X, error) { return x, call(w, x) }
}

var (
	acceptOffer = said(func(w *World, r rough) error {
		_, err := w.Miner.Miner().AcceptOffer(w.Ctx(), &minerv1.AcceptOfferRequest{RequestId: command.NewID(), ParcelId: r.parcel, OfferId: r.offer})
		return err
	})
	declineOffer = said(func(w *World, r rough) error {
		_, err := w.Miner.Miner().DeclineOffer(w.Ctx(), &minerv1.DeclineOfferRequest{RequestId: command.NewID(), ParcelId: r.parcel, OfferId: r.offer, Why: "too low"})
		return err
	})
	withdrawOffer = said(func(w *World, r rough) error {
		_, err := w.Cutter.Cutter().WithdrawOffer(w.Ctx(), &cutterv1.WithdrawOfferRequest{RequestId: command.NewID(), ParcelId: r.parcel, OfferId: r.offer})
		return err
	})
	acceptCounter = said(func(w *World, r rough) error {
		_, err := w.Cutter.Cutter().AcceptCounterOffer(w.Ctx(), &cutterv1.AcceptCounterOfferRequest{RequestId: command.NewID(), ParcelId: r.parcel, OfferId: r.counter})
		return err
	})
	declineCounter = said(func(w *World, r rough) error {
		_, err := w.Cutter.Cutter().DeclineCounterOffer(w.Ctx(), &cutterv1.DeclineCounterOfferRequest{RequestId: command.NewID(), ParcelId: r.parcel, OfferId: r.counter})
		return err
	})
	withdrawCounter = said(func(w *World, r rough) error {
		_, err := w.Miner.Miner().WithdrawCounterOffer(w.Ctx(), &minerv1.WithdrawCounterOfferRequest{RequestId: command.NewID(), ParcelId: r.parcel, OfferId: r.counter})
		return err
	})
	takeRough = said(func(w *World, r rough) error {
		_, err := w.Cutter.Cutter().TakeParcel(w.Ctx(), &cutterv1.TakeParcelRequest{RequestId: command.NewID(), ParcelId: r.parcel})
		return err
	})
	anotherTakes = said(func(w *World, r rough) error {
		_, err := w.OtherCutter.Cutter().TakeParcel(w.Ctx(), &cutterv1.TakeParcelRequest{RequestId: command.NewID(), ParcelId: r.parcel})
		return err
	})
	reprice = said(func(w *World, r rough) error {
		_, err := w.Miner.Miner().RepriceParcel(w.Ctx(), &minerv1.RepriceParcelRequest{RequestId: command.NewID(), ParcelId: r.parcel, Agreement: atPrice(roughPrice - 1), OpenAtAsking: true})
		return err
	})
	withdrawRough = said(func(w *World, r rough) error {
		_, err := w.Miner.Miner().WithdrawParcel(w.Ctx(), &minerv1.WithdrawParcelRequest{RequestId: command.NewID(), ParcelId: r.parcel, Why: "kept"})
		return err
	})
	relist = said(func(w *World, r rough) error {
		_, err := w.Miner.Miner().RelistParcel(w.Ctx(), &minerv1.RelistParcelRequest{RequestId: command.NewID(), ParcelId: r.parcel, Agreement: atPrice(roughPrice), OpenAtAsking: true})
		return err
	})
	handOver = said(func(w *World, r rough) error {
		_, err := w.Miner.Miner().HandOverParcel(w.Ctx(), &minerv1.HandOverParcelRequest{RequestId: command.NewID(), ParcelId: r.parcel, Count: roughCount, Total: cooptest.Grams(roughUg)})
		return err
	})
	receiveRough = said(func(w *World, r rough) error {
		_, err := w.Cutter.Cutter().ReceiveParcel(w.Ctx(), &cutterv1.ReceiveParcelRequest{RequestId: command.NewID(), ParcelId: r.parcel, Count: roughCount, Total: cooptest.Grams(roughUg)})
		return err
	})
	callOffUnpaid = said(func(w *World, r rough) error {
		_, err := w.Miner.Miner().CallOffUnpaidDeal(w.Ctx(), &minerv1.CallOffUnpaidDealRequest{RequestId: command.NewID(), ParcelId: r.parcel})
		return err
	})
	callOffMisdescribed = said(func(w *World, r rough) error {
		_, err := w.Cutter.Cutter().CallOffMisdescribedDeal(w.Ctx(), &cutterv1.CallOffMisdescribedDealRequest{RequestId: command.NewID(), ParcelId: r.parcel, Why: "glued"})
		return err
	})
	takeBack = said(func(w *World, r rough) error {
		_, err := w.Miner.Miner().TakeBackParcel(w.Ctx(), &minerv1.TakeBackParcelRequest{RequestId: command.NewID(), ParcelId: r.parcel, Count: roughCount, Total: cooptest.Grams(roughUg)})
		return err
	})
	giveBack = said(func(w *World, r rough) error {
		_, err := w.Cutter.Cutter().GiveBackParcel(w.Ctx(), &cutterv1.GiveBackParcelRequest{RequestId: command.NewID(), ParcelId: r.parcel, Count: roughCount, Total: cooptest.Grams(roughUg)})
		return err
	})
	payPart    = payRough(roughPrice / 2)
	payAll     = payRough(roughPrice)
	monthLater = said(func(w *World, _ rough) error { w.Advance(31 * 24 * time.Hour); return nil })
	hoursLater = said(func(w *World, _ rough) error { w.Advance(2 * time.Hour); return nil })
	takenOut   = []*typev1.TakenOut{{Label: "2a", Weighing: cooptest.Grams(2_000_000), Size: &typev1.Size{LengthUm: 9_000, WidthUm: 8_000, DepthUm: 5_000}}}
)

func payRough(minor int64) func(*World, rough) (rough, error) {
	return said(func(w *World, r rough) error {
		_, err := w.Books.Coop().RecordParcelPayment(w.Ctx(), &coopv1.RecordParcelPaymentRequest{RequestId: command.NewID(), ParcelId: r.parcel, Amount: cooptest.AUD(minor), Reference: "bank"})
		return err
	})
}

// none is where a thing stands that its owner doesn't find; any other error ends the test.
func (w *World) none(err error) bool {
	if status.Code(err) == codes.NotFound {
		return true
	}
	w.Must(err)
	return false
}

func (w *World) parcel(r rough) *typev1.Parcel {
	got, err := w.Miner.Miner().GetParcel(w.Ctx(), &minerv1.GetParcelRequest{ParcelId: r.parcel})
	if w.none(err) {
		return nil
	}
	return got.GetParcel()
}

func claimTrial() Trial {
	type claim struct{ id string }
	record := func(w *World, c claim) (claim, error) {
		got, err := w.Miner.Miner().RecordClaim(w.Ctx(), &minerv1.RecordClaimRequest{RequestId: command.NewID(), FieldId: w.FieldID, Name: "Claim " + command.NewID()})
		return claim{got.GetClaim().GetId()}, err
	}
	closing := said(func(w *World, c claim) error {
		_, err := w.Miner.Miner().CloseClaim(w.Ctx(), &minerv1.CloseClaimRequest{RequestId: command.NewID(), ClaimId: c.id, Why: "worked out"})
		return err
	})
	recorded := after(func(*World) claim { return claim{nothing} }, record)
	return Thing[claim]{
		Table: member.ClaimTable,
		In: map[string][]Recipe[claim]{
			stage.None: {{Make: func(*World) claim { return claim{nothing} }}},
			"worked":   {{Make: recorded}},
			"closed":   {{Make: after(recorded, closing)}},
		},
		Do: map[string][]Call[claim]{
			"MinerService/RecordClaim": {{Fresh: true, Do: record}},
			"MinerService/CloseClaim":  {{Do: closing}},
		},
		State: func(w *World, c claim) string {
			for token := ""; ; {
				got, err := w.Miner.Miner().ListClaims(w.Ctx(), &minerv1.ListClaimsRequest{PageToken: token})
				w.Must(err)
				for _, found := range got.GetClaims() {
					if found.GetId() == c.id {
						return map[minerv1.ClaimState]string{minerv1.ClaimState_CLAIM_STATE_WORKED: "worked", minerv1.ClaimState_CLAIM_STATE_CLOSED: "closed"}[found.GetState()]
					}
				}
				if token = got.GetNextPageToken(); token == "" {
					return stage.None
				}
			}
		},
	}
}

var viewingStates = map[typev1.ViewingState]string{
	typev1.ViewingState_VIEWING_STATE_ASKED: "asked", typev1.ViewingState_VIEWING_STATE_AGREED: "agreed", typev1.ViewingState_VIEWING_STATE_OUT: "out",
	typev1.ViewingState_VIEWING_STATE_ENDED: "ended", typev1.ViewingState_VIEWING_STATE_CALLED_OFF: "called off",
}

func viewingTrial() Trial {
	ask := func(w *World, r rough) (rough, error) {
		r = roughListed(w)
		got, err := w.Cutter.Cutter().AskViewing(w.Ctx(), &cutterv1.AskViewingRequest{RequestId: command.NewID(), ParcelId: r.parcel, At: soon(w), Rub: true})
		r.viewing = got.GetViewing().GetId()
		return r, err
	}
	agree := said(func(w *World, r rough) error {
		_, err := w.Miner.Miner().AgreeViewing(w.Ctx(), &minerv1.AgreeViewingRequest{RequestId: command.NewID(), ParcelId: r.parcel, ViewingId: r.viewing, MayRub: true})
		return err
	})
	callOff := said(func(w *World, r rough) error {
		_, err := w.Miner.Miner().CallOffViewing(w.Ctx(), &minerv1.CallOffViewingRequest{RequestId: command.NewID(), ParcelId: r.parcel, ViewingId: r.viewing})
		return err
	})
	cancel := said(func(w *World, r rough) error {
		_, err := w.Cutter.Cutter().CancelViewing(w.Ctx(), &cutterv1.CancelViewingRequest{RequestId: command.NewID(), ParcelId: r.parcel, ViewingId: r.viewing})
		return err
	})
	start := said(func(w *World, r rough) error {
		_, err := w.Miner.Miner().StartViewing(w.Ctx(), &minerv1.StartViewingRequest{
			RequestId: command.NewID(), ParcelId: r.parcel, ViewingId: r.viewing, Count: roughCount, Total: cooptest.Grams(roughUg),
		})
		return err
	})
	end := said(func(w *World, r rough) error {
		_, err := w.Miner.Miner().EndViewing(w.Ctx(), &minerv1.EndViewingRequest{
			RequestId: command.NewID(), ParcelId: r.parcel, ViewingId: r.viewing, Count: roughCount, Total: cooptest.Grams(roughUg), Light: "north window",
		})
		return err
	})
	asked := after(noRough, ask)
	agreed := after(asked, agree)
	out := after(agreed, start)
	return Thing[rough]{
		Table: parcel.ViewingTable,
		In: map[string][]Recipe[rough]{
			stage.None: {{Make: noRough}, {Name: "of a parcel that is there", Make: roughListed}},
			"asked":    {{Make: asked}}, "agreed": {{Make: agreed}}, "out": {{Make: out}}, "ended": {{Make: after(out, end)}},
			"called off": {{Name: "by the seller", Make: after(asked, callOff)}, {Name: "by the viewer", Make: after(agreed, cancel)}, {Name: "as the parcel was withdrawn", Make: after(agreed, withdrawRough)}},
		},
		Do: map[string][]Call[rough]{
			"CutterService/AskViewing":    {{Fresh: true, Do: ask}},
			"CutterService/CancelViewing": {{Do: cancel}},
			"MinerService/AgreeViewing":   {{Do: agree}},
			"MinerService/CallOffViewing": {{Do: callOff}},
			"MinerService/StartViewing":   {{Do: start}},
			"MinerService/EndViewing":     {{Do: end}},
		},
		State: func(w *World, r rough) string {
			for token := ""; ; {
				got, err := w.Miner.Miner().ListViewings(w.Ctx(), &minerv1.ListViewingsRequest{PageToken: token, PageSize: 200})
				w.Must(err)
				for _, v := range got.GetViewings() {
					if v.GetId() == r.viewing {
						return viewingStates[v.GetState()]
					}
				}
				if token = got.GetNextPageToken(); token == "" {
					return stage.None
				}
			}
		},
	}
}
