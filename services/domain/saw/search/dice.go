package search

import "math"

// Dice is all the randomness there is here: SplitMix64 (Steele, Lea and Flood 2014), so that a seed gives the same numbers
// with every version of every library. Not for several goroutines at once, and not for secrets.
type Dice struct{ state uint64 }

// Seeded are dice that fall the same way for the same seed.
func Seeded(seed uint64) *Dice { return &Dice{seed} }

// Uint64 is any number.
func (d *Dice) Uint64() uint64 {
	d.state += 0x9e3779b97f4a7c15
	z := d.state
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// Float64 is at least 0 and below 1.
func (d *Dice) Float64() float64 { return float64(d.Uint64()>>11) / (1 << 53) }

// IntN is at least 0 and below n, which is above 0. That it is not quite even matters to nobody here.
func (d *Dice) IntN(n int) int { return int((d.Uint64() >> 1) % uint64(n)) }

// normal is from the standard normal distribution (Box and Muller 1958).
func (d *Dice) normal() float64 {
	return math.Sqrt(-2*math.Log(1-d.Float64())) * math.Cos(2*math.Pi*d.Float64())
}
