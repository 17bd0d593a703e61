package tablestest

import (
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/domain/correction"
	"seamshare.example/services/domain/dispute"
	"seamshare.example/services/domain/payout"
	"seamshare.example/services/domain/stage"
)

// earning is a parcel that was sold and paid, and what is done with its money.
type earning struct {
	parcel, piece string
	paid          uint64 // the position of the receipt
	id, line      string // of the run, dispute or correction
}

// sold is a parcel that its miner has earned money with.
func sold(w *World) earning {
	r := roughListed(w)
	_, err := w.Cutter.Cutter().TakeParcel(w.Ctx(), &cutterv1.TakeParcelRequest{RequestId: command.NewID(), ParcelId: r.parcel})
	w.Must(err)
	_, err = w.Books.Coop().RecordParcelPayment(w.Ctx(), &coopv1.RecordParcelPaymentRequest{
		RequestId: command.NewID(), ParcelId: r.parcel, Amount: cooptest.AUD(100_000), Reference: "bank 1",
	})
	w.Must(err)
	w.twoPeople(w.Books, w.Approver)
	return earning{parcel: r.parcel, piece: r.piece, paid: receiptOf(w, r.parcel), id: nothing, line: nothing}
}

// receiptOf is the position of a parcel's last receipt.
func receiptOf(w *World, parcel string) (position uint64) {
	return positionOf(w, "parcel/"+parcel, "parcel.v1.Paid")
}

// positionOf is the position of a thing's last record of a type.
func positionOf(w *World, thing, event string) (position uint64) {
	got, err := w.Auditor.Coop().GetHistory(w.Ctx(), &coopv1.GetHistoryRequest{Thing: thing})
	w.Must(err)
	for _, r := range got.GetRecords() {
		if r.GetEvent() == event {
			position = r.GetPosition()
		}
	}
	return position
}

// steps makes an earning by steps after the sale.
func steps(some ...func(*World, earning) (earning, error)) func(*World) earning {
	return func(w *World) earning {
		e := sold(w)
		for _, step := range some {
			var err error
			e, err = step(w, e)
			w.Must(err)
		}
		return e
	}
}

func prepareFor(members ...func(*World) string) func(*World, earning) (earning, error) {
	return func(w *World, e earning) (earning, error) {
		req := &coopv1.PreparePayoutRunRequest{RequestId: command.NewID(), Currency: "AUD"}
		for _, m := range members {
			req.MemberIds = append(req.MemberIds, m(w))
		}
		got, err := w.Books.Coop().PreparePayoutRun(w.Ctx(), req)
		if err == nil {
			e.id, e.line = got.GetRun().GetId(), got.GetRun().GetLines()[0].GetId()
		}
		return e, err
	}
}

func approveRun(w *World, e earning) (earning, error) {
	_, err := w.Approver.Coop().ApprovePayoutRun(w.Ctx(), &coopv1.ApprovePayoutRunRequest{RequestId: command.NewID(), RunId: e.id})
	return e, err
}

// otherEarns sells a parcel of another miner, so that a run has two lines.
func otherEarns(w *World, e earning) (earning, error) {
	got, err := w.OtherMiner.Miner().PublishParcel(w.Ctx(), roughListing())
	if err != nil {
		return e, err
	}
	if _, err := w.Cutter.Cutter().TakeParcel(w.Ctx(), &cutterv1.TakeParcelRequest{RequestId: command.NewID(), ParcelId: got.GetParcel().GetId()}); err != nil {
		return e, err
	}
	_, err = w.Books.Coop().RecordParcelPayment(w.Ctx(), &coopv1.RecordParcelPaymentRequest{
		RequestId: command.NewID(), ParcelId: got.GetParcel().GetId(), Amount: cooptest.AUD(50_000), Reference: "bank 2",
	})
	return e, err
}

func payoutTrial() Trial {
	theMiner := func(w *World) string { return w.Miner.Member }
	theOther := func(w *World) string { return w.OtherMiner.Member }
	prepare := prepareFor(theMiner)
	reject := func(w *World, e earning) (earning, error) {
		_, err := w.Approver.Coop().RejectPayoutRun(w.Ctx(), &coopv1.RejectPayoutRunRequest{RequestId: command.NewID(), RunId: e.id, Reason: "built before a return"})
		return e, err
	}
	settle := func(w *World, e earning) (earning, error) {
		_, err := w.Books.Coop().SettlePayoutLine(w.Ctx(), &coopv1.SettlePayoutLineRequest{RequestId: command.NewID(), RunId: e.id, LineId: e.line, Reference: "bank 9"})
		return e, err
	}
	sendBack := func(by func(*World) cooptest.Person) func(w *World, e earning) (earning, error) {
		return func(w *World, e earning) (earning, error) {
			_, err := by(w).Coop().ReturnPayoutLine(w.Ctx(), &coopv1.ReturnPayoutLineRequest{RequestId: command.NewID(), RunId: e.id, LineId: e.line, Reason: "account closed"})
			return e, err
		}
	}
	theSecond := func(w *World) cooptest.Person {
		w.twoPeople(w.Books, w.SecondBooks)
		return w.SecondBooks
	}
	const oneSettled = "one is settled"
	waiting := []string{"one line", "two lines"}
	return Thing[earning]{
		Table: payout.Table,
		In: map[string][]Recipe[earning]{
			stage.None: {{Make: sold}},
			"prepared": {{Make: steps(prepare)}},
			"rejected": {{Make: steps(prepare, reject)}},
			"approved": {
				{Name: "one line", Make: steps(prepare, approveRun)},
				{Name: "two lines", Make: steps(otherEarns, prepareFor(theMiner, theOther), approveRun)},
				{Name: oneSettled, Make: steps(otherEarns, prepareFor(theMiner, theOther), approveRun, settle)},
			},
			"settled": {{Make: steps(prepare, approveRun, settle)}},
		},
		Do: map[string][]Call[earning]{
			"CoopService/PreparePayoutRun": {{Fresh: true, Do: prepare}},
			"CoopService/ApprovePayoutRun": {{Do: approveRun}},
			"CoopService/RejectPayoutRun":  {{Do: reject}},
			"CoopService/SettlePayoutLine": {{With: waiting, Do: settle}},
			"CoopService/ReturnPayoutLine": {
				{With: waiting, In: []string{stage.None, "prepared", "rejected", "approved"}, Do: sendBack(func(w *World) cooptest.Person { return w.Books })},
				{Name: "settled by mistake", With: []string{oneSettled, ""}, In: []string{"approved", "settled"}, Do: sendBack(theSecond)},
			},
		},
		State: func(w *World, e earning) string {
			got, err := w.Auditor.Coop().GetPayoutRun(w.Ctx(), &coopv1.GetPayoutRunRequest{RunId: e.id})
			if status.Code(err) == codes.NotFound {
				return stage.None
			}
			w.Must(err)
			return got.GetRun().GetStage()
		},
	}
}

func disputeTrial() Trial {
	open := func(w *World, e earning) (earning, error) {
		got, err := w.Cutter.Coop().OpenDispute(w.Ctx(), &coopv1.OpenDisputeRequest{
			RequestId: command.NewID(), About: "parcel/" + e.parcel, AgainstMemberId: w.Miner.Member, Amount: cooptest.AUD(1_000), Reason: "two pieces were glued",
		})
		if err == nil {
			e.id = got.GetDispute().GetId()
		}
		return e, err
	}
	resolve := func(w *World, e earning) (earning, error) {
		_, err := w.Approver.Coop().ResolveDispute(w.Ctx(), &coopv1.ResolveDisputeRequest{RequestId: command.NewID(), DisputeId: e.id, Outcome: "they were not"})
		return e, err
	}
	withdraw := func(w *World, e earning) (earning, error) {
		_, err := w.Cutter.Coop().WithdrawDispute(w.Ctx(), &coopv1.WithdrawDisputeRequest{RequestId: command.NewID(), DisputeId: e.id, Reason: "looked again"})
		return e, err
	}
	return Thing[earning]{
		Table: dispute.Table,
		In: map[string][]Recipe[earning]{
			stage.None:  {{Make: sold}},
			"open":      {{Make: steps(open)}},
			"resolved":  {{Make: steps(open, resolve)}},
			"withdrawn": {{Make: steps(open, withdraw)}},
		},
		Do: map[string][]Call[earning]{
			"CoopService/OpenDispute":     {{Fresh: true, Do: open}},
			"CoopService/ResolveDispute":  {{Do: resolve}},
			"CoopService/WithdrawDispute": {{Do: withdraw}},
		},
		State: func(w *World, e earning) string {
			got, err := w.Auditor.Coop().GetDispute(w.Ctx(), &coopv1.GetDisputeRequest{DisputeId: e.id})
			if status.Code(err) == codes.NotFound {
				return stage.None
			}
			w.Must(err)
			return got.GetDispute().GetStage()
		},
	}
}

func correctionTrial() Trial {
	pay := func(w *World, e earning) (earning, error) {
		run, err := prepareFor(func(w *World) string { return w.Miner.Member })(w, e)
		if err == nil {
			_, err = approveRun(w, run)
		}
		return e, err
	}
	amount := func(w *World, e earning) (earning, error) {
		got, err := w.Books.Coop().CorrectAmount(w.Ctx(), &coopv1.CorrectAmountRequest{RequestId: command.NewID(), Corrects: e.paid, Amount: cooptest.AUD(90_000), Reason: "typed wrong"})
		e.id = got.GetCorrection().GetId()
		return e, err
	}
	described := func(w *World, e earning) uint64 { return positionOf(w, "piece/"+e.piece, "piece.v1.Described") }
	confirm := func(w *World, e earning) (earning, error) {
		_, err := w.Approver.Coop().ConfirmCorrection(w.Ctx(), &coopv1.ConfirmCorrectionRequest{RequestId: command.NewID(), CorrectionId: e.id})
		return e, err
	}
	refuse := func(w *World, e earning) (earning, error) {
		_, err := w.Approver.Coop().RefuseCorrection(w.Ctx(), &coopv1.RefuseCorrectionRequest{RequestId: command.NewID(), CorrectionId: e.id, Reason: "it was right"})
		return e, err
	}
	ofStone := func(w *World, e earning) (earning, error) {
		w.twoPeople(w.Cutter, w.Approver)
		got, err := w.Cutter.Coop().CorrectStone(w.Ctx(), &coopv1.CorrectStoneRequest{
			RequestId: command.NewID(), StoneId: stonesOnSale(w, 1)[0].GetId(), Treatment: typev1.Treatment_TREATMENT_RESIN, Outline: typev1.Outline_OUTLINE_PEAR,
			Reason: "a crack was filled",
		})
		e.id = got.GetCorrection().GetId()
		return e, err
	}
	ofPiece := func(w *World, e earning) (earning, error) {
		w.twoPeople(w.Miner, w.Approver)
		none := "" // nobody knows after all which claim it comes from
		got, err := w.Miner.Coop().CorrectPiece(w.Ctx(), &coopv1.CorrectPieceRequest{
			RequestId: command.NewID(), PieceId: stonesOnSale(w, 1)[0].GetPieceId(), Kind: typev1.Kind_KIND_MATRIX, ClaimId: &none, Reason: "two bags were swapped",
		})
		e.id = got.GetCorrection().GetId()
		return e, err
	}
	return Thing[earning]{
		Table: correction.Table,
		In: map[string][]Recipe[earning]{
			stage.None:                  {{Name: "nobody was paid", Make: sold}, {Name: "paid since", Make: steps(pay)}},
			"waits for a second person": {{Name: "of money", Make: steps(pay, amount)}, {Name: "of a stone", Make: steps(ofStone)}, {Name: "of a piece", Make: steps(ofPiece)}},
			"done":                      {{Name: "at once", Make: steps(amount)}, {Name: "by a second person", Make: steps(pay, amount, confirm)}, {Name: "of a piece", Make: steps(ofPiece, confirm)}},
			"refused":                   {{Make: steps(pay, amount, refuse)}},
		},
		Do: map[string][]Call[earning]{
			"CoopService/CorrectAmount":     {{Fresh: true, Do: amount}},
			"CoopService/ConfirmCorrection": {{Do: confirm}},
			"CoopService/RefuseCorrection":  {{Do: refuse}},
			"CoopService/CorrectMass": {{Fresh: true, Do: func(w *World, e earning) (earning, error) {
				got, err := w.Keeper.Coop().CorrectMass(w.Ctx(), &coopv1.CorrectMassRequest{RequestId: command.NewID(), Corrects: described(w, e), Weighing: cooptest.Grams(9_990_000), Reason: "the pan was on the scale"})
				e.id = got.GetCorrection().GetId()
				return e, err
			}}},
			"CoopService/CorrectStone": {{Fresh: true, Do: ofStone}},
			"CoopService/CorrectPiece": {{Fresh: true, Do: ofPiece}},
			"CoopService/CorrectSize": {{Fresh: true, Do: func(w *World, e earning) (earning, error) {
				got, err := w.Keeper.Coop().CorrectSize(w.Ctx(), &coopv1.CorrectSizeRequest{
					RequestId: command.NewID(), Corrects: described(w, e), Size: &typev1.Size{LengthUm: 31_000, WidthUm: 20_000, DepthUm: 9_000}, Reason: "read the caliper wrong",
				})
				e.id = got.GetCorrection().GetId()
				return e, err
			}}},
		},
		State: func(w *World, e earning) string {
			for token := ""; ; {
				got, err := w.Auditor.Coop().ListCorrections(w.Ctx(), &coopv1.ListCorrectionsRequest{PageSize: 200, PageToken: token})
				w.Must(err)
				for _, c := range got.GetCorrections() {
					if c.GetId() == e.id {
						return c.GetStage()
					}
				}
				if token = got.GetNextPageToken(); token == "" {
					return stage.None
				}
			}
		},
	}
}
