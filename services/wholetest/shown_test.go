package wholetest_test

// open are texts that anybody may see: the co-op's own public words.
var open = []string{
	"CoopService/RecordField.country",
	"CoopService/RecordField.name",
	"CoopService/ChangeSettings.settings.silica_limit",
	"CoopService/ChangeSettings.settings.silica_limit_source",
}

// handed are texts that stand in the files of the chains of stones and lots, which a stranger may read:
// what rough and stone are called, what is seen in them, in which light, and how they were worked. None
// is of a price, a party, a person or a place closer than the field.
var handed = []string{
	"CoopService/RecordField.country",
	"CoopService/RecordField.name",
	"CutterService/CheckStone.photo.light",
	"CutterService/SendOnApproval.stones.photo.light", "CutterService/TakeBackFromApproval.stone.photo.light",
	"CutterService/FinishStone.grade.colours", "CutterService/FinishStone.grade.judged_under",
	"CutterService/FinishStone.label",
	"CutterService/MakeLot.label",
	"MinerService/PublishParcel.label",
}

// personal are texts that stand nowhere but sealed.
var personal = []string{
	"CoopService/RecordPersonal.value",
	"CoopService/SetBankDetails.value",
}

// atTimes marks who may see a text and doesn't in every run: the recipes meet each other in the lists
// that a member can see, in an order that isn't said.
const atTimes = "at times "

// shown are texts that are meant for others than their writer, with those who may see
// them. What isn't here is its writer's own. The recipes' deals are between the miner, the
// cutter and the jeweller; the others of their trades have no part in them.
var shown = map[string][]string{
	"CoopService/AddPerson.label":                             {"another miner", "the desk", "the miner"},   // each their own
	"CoopService/AdmitMember.trading_name":                    {"another cutter", "the cutter", "the desk"}, // a jeweller's, beside what they look for
	"CoopService/CorrectPiece.reason":                         {"the desk"},                                 // who confirms it
	"CoopService/CorrectStone.reason":                         {"the desk"},
	"CoopService/OpenDispute.reason":                          {"the desk", "the miner"},
	"CoopService/RecordPersonal.value":                        {"the desk"}, // its registrar
	"CoopService/ResolveDispute.outcome":                      {"the cutter", "the miner"},
	"CoopService/ReturnPayoutLine.reason":                     {"the miner"},
	"CoopService/SetBankDetails.value":                        {"the desk"}, // who pays out
	"CoopService/SettlePayoutLine.reference":                  {"the miner"},
	"CoopService/WithdrawDispute.reason":                      {"the desk", "the miner"},
	"CutterService/AskViewing.note":                           {"the miner"},
	"CutterService/CallOffMisdescribedDeal.why":               {"the miner"},
	"CutterService/CancelViewing.why":                         {"the miner"},
	"CutterService/CheckStone.photo.light":                    {"another jeweller", "the desk", "the jeweller", "the miner"},
	"CutterService/DeclineApproval.why":                       {"the jeweller"},
	"CutterService/DeclineCounterOffer.why":                   {"the miner"},
	"CutterService/DispatchOrder.carrier":                     {"the jeweller"},
	"CutterService/DispatchOrder.reference":                   {"the jeweller"},
	"CutterService/DispatchOrder.stones.photo.light":          {"the jeweller"},
	"CutterService/FinishStone.grade.colours":                 {"another jeweller", "the jeweller"},
	"CutterService/FinishStone.grade.judged_under":            {"another jeweller", "the jeweller"},
	"CutterService/FinishStone.label":                         {"another jeweller", "the desk", "the jeweller", "the miner"},
	"CutterService/FinishStone.remarks":                       {"another jeweller", "the jeweller"},
	"CutterService/GiveBackParcel.note":                       {"the miner"},
	"CutterService/MakeLot.label":                             {"another jeweller", "the desk", "the jeweller", "the miner"},
	"CutterService/MakeLot.remarks":                           {"another jeweller", "the jeweller"},
	"CutterService/MakeOffer.agreement.tiers.recoup.label":    {"the desk", "the miner"},
	"CutterService/PromiseStones.items.like":                  {"the jeweller"},
	"CutterService/PromiseStones.note":                        {"the jeweller"},
	"CutterService/PublishRough.agreement.tiers.recoup.label": {"another cutter"},
	"CutterService/PublishRough.label":                        {"another cutter"},
	"CutterService/PublishRough.note":                         {"another cutter"},
	"CutterService/ReceiveParcel.note":                        {"the miner"},
	"CutterService/RecordApprovalLoss.how":                    {"the jeweller"},
	"CutterService/SendOnApproval.carrier":                    {"the jeweller"},
	"CutterService/SendOnApproval.reference":                  {"the jeweller"},
	"CutterService/SendOnApproval.stones.photo.light":         {"the jeweller"},
	"CutterService/TakeBackFromApproval.stone.photo.light":    {"the jeweller"},
	"CutterService/WithdrawPromise.why":                       {"the jeweller"},
	"JewellerService/AskForApproval.note":                     {"the cutter"},
	"JewellerService/AskReturn.why":                           {"the cutter"},
	"JewellerService/ChangeWanted.wish.colours":               {"another cutter", "the cutter"},
	"JewellerService/ChangeWanted.wish.words":                 {"another cutter", "the cutter"},
	"JewellerService/ClaimDamage.words":                       {"the cutter"},
	"JewellerService/DeclinePromise.why":                      {"the cutter"},
	"JewellerService/PostWanted.wish.colours":                 {"another cutter", "the cutter"},
	"JewellerService/PostWanted.wish.words":                   {"another cutter", "the cutter"},
	"JewellerService/ReportLoss.how":                          {"the cutter"},
	"MinerService/AgreeViewing.note":                          {"the cutter"},
	"MinerService/CallOffViewing.why":                         {"the cutter"},
	"MinerService/CallOffUnpaidDeal.why":                      {atTimes + "the cutter"},
	"MinerService/CounterOffer.agreement.tiers.recoup.label":  {"the cutter", atTimes + "the desk"},
	"CutterService/PublishRough.lines.seen":                   {atTimes + "another cutter"},
	"MinerService/DeclineOffer.why":                           {"the cutter"},
	"MinerService/EndViewing.light":                           {"the cutter"},
	"MinerService/EndViewing.note":                            {"the cutter"},
	"MinerService/HandOverParcel.note":                        {"the cutter"},
	"MinerService/PublishParcel.agreement.tiers.recoup.label": {"another cutter", "the cutter", "the desk"},
	"MinerService/PublishParcel.label":                        {"another cutter", "another jeweller", "the cutter", "the desk", "the jeweller"},
	"MinerService/PublishParcel.note":                         {"another cutter", "the cutter", "the desk"},
	"MinerService/PublishParcel.pieces.photos.light":          {"another cutter", "the cutter", "the desk"},
	"MinerService/PublishParcel.pieces.seen":                  {"another cutter", "the cutter", "the desk"},
	"MinerService/RelistParcel.agreement.tiers.recoup.label":  {"another cutter", "the cutter"},
	"MinerService/RepriceParcel.agreement.tiers.recoup.label": {"another cutter", "the cutter"},
	"MinerService/SaveDraft.draft.label":                      {"the desk"}, // its auditor, who reads all
	"MinerService/TakeBackParcel.note":                        {"the cutter"},
}
