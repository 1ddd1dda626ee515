package pipeline

import (
	"plantframe/pipeline/measure"
	"plantframe/pipeline/swing"
)

// Centres returns the body's centre of mass in each frame of a track, px, as Run
// does, for a track that was stored without it; nil where a point that carries
// mass is missing.
func Centres(t swing.Track, o measure.Options) []*swing.Point { return centres(t, o) }

// centres returns the body's centre of mass in each frame of a track, px, by
// the segment table of the measure stage; nil where a point that carries mass
// is missing.
func centres(t swing.Track, o measure.Options) []*swing.Point {
	weights := measure.MassWeights(o.Sex)
	out := make([]*swing.Point, t.Len())
	for i := range t.Points {
		out[i] = weighted(&t.Points[i], &weights)
	}
	return out
}

// weighted is the sum of weight times place, nil if a place is missing.
func weighted(points *[swing.NumPoints]swing.TrackPoint, weights *[swing.NumPoints]float64) *swing.Point {
	var c swing.Point
	for j, w := range weights {
		if w == 0 {
			continue
		}
		if points[j].State == swing.Missing {
			return nil
		}
		c = c.Add(points[j].Point().Scale(w))
	}
	return &c
}
