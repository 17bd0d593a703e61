package wholetest_test

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"image"
	"image/png"
	"time"

	gmoney "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/protobuf/proto"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tablestest"
)

// fixtures are right calls of rpcs that no recipe of a state table makes, or makes for one
// caller only.
var fixtures = map[string]func(*tablestest.World) asked{
	"AccessService/IssueToken": func(w *tablestest.World) asked {
		as := w.Miner.SignIn
		assertion, err := access.SignAssertion(as.Key, as.Person, as.Member, as.Coop, time.Now())
		w.Must(err)
		return asked{w.Nobody(w.T), &coopv1.IssueTokenRequest{Assertion: assertion}}
	},
	"PhotoService/AddPhoto": by(miner, func(w *tablestest.World) proto.Message { return aPicture(w) }),
	"PhotoService/GetPhoto": by(miner, func(w *tablestest.World) proto.Message {
		got, err := coopv1.NewPhotoServiceClient(w.Miner.Conn).AddPhoto(w.Ctx(), aPicture(w))
		w.Must(err)
		return &coopv1.GetPhotoRequest{Sha256: got.GetSha256()}
	}),
	"CoopService/RecordField": by(registrar, func(w *tablestest.World) proto.Message {
		return &coopv1.RecordFieldRequest{Name: fresh("Field"), Country: "clay country"}
	}),
	"CoopService/ChangeSettings": by(registrar, func(w *tablestest.World) proto.Message {
		got, err := w.Registrar.Coop().GetSettings(w.Ctx(), &coopv1.GetSettingsRequest{})
		w.Must(err)
		settings := got.GetSettings()
		settings.HoldHours = settings.GetHoldHours()%100 + 1
		return &coopv1.ChangeSettingsRequest{Settings: settings, Reason: "the members met"}
	}),
	"CoopService/StateTwoPeople": by(auditor, func(w *tablestest.World) proto.Message {
		a, b := w.Add(w.T, w.Miner.Member, typev1.Role_ROLE_MINER), w.Add(w.T, w.Cutter.Member, typev1.Role_ROLE_CUTTER)
		return &coopv1.StateTwoPeopleRequest{PersonId: a.Person, OtherPersonId: b.Person, Basis: "both were in the room"}
	}),
	"CoopService/RecordPersonal": by(miner, func(w *tablestest.World) proto.Message {
		return &coopv1.RecordPersonalRequest{PersonId: w.Miner.Person, Field: typev1.PersonalField(1), Value: "someone"}
	}),
	"CoopService/GetPersonal": by(miner, func(w *tablestest.World) proto.Message {
		return &coopv1.GetPersonalRequest{PersonId: w.Miner.Person}
	}),
	"CoopService/ErasePerson": by(registrar, func(w *tablestest.World) proto.Message {
		return &coopv1.ErasePersonRequest{PersonId: removed(w), Reason: "asked for it"}
	}),
	"CoopService/GetErasure": by(registrar, func(w *tablestest.World) proto.Message {
		id := removed(w)
		_, err := w.Registrar.Coop().ErasePerson(w.Ctx(), &coopv1.ErasePersonRequest{RequestId: command.NewID(), PersonId: id, Reason: "asked for it"})
		w.Must(err)
		return &coopv1.GetErasureRequest{PersonId: id}
	}),
	// Another cutter's, as nobody is paid out for some days after their bank details changed.
	"CoopService/SetBankDetails": by(another, func(w *tablestest.World) proto.Message {
		return &coopv1.SetBankDetailsRequest{MemberId: w.OtherCutter.Member, PersonId: w.OtherCutter.Person, Value: "account 1"}
	}),
	"CoopService/GetBankDetails": by(another, func(w *tablestest.World) proto.Message {
		return &coopv1.GetBankDetailsRequest{MemberId: w.OtherCutter.Member}
	}),
	"CoopService/MoveStock": by(keeper, func(w *tablestest.World) proto.Message {
		return &coopv1.MoveStockRequest{Thing: "stone/" + cut(w).Stones[0].GetId(), HolderId: w.Keeper.Member, Place: fresh("tray ")}
	}),
	"CoopService/CountStock": by(keeper, func(w *tablestest.World) proto.Message {
		thing, place := onTray(w)
		return &coopv1.CountStockRequest{Place: place, Found: []*coopv1.CountedThing{{Thing: thing}}}
	}),
	"CoopService/GetHistory": by(auditor, func(w *tablestest.World) proto.Message {
		return &coopv1.GetHistoryRequest{Thing: "parcel/" + listed(w)}
	}),
	"CoopService/CloseException": by(keeper, func(w *tablestest.World) proto.Message {
		return &coopv1.CloseExceptionRequest{ExceptionId: missed(w), Note: "it lay beside the tray"}
	}),
	"CoopService/CheckPayoutRun": by(books, func(w *tablestest.World) proto.Message {
		p := cut(w)
		_, err := w.Books.Coop().RecordParcelPayment(w.Ctx(), &coopv1.RecordParcelPaymentRequest{RequestId: command.NewID(), ParcelId: p.ID, Amount: cooptest.AUD(1000), Reference: "transfer"})
		w.Must(err)
		got, err := w.Books.Coop().ListPayoutRuns(w.Ctx(), &coopv1.ListPayoutRunsRequest{})
		w.Must(err)
		if len(got.GetRuns()) == 0 {
			w.T.Fatal("no recipe of a payout run was played before")
		}
		return &coopv1.CheckPayoutRunRequest{RunId: got.GetRuns()[0].GetId()}
	}),
	"CoopService/GetShares":     by(books, func(w *tablestest.World) proto.Message { return &coopv1.GetSharesRequest{ParcelId: cut(w).ID} }),
	"CoopService/GetStoneChain": by(miner, func(w *tablestest.World) proto.Message { return &coopv1.GetStoneChainRequest{StoneId: sold(w).stone} }),
	"CoopService/GetLotChain":   by(cutter, func(w *tablestest.World) proto.Message { return &coopv1.GetLotChainRequest{LotId: lotOf(w)} }),
	"CutterService/StudyPiece": by(cutter, func(w *tablestest.World) proto.Message {
		req := tablestest.StudyDrawn(w)
		req.Note, req.Photos = "wet", []*typev1.Photo{cooptest.Photo()}
		return req
	}),
	"CutterService/MakePlan": by(cutter, func(w *tablestest.World) proto.Message {
		return &cutterv1.MakePlanRequest{PieceId: tablestest.DrawnPiece(w), Plan: tablestest.MeasuredDraft()}
	}),
	"CutterService/RevisePlan": by(cutter, func(w *tablestest.World) proto.Message {
		piece, plan := tablestest.MeasuredPlan(w)
		return &cutterv1.RevisePlanRequest{PieceId: piece, PlanId: plan, Plan: tablestest.MeasuredDraft(), Why: "the bar dips"}
	}),
	"CutterService/GetStudy": by(cutter, func(w *tablestest.World) proto.Message {
		return &cutterv1.GetStudyRequest{PieceId: tablestest.DrawnPiece(w)}
	}),
	"CutterService/GetPlan": by(cutter, func(w *tablestest.World) proto.Message {
		piece, plan := tablestest.MeasuredPlan(w)
		return &cutterv1.GetPlanRequest{PieceId: piece, PlanId: plan}
	}),
	"CutterService/EvaluatePlan": by(cutter, func(w *tablestest.World) proto.Message {
		piece, plan := tablestest.MeasuredPlan(w)
		return &cutterv1.EvaluatePlanRequest{PieceId: piece, PlanId: plan}
	}),
	"CutterService/SuggestPlans": by(cutter, func(w *tablestest.World) proto.Message { return tablestest.Suggest(w) }),
	"CutterService/DrawPlan": by(cutter, func(w *tablestest.World) proto.Message {
		piece, plan := tablestest.MeasuredPlan(w)
		return &cutterv1.DrawPlanRequest{PieceId: piece, PlanId: plan}
	}),
	"CutterService/ListDecisions": by(cutter, func(w *tablestest.World) proto.Message {
		return &cutterv1.ListDecisionsRequest{PieceId: tablestest.DecidedPiece(w)}
	}),
	"CutterService/GetDecisionRecord": by(cutter, func(*tablestest.World) proto.Message {
		return &cutterv1.GetDecisionRecordRequest{Kind: typev1.DecisionKind_DECISION_KIND_SEAMS}
	}),
	"CutterService/EstimateStone": by(cutter, func(*tablestest.World) proto.Message {
		return &cutterv1.EstimateStoneRequest{
			Kind: typev1.Kind_KIND_SOLID, Outline: typev1.Outline_OUTLINE_OVAL, LengthUm: 12_000, WidthUm: 9_000, Top: cutterv1.TopForm_TOP_FORM_ELLIPTICAL,
			DomeUm: 1_000, WallUm: 2_000, Layers: []*cutterv1.StoneLayer{{SgMilli: 2_100}},
		}
	}),
	"CutterService/EstimateGravity": by(cutter, func(*tablestest.World) proto.Message {
		return &cutterv1.EstimateGravityRequest{
			Air: &typev1.Weighing{MassUg: 2_400_000, DivisionUg: 10_000}, Water: &typev1.Weighing{MassUg: 1_260_000, DivisionUg: 10_000}, Sound: true,
		}
	}),
	"CutterService/EstimateSlabs": by(cutter, func(*tablestest.World) proto.Message {
		return &cutterv1.EstimateSlabsRequest{ThicknessUm: 22_000, SlabUm: 4_000, KerfUm: 600}
	}),
	"CutterService/EstimateSeams": by(cutter, func(*tablestest.World) proto.Message {
		return &cutterv1.EstimateSeamsRequest{
			AngleMdeg: 14_000, FromUm: 4_000, ToUm: 38_000, BackingUm: 1_200, KerfUm: 600, Cut: cutterv1.SeamCut_SEAM_CUT_BISECTOR,
			Wager: &cutterv1.Wager{One: cooptest.AUD(135_000), Holds: cooptest.AUD(191_000), Fails: cooptest.AUD(42_000), ChanceBp: 7_000},
		}
	}),
	"CutterService/EstimateChoice": by(cutter, func(*tablestest.World) proto.Message {
		return &cutterv1.EstimateChoiceRequest{
			States: []*cutterv1.ChoiceState{{Name: "holds", ChanceBp: 10_000}},
			Acts:   []*cutterv1.ChoiceAct{{Name: "both", Values: []*gmoney.Money{cooptest.AUD(191_000)}}},
		}
	}),
	"CutterService/EstimateInclusion": by(cutter, func(*tablestest.World) proto.Message {
		return &cutterv1.EstimateInclusionRequest{
			MassUg: 608_000, ThicknessUm: 300, FaceUm2: 84_800_000, SgMilli: 2_100, Per: typev1.PricedBy_PRICED_BY_CARAT,
			Kept: cooptest.AUD(24_000), Cleared: cooptest.AUD(42_000), ClearsBp: 7_000, SpoilsBp: 1_000,
		}
	}),
	"CutterService/LookAgain": by(cutter, func(w *tablestest.World) proto.Message {
		s := cut(w).Stones[0]
		return &cutterv1.LookAgainRequest{Parts: []*cutterv1.BatchPart{{PieceId: s.GetPieceId(), Part: "1B"}}, Note: "all there"}
	}),
	"CutterService/ReportMixUp": by(cutter, func(w *tablestest.World) proto.Message {
		p := w.Cut(w.T, w.Miner, w.Cutter, 50_000, 60_000)
		return &cutterv1.ReportMixUpRequest{Note: "fell off the bench", Parts: []*cutterv1.BatchPart{
			{PieceId: p.Stones[0].GetPieceId(), Part: "1B"}, {PieceId: p.Stones[1].GetPieceId(), Part: "2B"},
		}}
	}),
	"CutterService/NoteInspection": by(cutter, func(w *tablestest.World) proto.Message {
		return &cutterv1.NoteInspectionRequest{ParcelId: listed(w), Text: "a bright zone"}
	}),
	"CutterService/ListMyNotes":  by(cutter, func(w *tablestest.World) proto.Message { return &cutterv1.ListMyNotesRequest{ParcelId: listed(w)} }),
	"CutterService/ListMyOffers": by(cutter, func(w *tablestest.World) proto.Message { return &cutterv1.ListMyOffersRequest{ParcelId: listed(w)} }),
	"CutterService/GetParcel":    by(cutter, func(w *tablestest.World) proto.Message { return &cutterv1.GetParcelRequest{ParcelId: cut(w).ID} }),
	"CutterService/ListPieces":   by(cutter, func(w *tablestest.World) proto.Message { return &cutterv1.ListPiecesRequest{ParcelId: cut(w).ID} }),
	"CutterService/GetYield":     by(cutter, func(w *tablestest.World) proto.Message { return &cutterv1.GetYieldRequest{ParcelId: cut(w).ID} }),
	"CutterService/GetShare":     by(cutter, func(w *tablestest.World) proto.Message { return &cutterv1.GetShareRequest{ParcelId: cut(w).ID} }),
	"CutterService/GetSale":      by(cutter, func(w *tablestest.World) proto.Message { return &cutterv1.GetSaleRequest{OrderId: sold(w).order} }),
	"CutterService/GetApproval": by(cutter, func(w *tablestest.World) proto.Message {
		got, err := w.Jeweller.Jeweller().AskForApproval(w.Ctx(), &jewellerv1.AskForApprovalRequest{
			RequestId: command.NewID(), Kind: typev1.GoodsKind(1), StoneIds: []string{cut(w).Stones[0].GetId()},
		})
		w.Must(err)
		return &cutterv1.GetApprovalRequest{ApprovalId: got.GetApproval().GetId()}
	}),
	"JewellerService/GetStone": by(jeweller, func(w *tablestest.World) proto.Message {
		return &jewellerv1.GetStoneRequest{StoneId: cut(w).Stones[0].GetId()}
	}),
	"JewellerService/PlaceOrder": by(jeweller, func(w *tablestest.World) proto.Message { return cooptest.OrderOf(cut(w).Stones...) }),
	"JewellerService/HoldStones": by(jeweller, func(w *tablestest.World) proto.Message {
		return &jewellerv1.HoldStonesRequest{StoneIds: []string{cut(w).Stones[0].GetId()}}
	}),
	"MinerService/GetDraft": by(miner, func(w *tablestest.World) proto.Message {
		got, err := w.Miner.Miner().SaveDraft(w.Ctx(), &minerv1.SaveDraftRequest{RequestId: command.NewID(), Draft: &minerv1.Draft{Label: "P9"}})
		w.Must(err)
		return &minerv1.GetDraftRequest{ParcelId: got.GetParcel().GetId()}
	}),
	"MinerService/GetShare":   by(miner, func(w *tablestest.World) proto.Message { return &minerv1.GetShareRequest{ParcelId: cut(w).ID} }),
	"MinerService/ListPieces": by(miner, func(w *tablestest.World) proto.Message { return &minerv1.ListPiecesRequest{ParcelId: cut(w).ID} }),
	"MinerService/PreviewOffer": by(miner, func(w *tablestest.World) proto.Message {
		return &minerv1.PreviewOfferRequest{ParcelId: listed(w), AssumedSales: cooptest.AUD(500_000), AssumedStones: 9}
	}),
}

// by makes a fixture of who asks and what.
func by(who func(*tablestest.World) cooptest.Person, req func(*tablestest.World) proto.Message) func(*tablestest.World) asked {
	return func(w *tablestest.World) asked { return asked{who(w).Conn, req(w)} }
}

func miner(w *tablestest.World) cooptest.Person     { return w.Miner }
func cutter(w *tablestest.World) cooptest.Person    { return w.Cutter }
func another(w *tablestest.World) cooptest.Person   { return w.OtherCutter }
func auditor(w *tablestest.World) cooptest.Person   { return w.Auditor }
func jeweller(w *tablestest.World) cooptest.Person  { return w.Jeweller }
func keeper(w *tablestest.World) cooptest.Person    { return w.Keeper }
func books(w *tablestest.World) cooptest.Person     { return w.Books }
func registrar(w *tablestest.World) cooptest.Person { return w.Registrar }

// fresh is a name that nobody has used.
func fresh(what string) string {
	return fmt.Sprintf("%s%x", what, sha256.Sum256([]byte(command.NewID())))[:len(what)+10]
}

// cut is a parcel of the miner's that the cutter has cut one stone from, which is on sale.
func cut(w *tablestest.World) cooptest.Parcel { return w.Cut(w.T, w.Miner, w.Cutter, 50_000) }

// lotOf is a counted lot of an off-cut of the cutter's.
func lotOf(w *tablestest.World) string {
	s := cut(w).Stones[0]
	got, err := w.Cutter.Cutter().MakeLot(w.Ctx(), &cutterv1.MakeLotRequest{
		RequestId: command.NewID(), Label: "low end", Weighing: cooptest.Grams(10_000_000), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN,
		Sources: []*typev1.LotSource{{PieceId: s.GetPieceId(), Part: "1B", Count: 1}},
	})
	w.Must(err)
	return got.GetLot().GetId()
}

type sale struct{ stone, order string }

// sold is a stone that the jeweller has ordered.
func sold(w *tablestest.World) sale {
	p := cut(w)
	return sale{p.Stones[0].GetId(), w.Order(w.T, w.Jeweller, p.Stones...).GetId()}
}

// listed is a parcel of the miner's on the market.
func listed(w *tablestest.World) string {
	got, err := w.Miner.Miner().PublishParcel(w.Ctx(), &minerv1.PublishParcelRequest{
		RequestId: command.NewID(), Label: "P1", Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, OpenAtAsking: true,
		Agreement: cooptest.RisingShare(160_000), Total: cooptest.Grams(10_000_000),
		Pieces: []*minerv1.NewPiece{{
			Label: "1", Weighing: cooptest.Grams(10_000_000), Size: &typev1.Size{LengthUm: 30_000, WidthUm: 20_000, DepthUm: 9_000}, Kind: typev1.Kind_KIND_BOULDER,
		}},
	})
	w.Must(err)
	return got.GetParcel().GetId()
}

// removed is a person who was removed.
func removed(w *tablestest.World) string {
	p := w.Add(w.T, w.Miner.Member, typev1.Role_ROLE_MINER)
	_, err := w.Registrar.Coop().RemovePerson(w.Ctx(), &coopv1.RemovePersonRequest{RequestId: command.NewID(), PersonId: p.Person, Reason: "moved away"})
	w.Must(err)
	return p.Person
}

// missed is an exception: a stone that a count of its place didn't find.
func missed(w *tablestest.World) string {
	thing, place := onTray(w)
	other, _ := onTrayAt(w, place)
	_, err := w.Keeper.Coop().CountStock(w.Ctx(), &coopv1.CountStockRequest{
		RequestId: command.NewID(), Place: place, Found: []*coopv1.CountedThing{{Thing: other}},
	})
	w.Must(err)
	got, err := w.Keeper.Coop().ListExceptions(w.Ctx(), &coopv1.ListExceptionsRequest{PageSize: 100})
	w.Must(err)
	for _, e := range got.GetExceptions() {
		if e.GetThing() == thing {
			return e.GetId()
		}
	}
	w.T.Fatalf("the count that missed %s is no exception", thing)
	return ""
}

// onTray is a stone in a place of the stock keeper's.
func onTray(w *tablestest.World) (thing, place string) { return onTrayAt(w, fresh("tray ")) }

func onTrayAt(w *tablestest.World, where string) (thing, place string) {
	thing = "stone/" + cut(w).Stones[0].GetId()
	_, err := w.Keeper.Coop().MoveStock(w.Ctx(), &coopv1.MoveStockRequest{RequestId: command.NewID(), Thing: thing, HolderId: w.Keeper.Member, Place: where})
	w.Must(err)
	return thing, where
}

// aPicture is the last piece, and the first, of a small one.
func aPicture(w *tablestest.World) *coopv1.AddPhotoRequest {
	var b bytes.Buffer
	w.Must(png.Encode(&b, image.NewGray(image.Rect(0, 0, 4, 3))))
	return &coopv1.AddPhotoRequest{Upload: "a-picture", Chunk: b.Bytes(), Last: true}
}
