package saw

// Bounds of a price list.
const (
	MaxMarkets = 20
	MaxPrices  = 500 // of one market
)

// Prices is what the markets pay, the cutter's own estimate.
type Prices struct {
	Currency string
	Markets  []Market
}

// Market is one list of prices.
type Market struct {
	Name   string
	Prices []Price
}

// Price is what one class of one size brings. The first that matches counts.
type Price struct {
	Class string
	Per   Per
	// FromUm and ToUm bound the length of the stone, from (inclusive) to (exclusive); ToUm 0: no upper bound.
	FromUm, ToUm int64
	Minor        int64 // minor units for one
}

// Per is what is paid for.
type Per string

// The units of prices. Fractions of a minor unit are dropped, stone by stone.
const (
	PerFaceMm2 Per = "face mm²" // usual for boulder and matrix
	PerCarat   Per = "carat"    // usual for solid: of the exact mass
	PerStone   Per = "stone"
	PerGram    Per = "gram" // off-cuts, specimens, slices
)
