package measure

import (
	"math"

	"plantframe/pipeline/swing"
)

// vec is a vector in the hitter's space: X to the pitcher, Y to the plate, Z up.
type vec struct{ x, y, z float64 }

func (a vec) add(b vec) vec       { return vec{a.x + b.x, a.y + b.y, a.z + b.z} }
func (a vec) sub(b vec) vec       { return vec{a.x - b.x, a.y - b.y, a.z - b.z} }
func (a vec) scale(k float64) vec { return vec{k * a.x, k * a.y, k * a.z} }
func (a vec) dot(b vec) float64   { return a.x*b.x + a.y*b.y + a.z*b.z }
func (a vec) norm() float64       { return math.Sqrt(a.dot(a)) }

func degrees(rad float64) float64 { return rad * 180 / math.Pi }
func radians(deg float64) float64 { return deg * math.Pi / 180 }

// bend returns the angle between two consecutive segments, degrees, 0..180:
// 0 = the second continues the first.
func bend(first, second vec) float64 {
	n := first.norm() * second.norm()
	if n == 0 {
		return 0
	}
	return degrees(math.Acos(max(-1, min(1, first.dot(second)/n))))
}

// PictureFlexion returns the flexion at b of the chain a-b-c as it appears in
// the picture, degrees: 0 = straight, 180 = folded back; interior angle plus
// flexion is 180. It is not corrected for foreshortening.
func PictureFlexion(a, b, c swing.Point) float64 {
	u, v := b.Sub(a), c.Sub(b)
	return bend(vec{x: u.X, z: -u.Y}, vec{x: v.X, z: -v.Y})
}

// fromUp returns the angle of the line from a to b against the picture's
// vertical, degrees: 0 = b straight above a, + = b leans to larger x.
func fromUp(a, b swing.Point) float64 {
	d := b.Sub(a)
	return degrees(math.Atan2(d.X, -d.Y))
}
