package parcel

import "seamshare.example/services/domain/stage"

// The tables name the rpcs that move a parcel and what goes with it. Tests hold the
// rules to them.

// Table is a parcel's life.
var Table = stage.Table{
	Thing: "parcel",
	States: []string{
		"draft", "listed", "under offer", "agreed", "handed over", "closed", "withdrawn", "coming back", "fallen through", "discarded",
	},
	Rows: []stage.Row{
		{From: stage.None, Do: "MinerService/SaveDraft", By: "the seller", To: "draft"},
		{From: "draft", Do: "MinerService/SaveDraft", By: "the seller", To: "draft"},
		{From: "draft", Do: "MinerService/DiscardDraft", By: "the seller", To: "discarded"},
		{From: stage.None, Do: "MinerService/PublishParcel", By: "the seller", To: "listed", Needs: "masses add up, claims are the seller's, treatment is answered, the agreement can be computed"},
		{From: "draft", Do: "MinerService/PublishParcel", By: "the seller", To: "listed", Needs: "the same"},
		{From: "listed", Do: "MinerService/RepriceParcel", By: "the seller", To: "listed"},
		{From: "under offer", Do: "MinerService/RepriceParcel", By: "the seller", To: "under offer"},
		{From: "listed", Do: "MinerService/WithdrawParcel", By: "the seller", To: "withdrawn"},
		{From: "under offer", Do: "MinerService/WithdrawParcel", By: "the seller", To: "withdrawn", Moves: "offers are closed"},
		{From: "withdrawn", Do: "MinerService/RelistParcel", By: "the seller", To: "listed"},
		{From: "fallen through", Do: "MinerService/RelistParcel", By: "the seller", To: "listed", Needs: "purchase money is paid back"},

		{From: "listed", Do: "CutterService/MakeOffer", By: "a cutter", To: "under offer"},
		{From: "under offer", Do: "CutterService/MakeOffer", By: "a cutter", To: "under offer"},
		{From: "under offer", Do: "CutterService/WithdrawOffer", By: "the offer's buyer", To: "listed", If: "it was the last"},
		{From: "under offer", Do: "CutterService/WithdrawOffer", By: "the offer's buyer", To: "under offer", If: "others are open"},
		{From: "under offer", Do: "MinerService/DeclineOffer", By: "the seller", To: "listed", If: "it was the last"},
		{From: "under offer", Do: "MinerService/DeclineOffer", By: "the seller", To: "under offer", If: "others are open"},
		{From: "under offer", Do: "MinerService/CounterOffer", By: "the seller", To: "under offer"},
		{From: "under offer", Do: "time", By: "nobody", To: "listed", If: "the last offer ends"},
		{From: "under offer", Do: "MinerService/AcceptOffer", By: "the seller", To: "agreed", Moves: "the other offers are closed"},
		{From: "under offer", Do: "CutterService/AcceptCounterOffer", By: "the counter-offer's buyer", To: "agreed", Moves: "the other offers are closed"},
		{From: "listed", Do: "CutterService/TakeParcel", By: "a cutter", To: "agreed", Needs: "the seller allows it"},
		{From: "under offer", Do: "CutterService/TakeParcel", By: "a cutter", To: "agreed", Needs: "the seller allows it", Moves: "offers are closed"},

		{From: "agreed", Do: "MinerService/HandOverParcel", By: "the seller", To: "agreed", If: "the buyer hasn't weighed"},
		{From: "agreed", Do: "MinerService/HandOverParcel", By: "the seller", To: "handed over", If: "the buyer has weighed", Needs: "no viewer has the rough", Moves: "custody; title where it moves at the handover"},
		{From: "agreed", Do: "CutterService/ReceiveParcel", By: "the buyer", To: "agreed", If: "the seller hasn't weighed"},
		{From: "agreed", Do: "CutterService/ReceiveParcel", By: "the buyer", To: "handed over", If: "the seller has weighed", Needs: "no viewer has the rough", Moves: "custody; title where it moves at the handover"},
		{From: "agreed", Do: "MinerService/CallOffUnpaidDeal", By: "the seller", To: "fallen through", Needs: "the price is overdue"},
		{From: "handed over", Do: "MinerService/CallOffUnpaidDeal", By: "the seller", To: "coming back", Needs: "the price is overdue, and nothing was cut", Moves: "title goes back"},
		{From: "agreed", Do: "CutterService/CallOffMisdescribedDeal", By: "the buyer", To: "fallen through"},
		{From: "handed over", Do: "CutterService/CallOffMisdescribedDeal", By: "the buyer", To: "coming back", Needs: "nothing was cut", Moves: "title goes back"},
		{From: "coming back", Do: "MinerService/TakeBackParcel", By: "the seller", To: "coming back", If: "the buyer hasn't weighed"},
		{From: "coming back", Do: "MinerService/TakeBackParcel", By: "the seller", To: "fallen through", If: "the buyer has weighed", Moves: "custody"},
		{From: "coming back", Do: "CutterService/GiveBackParcel", By: "the buyer", To: "coming back", If: "the seller hasn't weighed"},
		{From: "coming back", Do: "CutterService/GiveBackParcel", By: "the buyer", To: "fallen through", If: "the seller has weighed", Moves: "custody"},
		{From: "handed over", Do: "CutterService/CloseParcel", By: "the buyer", To: "closed", Needs: "it is paid, no part is in work, every stone is sold and paid"},

		{From: "listed", Do: "MinerService/OpenLine", By: "the seller", To: "listed", Needs: "counts and masses balance"},
		{From: "under offer", Do: "MinerService/OpenLine", By: "the seller", To: "under offer", Needs: "counts and masses balance"},
		{From: "withdrawn", Do: "MinerService/OpenLine", By: "the seller", To: "withdrawn", Needs: "counts and masses balance"},
		{From: "fallen through", Do: "MinerService/OpenLine", By: "the seller", To: "fallen through", Needs: "counts and masses balance"},
		{From: "handed over", Do: "CutterService/OpenLine", By: "the buyer", To: "handed over", Needs: "counts and masses balance, and the price isn't overdue"},
	},
}

// ViewingTable is a viewing's life. One that hasn't started is called off too when its
// parcel leaves the market.
var ViewingTable = stage.Table{
	Thing:  "viewing",
	States: []string{"asked", "agreed", "out", "ended", "called off"},
	Rows: []stage.Row{
		{From: stage.None, Do: "CutterService/AskViewing", By: "a cutter", To: "asked", Needs: "the parcel is on the market"},
		{From: "asked", Do: "MinerService/AgreeViewing", By: "the seller", To: "agreed"},
		{From: "asked", Do: "MinerService/CallOffViewing", By: "the seller", To: "called off"},
		{From: "agreed", Do: "MinerService/CallOffViewing", By: "the seller", To: "called off"},
		{From: "asked", Do: "CutterService/CancelViewing", By: "the viewer", To: "called off"},
		{From: "agreed", Do: "CutterService/CancelViewing", By: "the viewer", To: "called off"},
		{From: "agreed", Do: "MinerService/StartViewing", By: "the seller", To: "out", Needs: "the rough is with the seller", Moves: "custody"},
		{From: "out", Do: "MinerService/EndViewing", By: "the seller", To: "ended", Moves: "custody"},
	},
}

// OfferTable is the life of a buyer's offer.
var OfferTable = stage.Table{
	Thing:  "offer",
	States: []string{"open", "accepted", "countered", "declined", "withdrawn", "ended", "closed"},
	Rows: []stage.Row{
		{From: stage.None, Do: "CutterService/MakeOffer", By: "a cutter", To: "open", Needs: "the parcel is on the market"},
		{From: "open", Do: "MinerService/AcceptOffer", By: "the seller", To: "accepted", Moves: "all other offers are closed"},
		{From: "open", Do: "MinerService/CounterOffer", By: "the seller", To: "countered"},
		{From: "open", Do: "MinerService/DeclineOffer", By: "the seller", To: "declined"},
		{From: "open", Do: "CutterService/WithdrawOffer", By: "its buyer", To: "withdrawn"},
		{From: "open", Do: "time", By: "nobody", To: "ended", If: "its moment comes"},
		{From: "open", Do: "CutterService/TakeParcel", By: "another cutter", To: "closed"},
		{From: "ended", Do: "CutterService/TakeParcel", By: "another cutter", To: "closed"},
		{From: "countered", Do: "CutterService/TakeParcel", By: "another cutter", To: "countered"},
		{From: "declined", Do: "CutterService/TakeParcel", By: "another cutter", To: "declined"},
		{From: "withdrawn", Do: "CutterService/TakeParcel", By: "another cutter", To: "withdrawn"},
	},
}

// CounterTable is the life of a seller's counter-offer.
var CounterTable = stage.Table{
	Thing:  "counter-offer",
	States: []string{"open", "accepted", "declined", "withdrawn", "ended", "closed"},
	Rows: []stage.Row{
		{From: stage.None, Do: "MinerService/CounterOffer", By: "the seller", To: "open", Needs: "the offer that it answers is open"},
		{From: "open", Do: "CutterService/AcceptCounterOffer", By: "its buyer", To: "accepted", Moves: "all other offers are closed"},
		{From: "open", Do: "CutterService/DeclineCounterOffer", By: "its buyer", To: "declined"},
		{From: "open", Do: "MinerService/WithdrawCounterOffer", By: "the seller", To: "withdrawn"},
		{From: "open", Do: "time", By: "nobody", To: "ended", If: "its moment comes"},
		{From: "open", Do: "CutterService/TakeParcel", By: "another cutter", To: "closed"},
		{From: "ended", Do: "CutterService/TakeParcel", By: "another cutter", To: "closed"},
		{From: "declined", Do: "CutterService/TakeParcel", By: "another cutter", To: "declined"},
		{From: "withdrawn", Do: "CutterService/TakeParcel", By: "another cutter", To: "withdrawn"},
	},
}

// DealTable is a deal's life.
var DealTable = stage.Table{
	Thing:  "deal",
	States: []string{"made", "paid", "placed", "fallen through"},
	Rows: []stage.Row{
		{From: stage.None, Do: "MinerService/AcceptOffer", By: "the seller", To: "made", If: "it has a price"},
		{From: stage.None, Do: "MinerService/AcceptOffer", By: "the seller", To: "placed", If: "its price is zero"},
		{From: stage.None, Do: "CutterService/AcceptCounterOffer", By: "the buyer", To: "made", If: "it has a price"},
		{From: stage.None, Do: "CutterService/TakeParcel", By: "a cutter", To: "made", If: "it has a price"},
		{From: "made", Do: "CoopService/RecordParcelPayment", By: "the bookkeeper", To: "made", If: "a part of the price", Moves: "shares"},
		{From: "made", Do: "CoopService/RecordParcelPayment", By: "the bookkeeper", To: "paid", If: "all that is open", Moves: "shares; title where it moves when paid"},
		{From: "made", Do: "CoopService/RecordCost", By: "the bookkeeper", To: "made", Needs: "a kind that the agreement names"},
		{From: "paid", Do: "CoopService/RecordCost", By: "the bookkeeper", To: "paid", Needs: "a kind that the agreement names"},
		{From: "placed", Do: "CoopService/RecordCost", By: "the bookkeeper", To: "placed", Needs: "a kind that the agreement names"},
		{From: "made", Do: "MinerService/CallOffUnpaidDeal", By: "the seller", To: "fallen through", Needs: "the price is overdue, and nothing was cut", Moves: "title goes back"},
		{From: "made", Do: "CutterService/CallOffMisdescribedDeal", By: "the buyer", To: "fallen through", Needs: "nothing was cut", Moves: "title goes back"},
		{From: "paid", Do: "CutterService/CallOffMisdescribedDeal", By: "the buyer", To: "fallen through", Needs: "nothing was cut", Moves: "title goes back; what was paid is to be paid back, and is nobody's share"},
		{From: "placed", Do: "CutterService/CallOffMisdescribedDeal", By: "the buyer", To: "fallen through", Needs: "nothing was cut"},
		{From: "fallen through", Do: "CoopService/RecordParcelRefund", By: "the bookkeeper", To: "fallen through", Needs: "no more than was paid", Moves: "money that was nobody's share"},
	},
}

// HandoverTable is the life of a handover, and of its undoing.
var HandoverTable = stage.Table{
	Thing:  "handover",
	States: []string{"awaited", "weighed by the seller", "weighed by the buyer", "done", "going back", "back", "called off"},
	Rows: []stage.Row{
		{From: stage.None, Do: "CutterService/TakeParcel", By: "a cutter", To: "awaited"},
		{From: "awaited", Do: "MinerService/HandOverParcel", By: "the seller", To: "weighed by the seller"},
		{From: "awaited", Do: "CutterService/ReceiveParcel", By: "the buyer", To: "weighed by the buyer"},
		{From: "weighed by the seller", Do: "MinerService/HandOverParcel", By: "the seller", To: "weighed by the seller", Needs: "their later word stands"},
		{From: "weighed by the buyer", Do: "CutterService/ReceiveParcel", By: "the buyer", To: "weighed by the buyer", Needs: "their later word stands"},
		{From: "weighed by the seller", Do: "CutterService/ReceiveParcel", By: "the buyer", To: "done", Moves: "custody; title where it moves at the handover"},
		{From: "weighed by the buyer", Do: "MinerService/HandOverParcel", By: "the seller", To: "done", Moves: "custody; title where it moves at the handover"},
		{From: "awaited", Do: "CutterService/CallOffMisdescribedDeal", By: "the buyer", To: "called off"},
		{From: "weighed by the seller", Do: "CutterService/CallOffMisdescribedDeal", By: "the buyer", To: "called off"},
		{From: "weighed by the buyer", Do: "CutterService/CallOffMisdescribedDeal", By: "the buyer", To: "called off"},
		{From: "done", Do: "CutterService/CallOffMisdescribedDeal", By: "the buyer", To: "going back", Needs: "nothing was cut"},
		{From: "going back", Do: "CutterService/GiveBackParcel", By: "the buyer", To: "going back", If: "the seller hasn't weighed"},
		{From: "going back", Do: "CutterService/GiveBackParcel", By: "the buyer", To: "back", If: "the seller has weighed", Moves: "custody"},
		{From: "going back", Do: "MinerService/TakeBackParcel", By: "the seller", To: "going back", If: "the buyer hasn't weighed"},
		{From: "going back", Do: "MinerService/TakeBackParcel", By: "the seller", To: "back", If: "the buyer has weighed", Moves: "custody"},
	},
}

// AgreementTable is the life of a parcel's agreement.
var AgreementTable = stage.Table{
	Thing:  "agreement",
	States: []string{"proposed", "fixed", "void"},
	Rows: []stage.Row{
		{From: stage.None, Do: "MinerService/PublishParcel", By: "the seller", To: "proposed", Needs: "it can be computed, and everyone in it trades here"},
		{From: "proposed", Do: "MinerService/RepriceParcel", By: "the seller", To: "proposed", Needs: "the same"},
		{From: "proposed", Do: "CutterService/MakeOffer", By: "a cutter", To: "proposed", Needs: "an offer names an agreement of its own, or takes this one at its price"},
		{From: "proposed", Do: "MinerService/AcceptOffer", By: "the seller", To: "fixed", Moves: "multiples of the price become amounts; when the title moves and the price is due is said"},
		{From: "proposed", Do: "CutterService/TakeParcel", By: "a cutter", To: "fixed", Moves: "the same"},
		{From: "fixed", Do: "CutterService/CallOffMisdescribedDeal", By: "the buyer", To: "void", Needs: "nothing was cut"},
		{From: "void", Do: "MinerService/RelistParcel", By: "the seller", To: "proposed", Needs: "the rough is back and purchase money paid back"},
	},
}
