package stone

import "seamshare.example/services/domain/stage"

// SellingTable is a stone's way to a jeweller and back. What happens to it at the bench
// is in Table.
var SellingTable = stage.Table{
	Thing:  "stone between cutter and jeweller",
	States: []string{"with its cutter", Offered, "held", SoldState, "out", "lost", "broken"},
	Rows: []stage.Row{
		{From: "with its cutter", Do: "CutterService/PutStoneOnSale", By: "the cutter", To: Offered, Needs: "a final check that stands; a price in the parcel's currency"},
		{From: "with its cutter", Do: "CutterService/OfferSet", By: "the cutter", To: Offered, Needs: "all stones of the pair or suite, each with its price"},
		{From: "with its cutter", Do: "CutterService/DeliverPromise", By: "the cutter", To: SoldState, Needs: "a final check that stands; as promised to a jeweller who accepted", Moves: "title, as agreed; the price promised is owed"},
		{From: Offered, Do: "CutterService/DeliverPromise", By: "the cutter", To: SoldState, Needs: "as promised to a jeweller who accepted; nobody holds it; in no pair or suite", Moves: "title, as agreed; the price promised is owed"},
		{From: Offered, Do: "CutterService/PutStoneOnSale", By: "the cutter", To: Offered, Needs: "it is in no pair or suite", Moves: "the price"},
		{From: Offered, Do: "CutterService/OfferSet", By: "the cutter", To: Offered, Needs: "it is in no other pair or suite", Moves: "the price; its set"},
		{From: Offered, Do: "CutterService/TakeOffSale", By: "the cutter", To: "with its cutter", Needs: "a pair or suite goes as a whole"},
		{From: Offered, Do: "JewellerService/HoldStones", By: "a jeweller", To: "held", Needs: "within the settings' time and number; a set as a whole", Moves: "it is nobody else's until the hold ends"},
		{From: Offered, Do: "JewellerService/PlaceOrder", By: "a jeweller", To: SoldState, Needs: "the price asked; a set as a whole", Moves: "title, as agreed; the price is owed"},
		{From: Offered, Do: "CutterService/SendOnApproval", By: "the cutter, to the jeweller who asked", To: "out", Needs: "measured and photographed; the jeweller's limit; a set as a whole", Moves: "custody, to the jeweller"},
		{From: "held", Do: "time", By: "the hold's end", To: Offered},
		{From: "held", Do: "JewellerService/ReleaseHold", By: "the jeweller who holds it", To: Offered},
		{From: "held", Do: "JewellerService/PlaceOrder", By: "the jeweller who holds it", To: SoldState, Needs: "the price asked; a set as a whole", Moves: "title, as agreed; the price is owed"},
		{From: "held", Do: "CutterService/SendOnApproval", By: "the cutter, to the jeweller who holds it", To: "out", Needs: "measured and photographed; the jeweller's limit; a set as a whole", Moves: "custody, to the jeweller"},
		{From: SoldState, Do: "JewellerService/CancelOrder", By: "the buyer", To: Offered, Needs: "nothing paid, nothing sent; not cut to order", Moves: "title, back to the cutter"},
		{From: SoldState, Do: "CutterService/CallOffUnpaidOrder", By: "the cutter", To: Offered, Needs: "the order isn't paid by its day, nothing sent; not cut to order", Moves: "title, back to the cutter; what was paid is to be paid back"},
		{From: SoldState, Do: "CutterService/AcceptReturn", By: "the cutter", To: "with its cutter", Needs: "measured again", Moves: "custody and title, back to the cutter"},
		{From: "out", Do: "JewellerService/BuyFromApproval", By: "the jeweller it is with", To: SoldState, Moves: "title; the price is owed"},
		{From: "out", Do: "CutterService/TakeBackFromApproval", By: "the cutter", To: "with its cutter", Needs: "measured and photographed again", Moves: "custody, to the cutter"},
		{From: "out", Do: "JewellerService/ReportLoss", By: "the jeweller it is with", To: "lost", If: "lost, and the cutter bears it"},
		{From: "out", Do: "JewellerService/ReportLoss", By: "the jeweller it is with", To: "broken", If: "broken, and the cutter bears it"},
		{From: "out", Do: "JewellerService/ReportLoss", By: "the jeweller it is with", To: SoldState, If: "the jeweller bears it", Moves: "title; the price is owed"},
		{From: "out", Do: "CutterService/RecordApprovalLoss", By: "the cutter", To: "lost", If: "lost, and the cutter bears it"},
		{From: "out", Do: "CutterService/RecordApprovalLoss", By: "the cutter", To: "broken", If: "broken, and the cutter bears it"},
		{From: "out", Do: "CutterService/RecordApprovalLoss", By: "the cutter", To: SoldState, If: "the jeweller bears it", Needs: "the day it is due, and the one asked for, is over", Moves: "title; the price is owed"},
		{From: "lost", Do: "CutterService/TakeBackFromApproval", By: "the cutter", To: "with its cutter", Needs: "it was found after all; measured and photographed again", Moves: "custody, to the cutter"},
		{From: "broken", Do: "CutterService/TakeBackFromApproval", By: "the cutter", To: "with its cutter", Needs: "measured and photographed again", Moves: "custody, to the cutter"},
	},
}
