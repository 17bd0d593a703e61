package hold

import "seamshare.example/services/domain/stage"

// Table is a hold's life.
var Table = stage.Table{
	Thing:  "hold",
	States: []string{"open", "ended", "released", "used"},
	Rows: []stage.Row{
		{From: stage.None, Do: "JewellerService/HoldStones", By: "the jeweller", To: "open", Needs: "every stone on sale and held by nobody, sets as a whole; within the settings' time and number", Moves: "the stones are nobody else's until it ends"},
		{From: "open", Do: "time", By: "the hold's end", To: "ended", Moves: "the stones can be had again"},
		{From: "open", Do: "JewellerService/ReleaseHold", By: "the jeweller", To: "released", Moves: "the stones can be had again"},
		{From: "open", Do: "JewellerService/PlaceOrder", By: "the jeweller", To: "used", If: "all its stones", Moves: "the stones go into the order"},
		{From: "open", Do: "JewellerService/PlaceOrder", By: "the jeweller", To: "open", If: "some of its stones", Moves: "those stones go into the order"},
		{From: "open", Do: "CutterService/SendOnApproval", By: "the stones' cutter, to that jeweller", To: "used", If: "all its stones", Moves: "custody of the stones, to the jeweller"},
		{From: "open", Do: "CutterService/SendOnApproval", By: "the stones' cutter, to that jeweller", To: "open", If: "some of its stones", Moves: "custody of those stones, to the jeweller"},
	},
}
