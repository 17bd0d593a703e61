package lot

import "seamshare.example/services/domain/stage"

// Table is a counted lot's life. A portion is sold as a line of an order, whose own table
// says what becomes of it.
var Table = stage.Table{
	Thing:  "lot",
	States: []string{"in stock", "on sale", "sold out", "unmade"},
	Rows: []stage.Row{
		{From: stage.None, Do: "CutterService/MakeLot", By: "the cutter", To: "in stock", Needs: "parts and stones of one parcel; counts and masses add up", Moves: "their mass, and the stones' names"},
		{From: "in stock", Do: "CutterService/PutLotOnSale", By: "the cutter", To: "on sale", Needs: "a price by the carat or the piece"},
		{From: "on sale", Do: "CutterService/PutLotOnSale", By: "the cutter", To: "on sale", Moves: "the price"},
		{From: "on sale", Do: "CutterService/TakeLotOffSale", By: "the cutter", To: "in stock"},
		{From: "on sale", Do: "JewellerService/PlaceOrder", By: "a jeweller", To: "on sale", If: "a portion", Needs: "the price asked; no more than there is", Moves: "title to the portion, as agreed; its price is owed"},
		{From: "on sale", Do: "JewellerService/PlaceOrder", By: "a jeweller", To: "sold out", If: "all of it", Needs: "the price asked", Moves: "title, as agreed; its price is owed"},
		{From: "sold out", Do: "CutterService/AcceptLotReturn", By: "the cutter", To: "in stock", Needs: "the portion, counted and weighed again", Moves: "the portion, back to the cutter"},
		{From: "in stock", Do: "CutterService/AcceptLotReturn", By: "the cutter", To: "in stock", Needs: "the portion, counted and weighed again", Moves: "the portion, back to the cutter"},
		{From: "on sale", Do: "CutterService/AcceptLotReturn", By: "the cutter", To: "on sale", Needs: "the portion, counted and weighed again", Moves: "the portion, back to the cutter"},
		{From: "on sale", Do: "JewellerService/CancelOrder", By: "the portion's jeweller", To: "on sale", Needs: "nothing paid, nothing sent", Moves: "the portion, back as it was"},
		{From: "sold out", Do: "JewellerService/CancelOrder", By: "the portion's jeweller", To: "on sale", Needs: "nothing paid, nothing sent", Moves: "the portion, back as it was, at the price asked"},
		{From: "in stock", Do: "JewellerService/CancelOrder", By: "the portion's jeweller", To: "in stock", Needs: "nothing paid, nothing sent", Moves: "the portion, back as it was"},
		{From: "on sale", Do: "CutterService/CallOffUnpaidOrder", By: "the cutter", To: "on sale", Needs: "the order isn't paid by its day, nothing sent", Moves: "the portion, back as it was"},
		{From: "sold out", Do: "CutterService/CallOffUnpaidOrder", By: "the cutter", To: "on sale", Needs: "the order isn't paid by its day, nothing sent", Moves: "the portion, back as it was, at the price asked"},
		{From: "in stock", Do: "CutterService/CallOffUnpaidOrder", By: "the cutter", To: "in stock", Needs: "the order isn't paid by its day, nothing sent", Moves: "the portion, back as it was"},
		{From: "in stock", Do: "CutterService/UnmakeLot", By: "the cutter", To: "unmade", Needs: "nothing of it is sold; counts and masses add up to what the lot is by now", Moves: "mass and names, back to where they came from"},
		{From: "on sale", Do: "CutterService/UnmakeLot", By: "the cutter", To: "unmade", Needs: "nothing of it is sold; counts and masses add up to what the lot is by now", Moves: "mass and names, back to where they came from"},
	},
}
