package payout

import "seamshare.example/services/domain/stage"

// Table is a run's life.
var Table = stage.Table{
	Thing:  "payout run",
	States: []string{"prepared", "rejected", "approved", "settled"},
	Rows: []stage.Row{
		{From: stage.None, Do: "CoopService/PreparePayoutRun", By: "a bookkeeper", To: "prepared", Needs: "something earned that is neither paid, nor in a live run, nor held by a dispute", Moves: "the amounts are bound to this run"},
		{From: "prepared", Do: "CoopService/ApprovePayoutRun", By: "an approver, who isn't the preparer", To: "approved", Needs: "nobody whom the approver acts for is paid; they didn't edit bank details last; the cool-off is over; the amounts are still earned", Moves: "what disputes hold is left out"},
		{From: "prepared", Do: "CoopService/RejectPayoutRun", By: "an approver", To: "rejected", Needs: "a reason", Moves: "the amounts are free again"},
		{From: "approved", Do: "CoopService/SettlePayoutLine", By: "a bookkeeper", To: "approved", If: "other lines wait for the bank", Needs: "the bank's reference", Moves: "the money"},
		{From: "approved", Do: "CoopService/SettlePayoutLine", By: "a bookkeeper", To: "settled", If: "the last line that waited", Needs: "the bank's reference", Moves: "the money"},
		{From: "approved", Do: "CoopService/ReturnPayoutLine", By: "a bookkeeper; where it was settled by mistake, another than who settled it", To: "approved", If: "other lines wait for the bank", Needs: "the bank's reason", Moves: "the amount is free again"},
		{From: "approved", Do: "CoopService/ReturnPayoutLine", By: "a bookkeeper", To: "settled", If: "the last line that waited", Needs: "the bank's reason", Moves: "the amount is free again"},
		{From: "settled", Do: "CoopService/ReturnPayoutLine", By: "a bookkeeper who didn't settle it", To: "settled", If: "it was settled by mistake", Needs: "a reason; the two were stated to be two people", Moves: "the amount is free again"},
	},
}
