package stone

import (
	"slices"

	"seamshare.example/services/domain/stage"
)

// The states of a stone, in the words of its table.
const (
	Unchecked = "unchecked" // in stock, without a final check that stands
	Checked   = "checked"   // in stock, the check not confirmed
	Stocked   = "in stock"  // checked and confirmed
	Offered   = "on sale"
	SoldState = "sold"
	InLotWord = "in a lot"
)

// Standing is where the stone stands in the words of its table.
func (s State) Standing() string {
	switch s.Stage {
	case InStock:
		switch {
		case s.Check.Stands():
			return Stocked
		case s.Check.By != "":
			return Checked
		}
		return Unchecked
	case OnSale:
		return Offered
	case Sold:
		return SoldState
	case AtJeweller:
		return "out"
	case Lost:
		return "lost"
	case Broken:
		return "broken"
	case InLot:
		return InLotWord
	}
	return stage.None
}

// benchRows are a stone's moves at its cutter's bench.
var benchRows = []stage.Row{
	{From: stage.None, Do: "CutterService/FinishStone", By: "the cutter", To: Unchecked, Needs: "a part in work that rested since it was shaped, or why not"},
	{From: Unchecked, Do: "CutterService/CheckStone", By: "the cutter", To: Checked, Needs: "all that a bezel setting needs"},
	{From: Checked, Do: "CutterService/CheckStone", By: "the cutter", To: Checked},
	{From: Stocked, Do: "CutterService/CheckStone", By: "the cutter", To: Checked, Needs: "to be confirmed again"},
	{From: Checked, Do: "CutterService/ConfirmStone", By: "a second person of the cutter, or the co-op's stock keeper", To: Stocked, Needs: "another person than the one who checked"},
	{From: Unchecked, Do: "CutterService/RegradeStone", By: "the cutter", To: Unchecked},
	{From: Checked, Do: "CutterService/RegradeStone", By: "the cutter", To: Checked},
	{From: Stocked, Do: "CutterService/RegradeStone", By: "the cutter", To: Stocked},
	{From: Offered, Do: "CutterService/RegradeStone", By: "the cutter", To: Offered},
	{From: Unchecked, Do: "CutterService/RecutStone", By: "the cutter", To: Unchecked, Moves: "mass: what it lost, with a reason"},
	{From: Checked, Do: "CutterService/RecutStone", By: "the cutter", To: Unchecked, Moves: "mass: what it lost, with a reason"},
	{From: Stocked, Do: "CutterService/RecutStone", By: "the cutter", To: Unchecked, Moves: "mass: what it lost, with a reason"},
	{From: Unchecked, Do: "CutterService/MakeLot", By: "the cutter", To: InLotWord, Moves: "its name: in a lot it has none"},
	{From: Checked, Do: "CutterService/MakeLot", By: "the cutter", To: InLotWord, Moves: "its name: in a lot it has none"},
	{From: Stocked, Do: "CutterService/MakeLot", By: "the cutter", To: InLotWord, Moves: "its name: in a lot it has none"},
	{From: InLotWord, Do: "CutterService/UnmakeLot", By: "the cutter", To: Unchecked, Needs: "nothing of the lot was sold", Moves: "its name comes back"},
}

// Table is a stone's life at the bench, up to its sale and from a return. What happens to
// it between its cutter and a jeweller is in SellingTable.
var Table = stage.Table{
	Thing:  "stone at the bench",
	States: []string{Unchecked, Checked, Stocked, Offered, SoldState, InLotWord},
	Rows:   slices.Concat(benchRows, sellingRows),
}

// sellingRows are where the bench and the sale meet.
var sellingRows = []stage.Row{
	{From: Stocked, Do: "CutterService/PutStoneOnSale", By: "the cutter", To: Offered, Needs: "a price in the parcel's currency"},
	{From: Offered, Do: "CutterService/PutStoneOnSale", By: "the cutter", To: Offered, Needs: "nobody holds it", Moves: "the price"},
	{From: Stocked, Do: "CutterService/DeliverPromise", By: "the cutter", To: SoldState, Needs: "as promised to a jeweller who accepted", Moves: "title, as agreed"},
	{From: Offered, Do: "CutterService/DeliverPromise", By: "the cutter", To: SoldState, Needs: "as promised to a jeweller who accepted", Moves: "title, as agreed"},
	{From: SoldState, Do: "CutterService/AcceptReturn", By: "the cutter", To: Stocked, If: "measured as it went", Moves: "custody and title, back to the cutter"},
	{From: SoldState, Do: "CutterService/AcceptReturn", By: "the cutter", To: Unchecked, If: "measured otherwise", Moves: "custody and title, back to the cutter"},
	{From: Offered, Do: "JewellerService/PlaceOrder", By: "a jeweller", To: SoldState, Needs: "the price asked, and nobody else's hold", Moves: "title, as agreed"},
}
