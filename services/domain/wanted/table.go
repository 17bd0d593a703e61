package wanted

import "seamshare.example/services/domain/stage"

// Table is a note's life.
var Table = stage.Table{
	Thing:  "wanted note",
	States: []string{"up", "taken down"},
	Rows: []stage.Row{
		{From: stage.None, Do: "JewellerService/PostWanted", By: "the jeweller", To: "up", Needs: "it says what is looked for"},
		{From: "up", Do: "JewellerService/ChangeWanted", By: "the jeweller", To: "up"},
		{From: "up", Do: "JewellerService/CloseWanted", By: "the jeweller", To: "taken down"},
	},
}
