package promise

import "seamshare.example/services/domain/stage"

// Table is the life of a promise to cut stones to order.
var Table = stage.Table{
	Thing:  "promise",
	States: []string{"offered", "accepted", "declined", "withdrawn", "delivered", "not kept"},
	Rows: []stage.Row{
		{From: stage.None, Do: "CutterService/PromiseStones", By: "the cutter", To: "offered", Needs: "price, date and tolerance"},
		{From: "offered", Do: "JewellerService/AcceptPromise", By: "the jeweller", To: "accepted", Needs: "it isn't due"},
		{From: "offered", Do: "JewellerService/DeclinePromise", By: "the jeweller", To: "declined"},
		{From: "offered", Do: "CutterService/WithdrawPromise", By: "the cutter", To: "withdrawn"},
		{From: "accepted", Do: "CutterService/DeliverPromise", By: "the cutter", To: "delivered", Needs: "checked stones within the tolerance", Moves: "the stones, into an order at the prices promised, which isn't called off"},
		{From: "accepted", Do: "CutterService/WithdrawPromise", By: "the cutter", To: "not kept", Needs: "the reason", Moves: "the jeweller is told"},
	},
}
