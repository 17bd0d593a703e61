package plane

import (
	"fmt"
	"math"
)

const (
	// Micrometre and Millimetre are lengths in nanometres.
	Micrometre = 1_000
	Millimetre = 1_000_000
	// MaxCoordinate is how far from the origin a coordinate may be: half a metre.
	MaxCoordinate = 500 * Millimetre
)

// Point is a place in the plane, in nanometres.
type Point struct{ X, Y int64 }

// Micrometres is the point with these coordinates in micrometres.
func Micrometres(x, y int64) Point { return Point{x * Micrometre, y * Micrometre} }

// Plus is the point moved by v.
func (p Point) Plus(v Point) Point { return Point{p.X + v.X, p.Y + v.Y} }

// Minus is the step from v to p.
func (p Point) Minus(v Point) Point { return Point{p.X - v.X, p.Y - v.Y} }

// String is the point in millimetres: "(1.5, -0.000001) mm".
func (p Point) String() string { return fmt.Sprintf("(%s, %s) mm", millimetres(p.X), millimetres(p.Y)) }

func millimetres(n int64) string {
	sign := ""
	if n < 0 {
		sign, n = "-", -n
	}
	text := fmt.Sprintf("%s%d.%06d", sign, n/Millimetre, n%Millimetre)
	for text[len(text)-1] == '0' {
		text = text[:len(text)-1]
	}
	if text[len(text)-1] == '.' {
		text = text[:len(text)-1]
	}
	return text
}

func (p Point) inRange() bool {
	return -MaxCoordinate <= p.X && p.X <= MaxCoordinate && -MaxCoordinate <= p.Y && p.Y <= MaxCoordinate
}

func (p Point) length() float64 { return math.Hypot(float64(p.X), float64(p.Y)) }

func cross(a, b Point) int64 { return a.X*b.Y - a.Y*b.X }
func dot(a, b Point) int64   { return a.X*b.X + a.Y*b.Y }

// side is above zero where c lies to the left of the way from a to b, zero where it is
// on their line.
func side(a, b, c Point) int64 { return cross(b.Minus(a), c.Minus(a)) }

// Line is the endless straight line through two points, with a direction from A to B
// and so a left and a right side.
type Line struct{ A, B Point }

// Path is an open polyline: a crack, a line of potch.
type Path []Point

// Ring is the boundary of a region without holes: counter-clockwise, the last point
// joined to the first without repeating it. CheckRing makes one of points that people
// gave.
type Ring []Point

// Closed is the ring's boundary as a path that ends where it began.
func (r Ring) Closed() Path {
	if len(r) == 0 {
		return nil
	}
	return append(append(make(Path, 0, len(r)+1), r...), r[0])
}

// Moved is the ring with each point moved by v. A ring moved out of range is inside
// nothing; no other answer about it is promised.
func (r Ring) Moved(v Point) Ring {
	moved := make(Ring, len(r))
	for i, p := range r {
		moved[i] = p.Plus(v)
	}
	return moved
}

// QuarterTurned is the ring turned counter-clockwise about the origin by so many
// quarters of a full turn, exactly.
func (r Ring) QuarterTurned(quarters int) Ring {
	turned := make(Ring, len(r))
	for i, p := range r {
		switch quarters & 3 {
		case 1:
			p = Point{-p.Y, p.X}
		case 2:
			p = Point{-p.X, -p.Y}
		case 3:
			p = Point{p.Y, -p.X}
		}
		turned[i] = p
	}
	return turned
}

// Mirrored is the ring mirrored in the y-axis, exactly, and counter-clockwise again; it
// begins with the same vertex.
func (r Ring) Mirrored() Ring {
	mirrored := make(Ring, len(r))
	for i, p := range r {
		mirrored[(len(r)-i)%len(r)] = Point{-p.X, p.Y}
	}
	return mirrored
}

// Turned is the ring turned counter-clockwise about the origin by an angle in radians.
// Each point is rounded to the nanometre, so that lengths change by less than 1.5 nm;
// whole quarter turns are exact. It panics where the angle isn't a finite number.
func (r Ring) Turned(angle float64) Ring {
	if math.IsNaN(angle) || math.IsInf(angle, 0) {
		panic(fmt.Sprintf("plane: turn by %v", angle))
	}
	sin, cos := math.Sincos(angle)
	turned := make(Ring, len(r))
	for i, p := range r {
		// The conversions keep compilers from fusing, so that all machines turn alike.
		x, y := float64(p.X), float64(p.Y)
		turned[i] = Point{
			int64(math.Round(float64(x*cos) - float64(y*sin))),
			int64(math.Round(float64(x*sin) + float64(y*cos))),
		}
	}
	return turned
}
