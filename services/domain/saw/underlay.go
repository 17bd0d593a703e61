package saw

import (
	"math"

	"seamshare.example/services/domain/measure/plane"
)

// Place is where a pixel of the photo lies in the view, in nanometres: scaled so that its two points are their distance
// apart, turned, and put with the first one in its place. The underlay must be a checked study's.
func (u Underlay) Place(p Pixel) plane.Point {
	// Pixels count downwards, the view upwards.
	ax, ay := float64(u.PixelB.X-u.PixelA.X), -float64(u.PixelB.Y-u.PixelA.Y)
	px, py := float64(p.X-u.PixelA.X), -float64(p.Y-u.PixelA.Y)
	scale := float64(u.DistanceUm*plane.Micrometre) / (float64(ax*ax) + float64(ay*ay))
	// Along the way from A to B and across it, then turned to where that way goes in the view.
	along, across := (float64(ax*px)+float64(ay*py))*scale, (float64(ax*py)-float64(ay*px))*scale
	sin, cos := math.Sincos(float64(u.TurnMdeg) * math.Pi / 180_000)
	return nm(u.At).Plus(plane.Point{
		X: int64(math.Round(float64(along*cos) - float64(across*sin))),
		Y: int64(math.Round(float64(along*sin) + float64(across*cos))),
	})
}
