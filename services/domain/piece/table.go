package piece

import "seamshare.example/services/domain/stage"

// The states of a part in the words of its table.
const (
	PartInWork  = "in work"
	PartOnShelf = "on the shelf"
	PartOffcut  = "off-cut"
	PartWaits   = "waiting for a decision"
	PartStone   = "a stone"
	PartMovedOn = "moved on"
	PartGone    = "used up" // cut up, set aside, broken or lost
)

// Standing is where a part stands in the words of its table.
func (s State) Standing(name string) string {
	part, ok := s.Part(name)
	if !ok {
		for _, gone := range s.Gone {
			if gone == name {
				return PartGone
			}
		}
		return stage.None
	}
	switch part.Fate {
	case InWork:
		return PartInWork
	case Shelf:
		return PartOnShelf
	case Offcut:
		return PartOffcut
	case Waiting:
		return PartWaits
	case Stone:
		return PartStone
	case MovedOn:
		return PartMovedOn
	}
	return stage.None
}

const (
	byCutter = "the cutter"
	inHand   = "the parcel in hand, its purchase money not overdue"
)

// Table is the life of a part of a piece, the piece itself being its first part.
var Table = stage.Table{
	Thing:  "part",
	States: []string{PartInWork, PartOnShelf, PartOffcut, PartWaits, PartStone, PartMovedOn, PartGone},
	Rows: []stage.Row{
		{From: stage.None, Do: "MinerService/PublishParcel", By: "the seller", To: PartInWork, Needs: "its mass, and its size where it is one piece"},
		{From: PartInWork, Do: "CutterService/WorkPart", By: byCutter, To: PartInWork, If: "something is left under its name", Needs: inHand + "; a reason for what is lost; rest before sanding and polishing, or why not", Moves: "mass: into parts and loss"},
		{From: PartInWork, Do: "CutterService/WorkPart", By: byCutter, To: PartGone, If: "nothing is left under its name", Needs: inHand + "; a reason for what is lost", Moves: "mass: into parts and loss"},
		{From: PartInWork, Do: "CutterService/PlacePart", By: byCutter, To: PartOnShelf, If: "to the shelf", Needs: inHand},
		{From: PartInWork, Do: "CutterService/PlacePart", By: byCutter, To: PartOffcut, If: "to the off-cuts", Needs: inHand},
		{From: PartOnShelf, Do: "CutterService/PlacePart", By: byCutter, To: PartInWork, If: "to work", Needs: inHand},
		{From: PartOnShelf, Do: "CutterService/PlacePart", By: byCutter, To: PartOffcut, If: "to the off-cuts", Needs: inHand},
		{From: PartOffcut, Do: "CutterService/PlacePart", By: byCutter, To: PartInWork, If: "to work", Needs: inHand},
		{From: PartOffcut, Do: "CutterService/PlacePart", By: byCutter, To: PartOnShelf, If: "to the shelf", Needs: inHand},
		{From: PartInWork, Do: "CutterService/AwaitDecision", By: byCutter, To: PartWaits, Needs: "what there is to decide"},
		{From: PartOnShelf, Do: "CutterService/AwaitDecision", By: byCutter, To: PartWaits, Needs: "what there is to decide"},
		{From: PartWaits, Do: "CutterService/Decide", By: byCutter, To: PartInWork, Needs: "what was decided"},
		{From: PartInWork, Do: "CutterService/GradePart", By: byCutter, To: PartInWork},
		{From: PartOnShelf, Do: "CutterService/GradePart", By: byCutter, To: PartOnShelf},
		{From: PartOffcut, Do: "CutterService/GradePart", By: byCutter, To: PartOffcut},
		{From: PartWaits, Do: "CutterService/GradePart", By: byCutter, To: PartWaits},
		{From: PartInWork, Do: "CutterService/FinishStone", By: byCutter, To: PartStone, Needs: inHand + "; rest since it was shaped, or why not", Moves: "mass: into the stone and what was ground off"},
		{From: PartInWork, Do: "CutterService/MakeLot", By: byCutter, To: PartMovedOn, Moves: "mass, into the lot"},
		{From: PartOnShelf, Do: "CutterService/MakeLot", By: byCutter, To: PartMovedOn, Moves: "mass, into the lot"},
		{From: PartOffcut, Do: "CutterService/MakeLot", By: byCutter, To: PartMovedOn, Moves: "mass, into the lot"},
		{From: PartMovedOn, Do: "CutterService/UnmakeLot", By: byCutter, To: PartInWork, If: "it was in work", Moves: "mass, back"},
		{From: PartMovedOn, Do: "CutterService/UnmakeLot", By: byCutter, To: PartOnShelf, If: "it was on the shelf", Moves: "mass, back"},
		{From: PartMovedOn, Do: "CutterService/UnmakeLot", By: byCutter, To: PartOffcut, If: "it was an off-cut", Moves: "mass, back"},
		{From: PartMovedOn, Do: "CutterService/TakeRoughBack", By: byCutter, To: PartInWork, If: "it was in work", Needs: "the new parcel is off the market", Moves: "mass, back"},
		{From: PartMovedOn, Do: "CutterService/TakeRoughBack", By: byCutter, To: PartOnShelf, If: "it was on the shelf", Needs: "the new parcel is off the market", Moves: "mass, back"},
		{From: PartMovedOn, Do: "CutterService/TakeRoughBack", By: byCutter, To: PartOffcut, If: "it was an off-cut", Needs: "the new parcel is off the market", Moves: "mass, back"},
		{From: PartInWork, Do: "CutterService/PublishRough", By: byCutter, To: PartMovedOn, Needs: "nobody else shares in what the parcel brings, and it is the cutter's own", Moves: "mass, into the new parcel"},
		{From: PartOnShelf, Do: "CutterService/PublishRough", By: byCutter, To: PartMovedOn, Needs: "nobody else shares in what the parcel brings, and it is the cutter's own", Moves: "mass, into the new parcel"},
		{From: PartOffcut, Do: "CutterService/PublishRough", By: byCutter, To: PartMovedOn, Needs: "nobody else shares in what the parcel brings, and it is the cutter's own", Moves: "mass, into the new parcel"},
	},
}

// PlanTable is the life of a plan.
var PlanTable = stage.Table{
	Thing:  "plan",
	States: []string{"open", "chosen", "dropped"},
	Rows: []stage.Row{
		{From: stage.None, Do: "CutterService/MakePlan", By: byCutter, To: "open", Needs: "a piece of a parcel of one's own"},
		{From: "open", Do: "CutterService/RevisePlan", By: byCutter, To: "open", Needs: "why; the revision before is kept"},
		{From: "chosen", Do: "CutterService/RevisePlan", By: byCutter, To: "chosen", Needs: "why; the revision before is kept"},
		{From: "open", Do: "CutterService/ChoosePlan", By: byCutter, To: "chosen", Needs: "a reason", Moves: "the plan chosen before is open again"},
		{From: "open", Do: "CutterService/DropPlan", By: byCutter, To: "dropped", Needs: "a reason"},
		{From: "chosen", Do: "CutterService/DropPlan", By: byCutter, To: "dropped", Needs: "a reason"},
	},
}

// ChoiceTable is the life of a decision between options.
var ChoiceTable = stage.Table{
	Thing:  "decision",
	States: []string{"open", "held", "failed", "sure"},
	Rows: []stage.Row{
		{From: stage.None, Do: "CutterService/RecordDecision", By: byCutter, To: "open", If: "what is chosen hangs on how it comes out", Needs: "a part that isn't finished, all options valued, a reason"},
		{From: stage.None, Do: "CutterService/RecordDecision", By: byCutter, To: "sure", If: "what is chosen brings the same either way", Needs: "the same"},
		{From: "open", Do: "CutterService/RecordOutcome", By: byCutter, To: "held", If: "it held", Moves: "the co-op's record of that kind"},
		{From: "open", Do: "CutterService/RecordOutcome", By: byCutter, To: "failed", If: "it didn't hold", Moves: "the co-op's record of that kind"},
		{From: "held", Do: "CutterService/RecordOutcome", By: byCutter, To: "held", If: "it held", Needs: "a reason"},
		{From: "held", Do: "CutterService/RecordOutcome", By: byCutter, To: "failed", If: "it didn't hold", Needs: "a reason", Moves: "the co-op's record of that kind"},
		{From: "failed", Do: "CutterService/RecordOutcome", By: byCutter, To: "held", If: "it held", Needs: "a reason", Moves: "the co-op's record of that kind"},
		{From: "failed", Do: "CutterService/RecordOutcome", By: byCutter, To: "failed", If: "it didn't hold", Needs: "a reason"},
	},
}
