package rule

// The state says no: stones on their way to a jeweller and back.
const (
	StoneInSet       Reason = "STONE_IN_SET"       // it is offered in a pair or suite
	SetNotWhole      Reason = "SET_NOT_WHOLE"      // a pair or suite goes as a whole
	StoneOut         Reason = "STONE_OUT"          // on approval or consignment
	StoneNotOut      Reason = "STONE_NOT_OUT"      // not on this approval
	StoneGone        Reason = "STONE_GONE"         // lost or broken
	StoneHeld        Reason = "STONE_HELD"         // set aside for a jeweller
	TooManyHeld      Reason = "TOO_MANY_HELD"      // one jeweller holds no more
	HoldOver         Reason = "HOLD_OVER"          // ended, released or used
	ApprovalOver     Reason = "APPROVAL_OVER"      // it isn't waiting to be sent
	NotAsAsked       Reason = "NOT_AS_ASKED"       // it would cost the jeweller more than they asked under
	ApprovalNotOut   Reason = "APPROVAL_NOT_OUT"   // nothing of it is out
	TooMuchOut       Reason = "TOO_MUCH_OUT"       // one jeweller has no more goods out
	OrderPaidFor     Reason = "ORDER_PAID_FOR"     // money came in
	OrderUnderWay    Reason = "ORDER_UNDER_WAY"    // it was sent
	OrderPromised    Reason = "ORDER_PROMISED"     // its stones were cut for this jeweller
	OrderOver        Reason = "ORDER_OVER"         // called off
	PaymentOpen      Reason = "PAYMENT_OPEN"       // deposit or price isn't in
	NothingToSend    Reason = "NOTHING_TO_SEND"    // all of it was sent or is back
	NothingToReceive Reason = "NOTHING_TO_RECEIVE" // nothing is on its way
	NotReceived      Reason = "NOT_RECEIVED"       // the buyer hasn't got it yet
	ReturnPeriodOver Reason = "RETURN_PERIOD_OVER" // too late to send it back
	ClaimPeriodOver  Reason = "CLAIM_PERIOD_OVER"  // too late to claim damage
	DamageNotClaimed Reason = "DAMAGE_NOT_CLAIMED" // nothing to answer
	AboveThePrice    Reason = "ABOVE_THE_PRICE"    // a reduction takes off no more than the price
	WantedIsClosed   Reason = "WANTED_IS_CLOSED"   // the note was taken down
	NotOneSeller     Reason = "NOT_ONE_SELLER"     // stones of several cutters
	OwnStone         Reason = "OWN_STONE"          // nobody buys from themselves
)
