package tablestest

import (
	"time"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/domain/lot"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/promise"
	"seamshare.example/services/domain/stage"
	"seamshare.example/services/domain/stone"
)

// benchTrials are the trials of the bench's things.
func benchTrials() []Trial {
	return []Trial{partTrial(), planTrial(), choiceTrial(), stoneTrial(), lotTrial(), promiseTrial()}
}

// bench is a piece at a cutter's bench and what came of it. What isn't there has
// nobody's id.
type bench struct {
	who                              cooptest.Person
	piece, part                      string
	stone, lot, parcel, plan, agreed string
	order, choice                    string
	portion                          uint32 // of the lot, in the order
}

const benchUg = 20_000_000

func noBench(w *World) bench {
	return bench{w.Cutter, nothing, "1", nothing, nothing, nothing, nothing, nothing, nothing, nothing, 1}
}

// outrightTerms give all that the stones bring to the cutter.
func outrightTerms() *typev1.Agreement {
	return &typev1.Agreement{
		Price: cooptest.AUD(38000), SaleLevy: &typev1.Levy{BasisPoints: 600},
		Tiers: []*typev1.Tier{{Form: &typev1.Tier_Split{Split: &typev1.Split{Ratios: []*typev1.Ratio{{Party: "cutter", Weight: 1}}}}}},
	}
}

func publishOne(w *World) (*typev1.Parcel, error) { return publishLine(w, 1) }

// publishLine lists a parcel of one line of so many.
func publishLine(w *World, count uint32) (*typev1.Parcel, error) {
	line := &minerv1.NewPiece{Label: "1", Weighing: cooptest.Grams(benchUg), Size: benchSize(), Kind: typev1.Kind_KIND_MATRIX, Count: count}
	if count > 1 {
		line.Size, line.SmallestUm, line.LargestUm = nil, 8_000, 15_000
	}
	got, err := w.Miner.Miner().PublishParcel(w.Ctx(), &minerv1.PublishParcelRequest{
		RequestId: command.NewID(), Label: "P3", Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, OpenAtAsking: true, Agreement: outrightTerms(), Total: cooptest.Grams(benchUg),
		Pieces: []*minerv1.NewPiece{line},
	})
	return got.GetParcel(), err
}

func benchSize() *typev1.Size {
	return &typev1.Size{LengthUm: 30_000, WidthUm: 26_000, DepthUm: 12_000}
}

// receive brings a listed parcel into a cutter's hands.
func receive(w *World, who cooptest.Person, p *typev1.Parcel) {
	count := p.GetLines()[0].GetCount()
	_, err := who.Cutter().TakeParcel(w.Ctx(), &cutterv1.TakeParcelRequest{RequestId: command.NewID(), ParcelId: p.GetId()})
	w.Must(err)
	_, err = w.Miner.Miner().HandOverParcel(w.Ctx(), &minerv1.HandOverParcelRequest{RequestId: command.NewID(), ParcelId: p.GetId(), Count: count, Total: cooptest.Grams(benchUg)})
	w.Must(err)
	_, err = who.Cutter().ReceiveParcel(w.Ctx(), &cutterv1.ReceiveParcelRequest{RequestId: command.NewID(), ParcelId: p.GetId(), Count: count, Total: cooptest.Grams(benchUg)})
	w.Must(err)
}

// atBench is one piece of 20 g, bought outright, in the hands of somebody.
func atBenchOf(w *World, who cooptest.Person) bench {
	p, err := publishOne(w)
	w.Must(err)
	receive(w, who, p)
	b := noBench(w)
	b.who, b.piece, b.parcel = who, p.GetLines()[0].GetPieceId(), p.GetId()
	return b
}

// chips is a group of three at the bench.
func chips(w *World) bench {
	p, err := publishLine(w, 3)
	w.Must(err)
	receive(w, w.Cutter, p)
	b := noBench(w)
	b.piece, b.parcel = p.GetLines()[0].GetPieceId(), p.GetId()
	return b
}

func inWork(w *World) bench { return atBenchOf(w, w.Cutter) }

func place(to typev1.Fate) func(*World, bench) error {
	return func(w *World, b bench) error {
		_, err := b.who.Cutter().PlacePart(w.Ctx(), &cutterv1.PlacePartRequest{RequestId: command.NewID(), PieceId: b.piece, Part: b.part, Fate: to})
		return err
	}
}

func awaitDecision(w *World, b bench) error {
	_, err := b.who.Cutter().AwaitDecision(w.Ctx(), &cutterv1.AwaitDecisionRequest{RequestId: command.NewID(), PieceId: b.piece, Part: b.part, Reason: "wants a window first"})
	return err
}

func setAside(w *World, b bench) error {
	_, err := b.who.Cutter().WorkPart(w.Ctx(), &cutterv1.WorkPartRequest{
		RequestId: command.NewID(), PieceId: b.piece, Part: b.part, Step: typev1.Step_STEP_SET_ASIDE, Reason: typev1.Reason_REASON_WASTE,
	})
	return err
}

func finishStone(w *World, b bench) (bench, error) {
	got, err := b.who.Cutter().FinishStone(w.Ctx(), &cutterv1.FinishStoneRequest{
		RequestId: command.NewID(), PieceId: b.piece, Part: b.part, Label: "21", Weighing: &typev1.Weighing{MassUg: 1_776_000, DivisionUg: 2_000}, Size: stoneSize(),
		Outline: typev1.Outline_OUTLINE_FREEFORM, Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, Hydrophane: typev1.Hydrophane_HYDROPHANE_NO,
		Composite: typev1.Composite_COMPOSITE_NONE, WhyEarly: "asked for by the carrier's day", Grade: grade(),
	})
	if err == nil {
		b.stone = got.GetStone().GetId()
	}
	return b, err
}

func grade() *typev1.Grade {
	return &typev1.Grade{BodyTone: 5, Colours: "green, then blue", JudgedUnder: "north window, at arm's length"}
}

func stoneSize() *typev1.Size {
	return &typev1.Size{LengthUm: 18_000, WidthUm: 13_000, DepthUm: 3_600}
}

func makeLot(src func(bench) *typev1.LotSource) func(*World, bench) (bench, error) {
	return func(w *World, b bench) (bench, error) {
		source := src(b)
		got, err := b.who.Cutter().MakeLot(w.Ctx(), &cutterv1.MakeLotRequest{
			RequestId: command.NewID(), Label: "low end", Sources: []*typev1.LotSource{source}, Weighing: source.GetWeighing(), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN,
		})
		if err == nil {
			b.lot = got.GetLot().GetId()
		}
		return b, err
	}
}

func ofPart(b bench) *typev1.LotSource {
	return &typev1.LotSource{PieceId: b.piece, Part: b.part, Count: 1, Weighing: cooptest.Grams(benchUg)}
}

func ofStone(b bench) *typev1.LotSource {
	return &typev1.LotSource{StoneId: b.stone, Count: 1, Weighing: &typev1.Weighing{MassUg: 1_776_000, DivisionUg: 2_000}}
}

func unmakeLot(w *World, b bench) error {
	_, err := b.who.Cutter().UnmakeLot(w.Ctx(), &cutterv1.UnmakeLotRequest{RequestId: command.NewID(), LotId: b.lot, Why: "sorted anew"})
	return err
}

// listAnew lists the part as a parcel of its own.
func listAnew(w *World, b bench) (bench, error) {
	got, err := b.who.Cutter().PublishRough(w.Ctx(), &cutterv1.PublishRoughRequest{
		RequestId: command.NewID(), Label: "P4", Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, Agreement: cooptest.RisingShare(38000), Total: cooptest.Grams(benchUg),
		Lines: []*cutterv1.RoughLine{{PieceId: b.piece, Part: b.part, Label: "1", Weighing: cooptest.Grams(benchUg), Size: benchSize()}},
	})
	if err == nil {
		b.parcel = got.GetParcel().GetId()
	}
	return b, err
}

func takeRoughBack(w *World, b bench) error {
	_, err := b.who.Cutter().TakeRoughBack(w.Ctx(), &cutterv1.TakeRoughBackRequest{RequestId: command.NewID(), ParcelId: b.parcel})
	return err
}

// withdrawn is a part in a parcel of its own that was taken off the market. Its cutter
// has the miner's role too, as whoever sells rough needs it.
func withdrawnAnew(fate typev1.Fate) func(*World) bench {
	return func(w *World) bench {
		b := atBenchOf(w, w.Join(w.T, "Both Ends", typev1.Role_ROLE_MINER, typev1.Role_ROLE_CUTTER))
		if fate != typev1.Fate_FATE_IN_WORK {
			w.Must(place(fate)(w, b))
		}
		b, err := listAnew(w, b)
		w.Must(err)
		_, err = b.who.Miner().WithdrawParcel(w.Ctx(), &minerv1.WithdrawParcelRequest{RequestId: command.NewID(), ParcelId: b.parcel})
		w.Must(err)
		return b
	}
}

func inLot(fate typev1.Fate) func(*World) bench {
	return func(w *World) bench {
		b := inWork(w)
		if fate != typev1.Fate_FATE_IN_WORK {
			w.Must(place(fate)(w, b))
		}
		b, err := makeLot(ofPart)(w, b)
		w.Must(err)
		return b
	}
}

// partTrial tries a part of a piece.
func partTrial() Trial {
	const work, shelf, offcut = typev1.Fate_FATE_IN_WORK, typev1.Fate_FATE_SHELF, typev1.Fate_FATE_OFFCUT
	put := func(name string, fate typev1.Fate, but string) Call[bench] {
		call := Call[bench]{Name: name, Do: said(place(fate))}
		for _, s := range append([]string{stage.None}, piece.Table.States...) {
			if s != but {
				call.In = append(call.In, s)
			}
		}
		return call
	}
	lots, anew := []string{"lot, was in work", "lot, was on the shelf", "lot, was an off-cut"}, []string{"parcel, was in work", "parcel, was on the shelf", "parcel, was an off-cut"}
	return Thing[bench]{
		Table: piece.Table,
		In: map[string][]Recipe[bench]{
			stage.None:        {{Make: noBench}},
			piece.PartInWork:  {{Make: inWork}},
			piece.PartOnShelf: {{Make: after(inWork, said(place(shelf)))}},
			piece.PartOffcut:  {{Make: after(inWork, said(place(offcut)))}},
			piece.PartWaits:   {{Make: after(inWork, said(awaitDecision))}},
			piece.PartStone:   {{Make: after(inWork, finishStone)}},
			piece.PartGone:    {{Make: after(inWork, said(setAside))}},
			piece.PartMovedOn: {
				{Name: lots[0], Make: inLot(work)},
				{Name: lots[1], Make: inLot(shelf)},
				{Name: lots[2], Make: inLot(offcut)},
				{Name: anew[0], Make: withdrawnAnew(work)},
				{Name: anew[1], Make: withdrawnAnew(shelf)},
				{Name: anew[2], Make: withdrawnAnew(offcut)},
			},
		},
		Do: map[string][]Call[bench]{
			"MinerService/PublishParcel": {{Fresh: true, Do: func(w *World, b bench) (bench, error) {
				p, err := publishOne(w)
				if err == nil {
					// Whose it is shows once it was received.
					receive(w, w.Cutter, p)
					b.piece, b.parcel = p.GetLines()[0].GetPieceId(), p.GetId()
				}
				return b, err
			}}},
			"CutterService/WorkPart": {
				{Name: "something is left", Do: said(func(w *World, b bench) error {
					_, err := b.who.Cutter().WorkPart(w.Ctx(), &cutterv1.WorkPartRequest{RequestId: command.NewID(), PieceId: b.piece, Part: b.part, Step: typev1.Step_STEP_LOOK, NotWeighed: true})
					return err
				})},
				{Name: "nothing is left", Do: said(setAside)},
			},
			"CutterService/PlacePart": {
				put("to work", work, piece.PartInWork), put("to the shelf", shelf, piece.PartOnShelf), put("to the off-cuts", offcut, piece.PartOffcut),
			},
			"CutterService/AwaitDecision": {{Do: said(awaitDecision)}},
			"CutterService/Decide": {{Do: said(func(w *World, b bench) error {
				_, err := b.who.Cutter().Decide(w.Ctx(), &cutterv1.DecideRequest{RequestId: command.NewID(), PieceId: b.piece, Part: b.part, Decision: "it is cut as it is"})
				return err
			})}},
			"CutterService/GradePart": {{Do: said(func(w *World, b bench) error {
				_, err := b.who.Cutter().GradePart(w.Ctx(), &cutterv1.GradePartRequest{RequestId: command.NewID(), PieceId: b.piece, Part: b.part, Grade: &typev1.Grade{BodyTone: 6}, Class: "plain", Why: "in daylight"})
				return err
			})}},
			"CutterService/FinishStone":   {{Do: finishStone}},
			"CutterService/MakeLot":       {{Do: makeLot(ofPart)}},
			"CutterService/UnmakeLot":     {{With: lots, Do: said(unmakeLot)}},
			"CutterService/PublishRough":  {{Do: listAnew}},
			"CutterService/TakeRoughBack": {{With: anew, Do: said(takeRoughBack)}},
		},
		State: func(w *World, b bench) string {
			got, err := b.who.Cutter().GetPiece(w.Ctx(), &cutterv1.GetPieceRequest{PieceId: b.piece})
			if w.none(err) {
				return stage.None
			}
			for _, p := range got.GetPiece().GetParts() {
				if p.GetName() == b.part {
					return map[typev1.Fate]string{
						work: piece.PartInWork, shelf: piece.PartOnShelf, offcut: piece.PartOffcut, typev1.Fate_FATE_WAITING: piece.PartWaits,
						typev1.Fate_FATE_STONE: piece.PartStone, typev1.Fate_FATE_MOVED_ON: piece.PartMovedOn,
					}[p.GetFate()]
				}
			}
			return piece.PartGone
		},
	}
}

func planDraft() *typev1.PlanDraft {
	return &typev1.PlanDraft{
		Label: "one freeform", Minutes: 90, Reason: "the bar runs through", Steps: []string{"trim", "grind to the bar"},
		Stones: []*typev1.PlannedStone{{Label: "a", Outline: typev1.Outline_OUTLINE_FREEFORM, Size: stoneSize(), Grade: grade(), ChanceBp: 8_000, Worth: cooptest.AUD(24000)}},
	}
}

func makePlan(w *World, b bench) (bench, error) {
	got, err := b.who.Cutter().MakePlan(w.Ctx(), &cutterv1.MakePlanRequest{RequestId: command.NewID(), PieceId: b.piece, Plan: planDraft()})
	if err == nil {
		b.plan = got.GetPlan().GetId()
	}
	return b, err
}

func choosePlan(w *World, b bench) error {
	_, err := b.who.Cutter().ChoosePlan(w.Ctx(), &cutterv1.ChoosePlanRequest{RequestId: command.NewID(), PieceId: b.piece, PlanId: b.plan, Reason: "it pays"})
	return err
}

func dropPlan(w *World, b bench) error {
	_, err := b.who.Cutter().DropPlan(w.Ctx(), &cutterv1.DropPlanRequest{RequestId: command.NewID(), PieceId: b.piece, PlanId: b.plan, Reason: "too bold"})
	return err
}

// planTrial tries a plan.
func planTrial() Trial {
	open := after(inWork, makePlan)
	return Thing[bench]{
		Table: piece.PlanTable,
		In: map[string][]Recipe[bench]{
			stage.None: {{Name: "studied with a drawing", Make: drawn}},
			"open":     {{Make: open}, {Name: "measured", Make: after(drawn, makeMeasured)}},
			"chosen":   {{Make: after(open, said(choosePlan))}},
			"dropped":  {{Make: after(open, said(dropPlan))}},
		},
		Do: map[string][]Call[bench]{
			"CutterService/MakePlan": {{Fresh: true, Do: makePlan}, {Name: "measured", Fresh: true, Do: makeMeasured}},
			"CutterService/RevisePlan": {{Do: said(func(w *World, b bench) error {
				_, err := b.who.Cutter().RevisePlan(w.Ctx(), &cutterv1.RevisePlanRequest{RequestId: command.NewID(), PieceId: b.piece, PlanId: b.plan, Plan: planDraft(), Why: "the bar dips"})
				return err
			})}},
			"CutterService/ChoosePlan": {{Do: said(choosePlan)}},
			"CutterService/DropPlan":   {{Do: said(dropPlan)}},
		},
		State: func(w *World, b bench) string {
			got, err := b.who.Cutter().ListPlans(w.Ctx(), &cutterv1.ListPlansRequest{PieceId: b.piece})
			w.Must(err)
			for _, p := range got.GetPlans() {
				if p.GetId() == b.plan {
					return map[typev1.PlanState]string{
						typev1.PlanState_PLAN_STATE_OPEN: "open", typev1.PlanState_PLAN_STATE_CHOSEN: "chosen", typev1.PlanState_PLAN_STATE_DROPPED: "dropped",
					}[p.GetState()]
				}
			}
			return stage.None
		},
	}
}

func checkStone(w *World, b bench) error {
	_, err := b.who.Cutter().CheckStone(w.Ctx(), &cutterv1.CheckStoneRequest{
		RequestId: command.NewID(), StoneId: b.stone, BackFlat: true, WallEven: true, BevelClears: true, CornerRadiusUm: 2_000, Candled: true,
		Weighing: &typev1.Weighing{MassUg: 1_776_000, DivisionUg: 2_000}, Size: stoneSize(), Photo: cooptest.Photo(),
	})
	return err
}

func confirmStone(w *World, b bench) error {
	_, err := w.SecondCutter.Cutter().ConfirmStone(w.Ctx(), &cutterv1.ConfirmStoneRequest{RequestId: command.NewID(), StoneId: b.stone})
	return err
}

func offerStone(w *World, b bench) error {
	_, err := b.who.Cutter().PutStoneOnSale(w.Ctx(), &cutterv1.PutStoneOnSaleRequest{RequestId: command.NewID(), StoneId: b.stone, Price: cooptest.AUD(24000)})
	return err
}

func orderStone(w *World, b bench) error {
	_, err := w.Jeweller.Jeweller().PlaceOrder(w.Ctx(), &jewellerv1.PlaceOrderRequest{
		RequestId: command.NewID(), Items: []*jewellerv1.OrderItem{{StoneId: b.stone, Price: cooptest.AUD(24000)}},
	})
	return err
}

func stoneReturned(massUg int64) func(*World, bench) error {
	return func(w *World, b bench) error {
		_, err := b.who.Cutter().AcceptReturn(w.Ctx(), &cutterv1.AcceptReturnRequest{
			RequestId: command.NewID(), StoneId: b.stone, Weighing: &typev1.Weighing{MassUg: massUg, DivisionUg: 2_000}, Size: stoneSize(), Why: "the setting was changed", Photo: cooptest.Photo(),
		})
		return err
	}
}

var (
	unchecked = after(inWork, finishStone)
	checked   = after(unchecked, said(checkStone))
	stocked   = after(checked, said(confirmStone))
)

// stoneTrial tries a stone at the bench.
func stoneTrial() Trial {
	offered := after(stocked, said(offerStone))
	return Thing[bench]{
		Table: stone.Table,
		In: map[string][]Recipe[bench]{
			stage.None:      {{Make: inWork}},
			stone.Unchecked: {{Make: promised(unchecked)}},
			stone.Checked:   {{Make: promised(checked)}},
			stone.Stocked:   {{Make: promised(stocked)}},
			stone.Offered:   {{Make: promised(offered)}},
			stone.SoldState: {{Make: promised(after(offered, said(orderStone)))}},
			stone.InLotWord: {{Make: promised(after(unchecked, makeLot(ofStone)))}},
		},
		Do: map[string][]Call[bench]{
			"CutterService/FinishStone":  {{Fresh: true, Do: finishStone}},
			"CutterService/CheckStone":   {{Do: said(checkStone)}},
			"CutterService/ConfirmStone": {{Do: said(confirmStone)}},
			"CutterService/RegradeStone": {{Do: said(func(w *World, b bench) error {
				_, err := b.who.Cutter().RegradeStone(w.Ctx(), &cutterv1.RegradeStoneRequest{RequestId: command.NewID(), StoneId: b.stone, Grade: &typev1.Grade{BodyTone: 6}, Class: "plain", Why: "in daylight"})
				return err
			})}},
			"CutterService/RecutStone": {{Do: said(func(w *World, b bench) error {
				_, err := b.who.Cutter().RecutStone(w.Ctx(), &cutterv1.RecutStoneRequest{
					RequestId: command.NewID(), StoneId: b.stone, Weighing: &typev1.Weighing{MassUg: 1_700_000, DivisionUg: 2_000}, Size: stoneSize(),
					Outline: typev1.Outline_OUTLINE_FREEFORM, Reason: typev1.Reason_REASON_CHIPPED_EDGE, Why: "a chip at the girdle", Grade: grade(),
				})
				return err
			})}},
			"CutterService/MakeLot":        {{Do: makeLot(ofStone)}},
			"CutterService/UnmakeLot":      {{Do: said(unmakeLot)}},
			"CutterService/PutStoneOnSale": {{Do: said(offerStone)}},
			"CutterService/DeliverPromise": {{Do: said(deliverPromise)}},
			"CutterService/AcceptReturn":   {{Name: "as it went", Do: said(stoneReturned(1_776_000))}, {Name: "otherwise", Do: said(stoneReturned(1_700_000))}},
			"JewellerService/PlaceOrder":   {{Do: said(orderStone)}},
		},
		State: func(w *World, b bench) string {
			got, err := b.who.Cutter().GetStone(w.Ctx(), &cutterv1.GetStoneRequest{StoneId: b.stone})
			if w.none(err) {
				return stage.None
			}
			switch s := got.GetStone(); s.GetState() {
			case typev1.StoneState_STONE_STATE_IN_STOCK:
				return map[typev1.CheckState]string{
					typev1.CheckState_CHECK_STATE_UNSPECIFIED: stone.Unchecked, typev1.CheckState_CHECK_STATE_CHECKED: stone.Checked, typev1.CheckState_CHECK_STATE_CONFIRMED: stone.Stocked,
				}[s.GetCheck()]
			case typev1.StoneState_STONE_STATE_ON_SALE:
				return stone.Offered
			case typev1.StoneState_STONE_STATE_SOLD:
				return stone.SoldState
			case typev1.StoneState_STONE_STATE_IN_LOT:
				return stone.InLotWord
			default:
				return s.GetState().String()
			}
		},
	}
}

func offerLot(w *World, b bench) error {
	_, err := b.who.Cutter().PutLotOnSale(w.Ctx(), &cutterv1.PutLotOnSaleRequest{RequestId: command.NewID(), LotId: b.lot, Unit: typev1.Unit_UNIT_CARAT, Price: cooptest.AUD(50)})
	return err
}

func lotOffSale(w *World, b bench) error {
	_, err := b.who.Cutter().TakeLotOffSale(w.Ctx(), &cutterv1.TakeLotOffSaleRequest{RequestId: command.NewID(), LotId: b.lot, Why: "counted again"})
	return err
}

// orderLot buys so many of a lot of three.
func orderLot(count uint32) func(*World, bench) (bench, error) {
	return func(w *World, b bench) (bench, error) {
		b.portion = count
		got, err := w.Jeweller.Jeweller().PlaceOrder(w.Ctx(), &jewellerv1.PlaceOrderRequest{
			RequestId: command.NewID(),
			Lots:      []*jewellerv1.LotItem{{LotId: b.lot, Count: count, Weighing: portionWeighs(count), Unit: typev1.Unit_UNIT_CARAT, Price: cooptest.AUD(50)}},
		})
		if err == nil {
			b.order = got.GetOrder().GetId()
		}
		return b, err
	}
}

// portionWeighs is what one or all of three chips weigh.
func portionWeighs(count uint32) *typev1.Weighing {
	if count == 1 {
		return cooptest.Grams(5_000_000)
	}
	return cooptest.Grams(benchUg)
}

func lotReturned(w *World, b bench) error {
	_, err := b.who.Cutter().AcceptLotReturn(w.Ctx(), &cutterv1.AcceptLotReturnRequest{
		RequestId: command.NewID(), OrderId: b.order, LotId: b.lot, Count: b.portion, Weighing: portionWeighs(b.portion), Why: "too pale",
	})
	return err
}

func callOffLot(w *World, b bench) error {
	_, err := w.Jeweller.Jeweller().CancelOrder(w.Ctx(), &jewellerv1.CancelOrderRequest{RequestId: command.NewID(), OrderId: b.order, Why: "the customer left"})
	return err
}

func ofChips(b bench) *typev1.LotSource {
	return &typev1.LotSource{PieceId: b.piece, Part: b.part, Count: 3, Weighing: cooptest.Grams(benchUg)}
}

// lotTrial tries a counted lot.
func lotTrial() Trial {
	made := after(chips, makeLot(ofChips))
	offered := after(made, said(offerLot))
	partSold := after(offered, orderLot(1))
	const whole, begun = "whole", "a portion is sold"
	return Thing[bench]{
		Table: lot.Table,
		In: map[string][]Recipe[bench]{
			stage.None: {{Make: chips}},
			"in stock": {{Name: whole, Make: made}, {Name: begun, Make: after(partSold, said(lotOffSale))}},
			"on sale":  {{Name: whole, Make: offered}, {Name: begun, Make: partSold}},
			"sold out": {{Make: after(offered, orderLot(3))}},
			"unmade":   {{Make: after(made, said(unmakeLot))}},
		},
		Do: map[string][]Call[bench]{
			"CutterService/MakeLot":            {{Fresh: true, Do: makeLot(ofChips)}},
			"CutterService/PutLotOnSale":       {{Do: said(offerLot)}},
			"CutterService/TakeLotOffSale":     {{Do: said(lotOffSale)}},
			"CutterService/UnmakeLot":          {{With: []string{whole}, Do: said(unmakeLot)}},
			"CutterService/AcceptLotReturn":    {{With: []string{"", begun}, Do: said(lotReturned)}},
			"CutterService/CallOffUnpaidOrder": {{With: []string{"", begun}, Do: said(func(w *World, b bench) error { return notPaid(w, b.order) })}},
			"JewellerService/CancelOrder":      {{With: []string{"", begun}, Do: said(callOffLot)}},
			"JewellerService/PlaceOrder": {
				{Name: "a portion", With: []string{whole}, Do: orderLot(1)},
				{Name: "all of it", With: []string{whole}, Do: orderLot(3)},
			},
		},
		State: func(w *World, b bench) string {
			got, err := b.who.Cutter().GetLot(w.Ctx(), &cutterv1.GetLotRequest{LotId: b.lot})
			if w.none(err) {
				return stage.None
			}
			return map[typev1.LotState]string{
				typev1.LotState_LOT_STATE_IN_STOCK: "in stock", typev1.LotState_LOT_STATE_ON_SALE: "on sale",
				typev1.LotState_LOT_STATE_SOLD_OUT: "sold out", typev1.LotState_LOT_STATE_UNMADE: "unmade",
			}[got.GetLot().GetState()]
		},
	}
}

func promiseStone(w *World, b bench) (bench, error) {
	got, err := b.who.Cutter().PromiseStones(w.Ctx(), &cutterv1.PromiseStonesRequest{
		RequestId: command.NewID(), JewellerId: w.Jeweller.Member, DueAt: w.Now().Add(720 * time.Hour).Format(time.RFC3339),
		Items: []*typev1.PromisedStone{{
			Outline: typev1.Outline_OUTLINE_FREEFORM, Size: stoneSize(), ToleranceUm: 200, Kind: typev1.Kind_KIND_MATRIX, Like: "blue", Price: cooptest.AUD(24000),
		}},
	})
	if err == nil {
		b.agreed = got.GetPromise().GetId()
	}
	return b, err
}

func acceptPromise(w *World, b bench) error {
	_, err := w.Jeweller.Jeweller().AcceptPromise(w.Ctx(), &jewellerv1.AcceptPromiseRequest{RequestId: command.NewID(), PromiseId: b.agreed})
	return err
}

// promised is what was made, and a promise of a stone like it that a jeweller accepted.
func promised(from func(*World) bench) func(*World) bench {
	return after(after(from, promiseStone), said(acceptPromise))
}

func declinePromise(w *World, b bench) error {
	_, err := w.Jeweller.Jeweller().DeclinePromise(w.Ctx(), &jewellerv1.DeclinePromiseRequest{RequestId: command.NewID(), PromiseId: b.agreed, Why: "too late"})
	return err
}

func withdrawPromise(w *World, b bench) error {
	_, err := b.who.Cutter().WithdrawPromise(w.Ctx(), &cutterv1.WithdrawPromiseRequest{RequestId: command.NewID(), PromiseId: b.agreed, Why: "no rough"})
	return err
}

func deliverPromise(w *World, b bench) error {
	_, err := b.who.Cutter().DeliverPromise(w.Ctx(), &cutterv1.DeliverPromiseRequest{RequestId: command.NewID(), PromiseId: b.agreed, StoneIds: []string{b.stone}})
	return err
}

// promiseTrial tries a promise to cut to order.
func promiseTrial() Trial {
	offered := after(stocked, promiseStone)
	accepted := promised(stocked)
	return Thing[bench]{
		Table: promise.Table,
		In: map[string][]Recipe[bench]{
			stage.None:  {{Make: stocked}},
			"offered":   {{Make: offered}},
			"accepted":  {{Make: accepted}},
			"declined":  {{Make: after(offered, said(declinePromise))}},
			"withdrawn": {{Make: after(offered, said(withdrawPromise))}},
			"delivered": {{Make: after(accepted, said(deliverPromise))}},
			"not kept":  {{Make: after(accepted, said(withdrawPromise))}},
		},
		Do: map[string][]Call[bench]{
			"CutterService/PromiseStones":    {{Fresh: true, Do: promiseStone}},
			"JewellerService/AcceptPromise":  {{Do: said(acceptPromise)}},
			"JewellerService/DeclinePromise": {{Do: said(declinePromise)}},
			"CutterService/WithdrawPromise":  {{Do: said(withdrawPromise)}},
			"CutterService/DeliverPromise":   {{Do: said(deliverPromise)}},
		},
		State: func(w *World, b bench) string {
			token := ""
			for {
				got, err := b.who.Cutter().ListPromises(w.Ctx(), &cutterv1.ListPromisesRequest{PageSize: 200, PageToken: token})
				w.Must(err)
				for _, p := range got.GetPromises() {
					if p.GetId() == b.agreed {
						return map[typev1.PromiseState]string{
							typev1.PromiseState_PROMISE_STATE_OFFERED: "offered", typev1.PromiseState_PROMISE_STATE_ACCEPTED: "accepted", typev1.PromiseState_PROMISE_STATE_DECLINED: "declined",
							typev1.PromiseState_PROMISE_STATE_WITHDRAWN: "withdrawn", typev1.PromiseState_PROMISE_STATE_DELIVERED: "delivered",
							typev1.PromiseState_PROMISE_STATE_NOT_KEPT: "not kept",
						}[p.GetState()]
					}
				}
				if token = got.GetNextPageToken(); token == "" {
					return stage.None
				}
			}
		},
	}
}
