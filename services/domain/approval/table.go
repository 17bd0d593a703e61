package approval

import "seamshare.example/services/domain/stage"

// Table is the life of goods on approval, ConsignmentTable of those on consignment.
// They move alike; their times differ.
var (
	Table            = table("approval")
	ConsignmentTable = table("consignment")
)

func table(thing string) stage.Table {
	t := stage.Table{
		Thing:  thing,
		States: []string{"asked for", "out", "overdue", "settled", "declined", "withdrawn"},
		Rows: []stage.Row{
			{From: stage.None, Do: "JewellerService/AskForApproval", By: "the jeweller", To: "asked for", Needs: "stones of one cutter that the jeweller could have, sets as a whole"},
			{From: "asked for", Do: "JewellerService/WithdrawApproval", By: "the jeweller", To: "withdrawn"},
			{From: "asked for", Do: "CutterService/DeclineApproval", By: "the cutter", To: "declined", Needs: "a reason"},
			{From: "asked for", Do: "CutterService/SendOnApproval", By: "the cutter", To: "out", Needs: "all stones still to be had, measured and photographed; nothing to the jeweller's cost beyond what they asked under; their limit of goods out", Moves: "custody, to the jeweller; title stays"},
			{From: "out", Do: "time", By: "the day they are due", To: "overdue"},
		},
	}
	for _, from := range []string{"out", "overdue"} {
		t.Rows = append(t.Rows,
			stage.Row{From: from, Do: "CutterService/ExtendApproval", By: "the cutter", To: "out", Needs: "a later day within the settings"},
			stage.Row{From: from, Do: "JewellerService/BuyFromApproval", By: "the jeweller", To: from, If: "some stay out", Needs: "what is left of a set as a whole", Moves: "an order: the price is owed"},
			stage.Row{From: from, Do: "JewellerService/BuyFromApproval", By: "the jeweller", To: "settled", If: "the last of them", Moves: "an order: the price is owed"},
			stage.Row{From: from, Do: "CutterService/TakeBackFromApproval", By: "the cutter", To: from, If: "some stay out", Needs: "measured and photographed again", Moves: "custody, to the cutter"},
			stage.Row{From: from, Do: "CutterService/TakeBackFromApproval", By: "the cutter", To: "settled", If: "the last of them", Needs: "measured and photographed again", Moves: "custody, to the cutter"},
		)
		owed := "where the jeweller bears it, an order: the price is owed"
		says := []stage.Row{
			{Do: "JewellerService/ReportLoss", By: "the jeweller", Moves: owed},
			{Do: "CutterService/RecordApprovalLoss", By: "the cutter", Needs: "the cutter bears it"},
		}
		if from == "overdue" {
			says[1].Needs, says[1].Moves = "where the jeweller bears it, the day asked for is over too", owed
		}
		for _, r := range says {
			some, last := r, r
			some.From, some.To, some.If = from, from, "some stay out"
			last.From, last.To, last.If = from, "settled", "the last of them"
			t.Rows = append(t.Rows, some, last)
		}
	}
	t.Rows = append(t.Rows, stage.Row{From: "settled", Do: "CutterService/TakeBackFromApproval", By: "the cutter", To: "settled", If: "a stone lost or broken at the cutter's cost", Moves: "custody, to the cutter"})
	return t
}
