package share

// Limits of an agreement. They keep every product within 128 bits, and one entitlement
// of the largest agreement they allow, 20 parties in 20 splits with ratios that add up
// to 9999, at 1.4 ms as measured on one core. Agreements that people sign take
// microseconds.
const (
	// MaxAmount bounds every amount, in minor units, either way.
	MaxAmount = 1_000_000_000_000_000
	// MaxWhole bounds the sum of a split's ratios, reduced.
	MaxWhole = 10_000
	// MaxParties and MaxTiers bound the agreement's lists.
	MaxParties = 20
	MaxTiers   = 20
)

// CoOp is the account of the co-op that keeps the books, as one that laid out
// costs. What a recoup tier pays to it counts as costs, not as a share. A co-op
// that takes a share of a split is a party with an id of its own.
const CoOp = "co-op"

// Agreement is what two or more parties settled when the deal was made. It never
// changes afterwards; a correction is another agreement.
type Agreement struct {
	Currency string  // ISO 4217, as AUD
	Parties  []Party // in the agreement's order, which breaks ties
	Seller   string  // the party the price is paid to; may be empty when Price is 0
	Price    int64   // for the parcel itself; 0 where the rough is placed, not sold

	ParcelLevy LevyRule // on the price
	SaleLevy   LevyRule // on each sale of what the parcel gave

	CostKinds []string // the recoverable kinds; each is recouped by exactly one tier
	Tiers     []Tier
}

// Party is one that earns a share.
type Party struct {
	ID   string
	Role string // "miner", "cutter": the word explanations use
}

// Limit is an upper bound that may be absent. The zero value is no limit.
type Limit struct {
	Amount int64
	Set    bool
}

// NoLimit says openly that there is none.
var NoLimit = Limit{}

// AtMost is a limit of amount.
func AtMost(amount int64) Limit { return Limit{Amount: amount, Set: true} }

// Tier is one step of the staircase: a Recoup or a Split.
type Tier interface{ tier() }

// Recoup pays one account, a party's id or CoOp, until Target is reached. Label says
// what the target stands for, in the agreement's own words, such as "14 h at 45.00";
// it may be empty.
type Recoup struct {
	To     string
	Target Target
	Label  string
}

// Split pays its parties by ratio until Ceiling, a bound on the tier's total that
// is raised to a multiple of the ratios' sum. Only the last tier has no ceiling.
type Split struct {
	Ratios  []Ratio
	Ceiling Limit
}

// Ratio is one party's weight in a split. Weights need not be reduced.
type Ratio struct {
	Party  string
	Weight int64
}

func (Recoup) tier() {}
func (Split) tier()  {}

// Target is how much a recoup tier pays: a FixedAmount, a PriceMultiple or
// RecordedCosts.
type Target interface{ target() }

// FixedAmount is an amount settled in the agreement.
type FixedAmount struct{ Amount int64 }

// PriceMultiple is Price × Num / Den, rounded up once, as at signing.
type PriceMultiple struct{ Num, Den int64 }

// RecordedCosts is all that has been recorded so far under the named kinds. A cost
// recorded later raises the target, and is deducted nowhere else.
type RecordedCosts struct{ Kinds []string }

func (FixedAmount) target()   {}
func (PriceMultiple) target() {}
func (RecordedCosts) target() {}

// partyIndex is the party's place in the agreement, or -1.
func (a Agreement) partyIndex(id string) int {
	for i, p := range a.Parties {
		if p.ID == id {
			return i
		}
	}
	return -1
}

// accountIndex is partyIndex with the co-op behind the last party.
func (a Agreement) accountIndex(id string) int {
	if id == CoOp {
		return len(a.Parties)
	}
	return a.partyIndex(id)
}

// weights are the split's ratios in the order of the agreement's parties, 0 for a
// party that isn't in it, reduced by their greatest common divisor; whole is their
// sum.
func (a Agreement) weights(s Split) (weights []int64, whole int64) {
	weights = make([]int64, len(a.Parties))
	var divisor int64
	for _, r := range s.Ratios {
		divisor = gcd(divisor, r.Weight)
	}
	for _, r := range s.Ratios {
		w := r.Weight / divisor
		weights[a.partyIndex(r.Party)] = w
		whole += w
	}
	return weights, whole
}
