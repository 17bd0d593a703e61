package tablestest

// NoTable are the rpcs that change something and move no thing of a table, with the reason.
var NoTable = map[string]string{
	"AccessService/IssueToken":     "a token is no record",
	"PhotoService/AddPhoto":        "a photo has no life: it is kept by its hash",
	"CutterService/StudyPiece":     "a study has no life: it is kept",
	"CutterService/LookAgain":      "a second look changes nothing",
	"CutterService/ReportMixUp":    "a mix-up marks parts for ever, whatever their state",
	"CutterService/NoteInspection": "a note has no life: it is kept",
	"CoopService/ChangeSettings":   "settings have no life: each change holds from a moment on",
	"CoopService/StateTwoPeople":   "a statement has no life: it is made once",
	"CoopService/RecordPersonal":   "a fact about a person has no life: a newer one takes its place",
	"CoopService/SetBankDetails":   "bank details have no life: newer ones take their place",
	"CoopService/ErasePerson":      "an erasure is for good and changes nothing of how a person stands",
	"CoopService/MoveStock":        "where a thing is says nothing of how it stands",
	"CoopService/CountStock":       "a count has no life: it is taken once",
	"CoopService/CloseException":   "an exception has no life: it is there, and is looked into once",
	"CoopService/RecordField":      "a field has no life: it is recorded once",
}
