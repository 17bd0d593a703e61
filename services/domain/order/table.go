package order

import "seamshare.example/services/domain/stage"

// Table is an order's life. Payment and delivery go side by side: the states are those
// of the delivery. Where an order has several stones, it stands where the one furthest
// behind does. An order out of goods on approval begins as received.
var Table = stage.Table{
	Thing:  "order",
	States: []string{"placed", "dispatched", "received", "returned", "called off"},
	Rows: []stage.Row{
		{From: stage.None, Do: "JewellerService/PlaceOrder", By: "the jeweller", To: "placed", Needs: "every stone and lot to be had at the price seen, sets as a whole", Moves: "title, as agreed; the price is owed"},
		{From: stage.None, Do: "CutterService/DeliverPromise", By: "the cutter", To: "placed", Needs: "stones as promised", Moves: "title, as agreed; the price promised is owed"},
		{From: stage.None, Do: "JewellerService/BuyFromApproval", By: "the jeweller it is with", To: "received", Moves: "title; the price is owed; the claim period begins"},
		{From: stage.None, Do: "JewellerService/ReportLoss", By: "the jeweller it is with", To: "received", Needs: "the jeweller bears it", Moves: "title; the price is owed"},
		{From: stage.None, Do: "CutterService/RecordApprovalLoss", By: "the cutter", To: "received", Needs: "the jeweller bears it", Moves: "title; the price is owed"},
		{From: "placed", Do: "JewellerService/CancelOrder", By: "the jeweller", To: "called off", Needs: "nothing paid; not cut to order", Moves: "the stones are on sale again as they were"},
		{From: "placed", Do: "CoopService/RecordOrderPayment", By: "the bookkeeper", To: "placed", Needs: "no more than is open", Moves: "money, and with it the shares"},
		{From: "placed", Do: "CutterService/DispatchOrder", By: "the cutter", To: "dispatched", Needs: "the deposit is in, or all where there is none; measured", Moves: "custody, to the carrier"},
		{From: "placed", Do: "CutterService/AcceptReturn", By: "the cutter", To: "returned", Needs: "measured again", Moves: "title, back to the cutter; the shares, as what was paid is to be paid back"},
		{From: "placed", Do: "CutterService/AcceptLotReturn", By: "the cutter", To: "returned", Needs: "counted and weighed again", Moves: "title, back to the cutter; the shares, as what was paid is to be paid back"},
		{From: "placed", Do: "CutterService/CallOffUnpaidOrder", By: "the cutter", To: "returned", Needs: "it isn't paid by its day, and nothing was sent; not cut to order", Moves: "the stones are on sale again as they were; the shares, as what was paid is to be paid back"},
		{From: "dispatched", Do: "CoopService/RecordOrderPayment", By: "the bookkeeper", To: "dispatched", Needs: "no more than is open", Moves: "money, and with it the shares"},
		{From: "dispatched", Do: "JewellerService/ReceiveOrder", By: "the jeweller", To: "received", Moves: "custody, to the jeweller; the return and claim periods begin"},
		{From: "dispatched", Do: "CutterService/AcceptReturn", By: "the cutter", To: "returned", Needs: "measured again", Moves: "custody and title, back to the cutter; the shares, as what was paid is to be paid back"},
		{From: "dispatched", Do: "CutterService/AcceptLotReturn", By: "the cutter", To: "returned", Needs: "counted and weighed again", Moves: "custody and title, back to the cutter; the shares, as what was paid is to be paid back"},
		{From: "received", Do: "CoopService/RecordOrderPayment", By: "the bookkeeper", To: "received", Needs: "no more than is open", Moves: "money, and with it the shares"},
		{From: "received", Do: "JewellerService/AskReturn", By: "the jeweller", To: "received", Needs: "within the return period"},
		{From: "received", Do: "JewellerService/ClaimDamage", By: "the jeweller", To: "received", Needs: "within the claim period"},
		{From: "received", Do: "CutterService/AnswerDamageClaim", By: "the cutter", To: "received", Needs: "a claim that waits", Moves: "the price, where it is reduced"},
		{From: "received", Do: "CoopService/RecordRefund", By: "the bookkeeper", To: "received", Needs: "more was paid than the reduced price: all of that", Moves: "money that was nobody's share"},
		{From: "received", Do: "CutterService/AcceptReturn", By: "the cutter", To: "returned", Needs: "measured again", Moves: "custody and title, back to the cutter; the shares, as what was paid is to be paid back"},
		{From: "received", Do: "CutterService/AcceptLotReturn", By: "the cutter", To: "returned", Needs: "counted and weighed again", Moves: "custody and title, back to the cutter; the shares, as what was paid is to be paid back"},
		{From: "returned", Do: "CoopService/RecordRefund", By: "the bookkeeper", To: "returned", Needs: "all that was paid", Moves: "money that was nobody's share"},
	},
}
