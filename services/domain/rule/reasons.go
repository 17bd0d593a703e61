package rule

// Reason names a rule for programs. The catalogue below is the only place where
// reasons are made; a reason never changes its meaning.
type Reason string

// Wrong whatever has happened.
const (
	FieldInvalid        Reason = "FIELD_INVALID"         // a field breaks its own form
	NotAnswered         Reason = "NOT_ANSWERED"          // a question that is always answered
	CurrencyUnknown     Reason = "CURRENCY_UNKNOWN"      // no ISO 4217 code
	CurrencyDiffers     Reason = "CURRENCY_DIFFERS"      // not the parcel's currency
	AmountInvalid       Reason = "AMOUNT_INVALID"        // out of range, or finer than the minor unit
	MassInvalid         Reason = "MASS_INVALID"          // out of range
	SizeInvalid         Reason = "SIZE_INVALID"          // out of range
	MassesDontAddUp     Reason = "MASSES_DONT_ADD_UP"    // pieces and total disagree
	NamedTwice          Reason = "NAMED_TWICE"           // a name that must be unique
	AgreementInvalid    Reason = "AGREEMENT_INVALID"     // breaks the agreement arithmetic
	LevyTooLow          Reason = "LEVY_TOO_LOW"          // below what the co-op asks of every agreement
	CountInvalid        Reason = "COUNT_INVALID"         // no possible count
	HeavierThanBefore   Reason = "HEAVIER_THAN_BEFORE"   // more mass out than in
	LossNeedsReason     Reason = "LOSS_NEEDS_REASON"     // mass was lost without a word
	KerfWithoutSaw      Reason = "KERF_WITHOUT_SAW"      // only a saw has a kerf
	SetAsideLeavesParts Reason = "SET_ASIDE_LEAVES_PART" // nothing is left of a part set aside
	CheckFailed         Reason = "CHECK_FAILED"          // the final check finds a stone not fit for a bezel
	OutOfTolerance      Reason = "OUT_OF_TOLERANCE"      // not the stone that was promised
	TimeInvalid         Reason = "TIME_INVALID"          // not a moment, or over already
	KeyInvalid          Reason = "KEY_INVALID"           // not an Ed25519 public key
	PhotoInvalid        Reason = "PHOTO_INVALID"         // not a picture that can be kept
	DrawingInvalid      Reason = "DRAWING_INVALID"       // a drawing or a measured plan that can't be
)

// Not there, for this caller.
const (
	NotFound Reason = "NOT_FOUND"
)

// The state says no.
const (
	AlreadyThere     Reason = "ALREADY_THERE"      // it has happened before
	ParcelNotListed  Reason = "PARCEL_NOT_LISTED"  // sold, placed or never listed
	OwnParcel        Reason = "OWN_PARCEL"         // nobody buys from themselves
	TooManyParts     Reason = "TOO_MANY_PARTS"     // the piece is parted no further
	TooManyOffers    Reason = "TOO_MANY_OFFERS"    // the parcel takes no more
	OfferEnded       Reason = "OFFER_ENDED"        // its time is over
	NotAtAsking      Reason = "NOT_OPEN_AT_ASKING" // the seller wants offers
	NoDeal           Reason = "NO_DEAL"            // nothing was agreed yet
	CountDiffers     Reason = "COUNT_DIFFERS"      // the two sides count differently
	NotHandedOver    Reason = "NOT_HANDED_OVER"    // custody hasn't moved
	AboveWhatIsOwed  Reason = "ABOVE_WHAT_IS_OWED" // more money than is open
	CostNotAgreed    Reason = "COST_NOT_AGREED"    // a kind the agreement doesn't name
	ClaimNotYours    Reason = "CLAIM_NOT_YOURS"    // not a claim of the seller's
	PartNotInWork    Reason = "PART_NOT_IN_WORK"   // on the shelf, an off-cut, or a stone
	CountedLot       Reason = "COUNTED_LOT"        // a lot of chips isn't one piece
	PhotoNotThere    Reason = "PHOTO_NOT_THERE"    // a record would name a picture that isn't kept
	NotRested        Reason = "NOT_RESTED"         // shaped too short a time ago
	NothingToDecide  Reason = "NOTHING_TO_DECIDE"  // the part doesn't wait
	TooManyPlans     Reason = "TOO_MANY_PLANS"     // the piece or plan takes no more
	PlanIsDropped    Reason = "PLAN_IS_DROPPED"    // for good
	NotDrawn         Reason = "NOT_DRAWN"          // there is no drawing to measure on
	NotMeasured      Reason = "NOT_MEASURED"       // a plan in words only
	KeepsTooMuch     Reason = "KEEPS_TOO_MUCH"     // the piece keeps no more studies and plans
	NotOneParcel     Reason = "NOT_ONE_PARCEL"     // parts of several parcels
	NotYoursToSell   Reason = "NOT_YOURS_TO_SELL"  // others share in what the rough brings
	StoneNotChecked  Reason = "STONE_NOT_CHECKED"  // no final check that stands
	StoneNotInStock  Reason = "STONE_NOT_IN_STOCK" // on sale, out, sold or in a lot
	LotNotForSale    Reason = "LOT_NOT_FOR_SALE"   // no price is asked
	LotBegun         Reason = "LOT_BEGUN"          // some of it was sold
	LotUnmade        Reason = "LOT_UNMADE"         // it went back to where it came from
	NotSoMany        Reason = "NOT_SO_MANY"        // the lot holds less
	MassUnlikely     Reason = "MASS_UNLIKELY"      // so few or many pieces don't weigh that
	NotOneKind       Reason = "NOT_ONE_KIND"       // several kinds of opal
	PromiseSettled   Reason = "PROMISE_SETTLED"    // declined, withdrawn, delivered or not kept
	PromiseLapsed    Reason = "PROMISE_LAPSED"     // it was due before it was accepted
	PromiseNotTaken  Reason = "PROMISE_NOT_TAKEN"  // the jeweller hasn't accepted
	WeighingsDiffer  Reason = "WEIGHINGS_DIFFER"   // the same part, two masses
	SizesDiffer      Reason = "SIZES_DIFFER"       // the same stone, two sizes
	StoneNotForSale  Reason = "STONE_NOT_FOR_SALE" // in stock or sold
	StoneSold        Reason = "STONE_SOLD"         // it is another's
	StoneNotSold     Reason = "STONE_NOT_SOLD"     // it can't come back
	PriceMoved       Reason = "PRICE_MOVED"        // another price is asked by now
	NotReturned      Reason = "NOT_RETURNED"       // the stone isn't back
	NothingToRefund  Reason = "NOTHING_TO_REFUND"  // nothing was paid, or all was paid back
	RefundDiffers    Reason = "REFUND_DIFFERS"     // not what was paid
	RoleNotOfMember  Reason = "ROLE_NOT_OF_MEMBER" // the member doesn't do that
	OwnRole          Reason = "OWN_ROLE"           // nobody grants a role to themselves
	KeyNotYours      Reason = "KEY_NOT_YOURS"      // nobody adds a key to another
	RolesApart       Reason = "ROLES_APART"        // two roles that one person can't hold
	KeyTaken         Reason = "KEY_TAKEN"          // another person's key
	MemberNotThere   Reason = "MEMBER_NOT_THERE"   // not admitted
	FieldNotRecorded Reason = "FIELD_NOT_RECORDED" // no such field
	NameTaken        Reason = "NAME_TAKEN"         // there is one of this name
)

// The state says no, on the way from a draft to a closed parcel.
const (
	NotADraft       Reason = "NOT_A_DRAFT"       // listed or discarded already
	OfferNotOpen    Reason = "OFFER_NOT_OPEN"    // taken back, declined or answered
	NotOffMarket    Reason = "NOT_OFF_MARKET"    // it can't be listed again yet
	NotRefunded     Reason = "NOT_REFUNDED"      // purchase money is still to be paid back
	NotOverdue      Reason = "NOT_OVERDUE"       // the price isn't due, or is paid
	PurchaseOverdue Reason = "PURCHASE_OVERDUE"  // the price should have been paid
	AlreadyCut      Reason = "ALREADY_CUT"       // the first cut was made
	NotComingBack   Reason = "NOT_COMING_BACK"   // no rough goes back
	RoughIsOut      Reason = "ROUGH_IS_OUT"      // it is in a viewer's hands
	NotInHand       Reason = "NOT_IN_HAND"       // another has the rough
	NotAGroup       Reason = "NOT_A_GROUP"       // a line of one piece
	ParcelClosed    Reason = "PARCEL_CLOSED"     // no more is done with it
	NotAccountedFor Reason = "NOT_ACCOUNTED_FOR" // something of it is still open
	ViewingNotThere Reason = "VIEWING_NOT_THERE" // it is at another stage
	TooManyViewings Reason = "TOO_MANY_VIEWINGS" // the parcel is shown no more
	TooManyNotes    Reason = "TOO_MANY_NOTES"    // no more are kept
	ClaimClosed     Reason = "CLAIM_CLOSED"      // its miner works it no longer
)

// Changed meanwhile, or not allowed.
const (
	EtagDiffers Reason = "ETAG_DIFFERS"
	NotAllowed  Reason = "NOT_ALLOWED"
)

// Kind is what a caller can do about it. A reason that is not in the catalogue is
// a mistake in the source; it counts as State.
func (r Reason) Kind() Kind {
	if k, ok := kinds[r]; ok {
		return k
	}
	return State
}

// Reasons is the whole catalogue.
func Reasons() []Reason {
	all := make([]Reason, 0, len(kinds))
	for r := range kinds {
		all = append(all, r)
	}
	return all
}

var kinds = map[Reason]Kind{
	FieldInvalid: Invalid, NotAnswered: Invalid, CurrencyUnknown: Invalid, CurrencyDiffers: Invalid,
	AmountInvalid: Invalid, MassInvalid: Invalid, SizeInvalid: Invalid, MassesDontAddUp: Invalid,
	NamedTwice: Invalid, AgreementInvalid: Invalid, LevyTooLow: Invalid, CountInvalid: Invalid, HeavierThanBefore: Invalid,
	LossNeedsReason: Invalid, KerfWithoutSaw: Invalid, SetAsideLeavesParts: Invalid, TimeInvalid: Invalid,
	KeyInvalid: Invalid, PhotoInvalid: Invalid, DrawingInvalid: Invalid,

	CheckFailed: Invalid, OutOfTolerance: Invalid,

	NotFound: Missing,

	PhotoNotThere: State, NotRested: State, NothingToDecide: State, TooManyPlans: State, PlanIsDropped: State, NotDrawn: State, NotMeasured: State, KeepsTooMuch: State, NotOneParcel: State, NotYoursToSell: State,
	StoneNotChecked: State, StoneNotInStock: State, LotNotForSale: State, LotBegun: State, LotUnmade: State, NotSoMany: State, MassUnlikely: State, NotOneKind: State,
	PromiseSettled: State, PromiseLapsed: State, PromiseNotTaken: State,

	AlreadyThere: State, ParcelNotListed: State, OwnParcel: State, TooManyOffers: State, TooManyParts: State, OfferEnded: State,
	NotAtAsking: State, NoDeal: State, CountDiffers: State, NotHandedOver: State, AboveWhatIsOwed: State,
	CostNotAgreed: State, ClaimNotYours: State, PartNotInWork: State, CountedLot: State, WeighingsDiffer: State, SizesDiffer: State,
	StoneNotForSale: State, StoneSold: State, StoneNotSold: State, PriceMoved: State, NotReturned: State,
	NothingToRefund: State, RefundDiffers: State, RoleNotOfMember: State, OwnRole: State, KeyNotYours: Missing, RolesApart: State, KeyTaken: State, MemberNotThere: State,
	FieldNotRecorded: State, NameTaken: Taken,

	NotADraft: State, OfferNotOpen: State, NotOffMarket: State, NotRefunded: State, NotOverdue: State, PurchaseOverdue: State, AlreadyCut: State, NotComingBack: State, RoughIsOut: State, NotInHand: State, NotAGroup: State, ParcelClosed: State, NotAccountedFor: State, ViewingNotThere: State, TooManyViewings: State, TooManyNotes: State, ClaimClosed: State,

	EtagDiffers: Changed, NotAllowed: Denied,

	// reasons_jeweller.go
	StoneInSet: State, SetNotWhole: State, StoneOut: State, StoneNotOut: State, StoneGone: State, StoneHeld: State, TooManyHeld: State,
	HoldOver: State, ApprovalOver: State, ApprovalNotOut: State, NotAsAsked: State, TooMuchOut: State, OrderPaidFor: State, OrderUnderWay: State, OrderPromised: State,
	OrderOver: State, PaymentOpen: State, NothingToSend: State, NothingToReceive: State, NotReceived: State, ReturnPeriodOver: State,
	ClaimPeriodOver: State, DamageNotClaimed: State, AboveThePrice: State, WantedIsClosed: State, NotOneSeller: Invalid, OwnStone: State,

	// reasons_coop.go
	StandsOtherwise: State, OwnStanding: Denied, RoleNotThere: State, KeyStandsOtherwise: State, SecondPersonNeeded: Denied,
	TwoPeopleNotStated: State, PersonErased: State, RunStandsOtherwise: State, LineStandsOtherwise: State, NothingPayable: State,
	AboveWhatIsEarned: State, PaysTheApprover: Denied, BankEditedByYou: Denied, BankCoolingOff: State, BankChanged: State,
	DisputeOver: State, NotAParty: State, AboveWhatIsTheirs: State, NothingToCorrect: State, CorrectionStands: State,
	SameAsRecorded: State, CorrectedSince: State, NothingHere: State, AlreadyClosed: State,
}
