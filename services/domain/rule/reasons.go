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
	CountInvalid        Reason = "COUNT_INVALID"         // no possible count
	HeavierThanBefore   Reason = "HEAVIER_THAN_BEFORE"   // more mass out than in
	LossNeedsReason     Reason = "LOSS_NEEDS_REASON"     // mass was lost without a word
	KerfWithoutSaw      Reason = "KERF_WITHOUT_SAW"      // only a saw has a kerf
	SetAsideLeavesParts Reason = "SET_ASIDE_LEAVES_PART" // nothing is left of a part set aside
	TimeInvalid         Reason = "TIME_INVALID"          // not a moment, or over already
	KeyInvalid          Reason = "KEY_INVALID"           // not an Ed25519 public key
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
	WeighingsDiffer  Reason = "WEIGHINGS_DIFFER"   // the same part, two masses
	StoneNotForSale  Reason = "STONE_NOT_FOR_SALE" // in stock or sold
	StoneSold        Reason = "STONE_SOLD"         // it is another's
	StoneNotSold     Reason = "STONE_NOT_SOLD"     // it can't come back
	PriceMoved       Reason = "PRICE_MOVED"        // another price is asked by now
	NotReturned      Reason = "NOT_RETURNED"       // the stone isn't back
	NothingToRefund  Reason = "NOTHING_TO_REFUND"  // nothing was paid, or all was paid back
	RefundDiffers    Reason = "REFUND_DIFFERS"     // not what was paid
	RoleNotOfMember  Reason = "ROLE_NOT_OF_MEMBER" // the member doesn't do that
	OwnRole          Reason = "OWN_ROLE"           // nobody grants a role to themselves
	RolesApart       Reason = "ROLES_APART"        // two roles that one person can't hold
	KeyTaken         Reason = "KEY_TAKEN"          // another person's key
	MemberNotThere   Reason = "MEMBER_NOT_THERE"   // not admitted
	FieldNotRecorded Reason = "FIELD_NOT_RECORDED" // no such field
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
	NamedTwice: Invalid, AgreementInvalid: Invalid, CountInvalid: Invalid, HeavierThanBefore: Invalid,
	LossNeedsReason: Invalid, KerfWithoutSaw: Invalid, SetAsideLeavesParts: Invalid, TimeInvalid: Invalid,
	KeyInvalid: Invalid,

	NotFound: Missing,

	AlreadyThere: State, ParcelNotListed: State, OwnParcel: State, TooManyOffers: State, TooManyParts: State, OfferEnded: State,
	NotAtAsking: State, NoDeal: State, CountDiffers: State, NotHandedOver: State, AboveWhatIsOwed: State,
	CostNotAgreed: State, ClaimNotYours: State, PartNotInWork: State, CountedLot: State, WeighingsDiffer: State,
	StoneNotForSale: State, StoneSold: State, StoneNotSold: State, PriceMoved: State, NotReturned: State,
	NothingToRefund: State, RefundDiffers: State, RoleNotOfMember: State, OwnRole: State, RolesApart: State, KeyTaken: State, MemberNotThere: State,
	FieldNotRecorded: State,

	EtagDiffers: Changed, NotAllowed: Denied,
}
