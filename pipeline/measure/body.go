package measure

import "plantframe/pipeline/swing"

// MassWeights returns, for each body point, its weight in the whole body's
// centre of mass: the centre is the sum of weight times place, and the weights
// sum to 1. Sex is "male", "female" or "" for the mean of both tables.
//
// The head's centre is put at the midpoint of the ears and the hand's at the
// wrist: de Leva's end points there (vertex, mid-gonion, knuckles) are not key
// points. The hands' part of that simplification is below 0.001 stature.
func MassWeights(sex string) [swing.NumPoints]float64 {
	switch sex {
	case "male":
		return pointWeights(swing.DeLevaMale())
	case "female":
		return pointWeights(swing.DeLevaFemale())
	}
	m, f := pointWeights(swing.DeLevaMale()), pointWeights(swing.DeLevaFemale())
	for i := range m {
		m[i] = (m[i] + f[i]) / 2
	}
	return m
}

// pointWeights spreads each segment's mass over its two end points in inverse
// proportion to the distances, which leaves the centre of mass where it is.
func pointWeights(b swing.BodyTable) [swing.NumPoints]float64 {
	var w [swing.NumPoints]float64
	put := func(s swing.Segment, proximal, distal []swing.Joint) {
		for _, j := range proximal {
			w[j] += s.Mass * (1 - s.Centre) / float64(len(proximal))
		}
		for _, j := range distal {
			w[j] += s.Mass * s.Centre / float64(len(distal))
		}
	}
	one := func(j swing.Joint) []swing.Joint { return []swing.Joint{j} }
	ears := []swing.Joint{swing.LeftEar, swing.RightEar}
	put(b.Head, ears, ears)
	put(b.Trunk, []swing.Joint{swing.LeftShoulder, swing.RightShoulder}, []swing.Joint{swing.LeftHip, swing.RightHip})
	for _, s := range []swing.Side{swing.Right.Lead(), swing.Right.Rear()} {
		put(b.UpperArm, one(s.Shoulder), one(s.Elbow))
		put(b.Forearm, one(s.Elbow), one(s.Wrist))
		put(b.Hand, one(s.Wrist), one(s.Wrist))
		put(b.Thigh, one(s.Hip), one(s.Knee))
		put(b.Shank, one(s.Knee), one(s.Ankle))
		put(b.Foot, one(s.Heel), one(s.BigToe))
	}
	sum := 0.0
	for _, v := range w {
		sum += v
	}
	for i := range w {
		w[i] /= sum // the printed female shares sum to 0.9999
	}
	return w
}

// Rigid is one part of a linked body in a plane: its mass, centre of mass and
// moment of inertia about that centre.
type Rigid struct {
	Mass    float64     // kg
	Centre  swing.Point // m (or px, if all are)
	Inertia float64     // kg m2 about the part's own centre, axis normal to the plane
}

// Segment returns the part between two joints. Mass is in kg; cm is the
// centre's distance from the proximal joint and gyration the radius of gyration
// about that centre, both as fractions of the length.
func Segment(proximal, distal swing.Point, mass, cm, gyration float64) Rigid {
	d := distal.Sub(proximal)
	r := gyration * d.Norm()
	return Rigid{Mass: mass, Centre: proximal.Add(d.Scale(cm)), Inertia: mass * r * r}
}

// CentreOfMass returns the mass-weighted mean of the parts' centres.
func CentreOfMass(parts []Rigid) swing.Point {
	var m float64
	var s swing.Point
	for _, p := range parts {
		m += p.Mass
		s = s.Add(p.Centre.Scale(p.Mass))
	}
	return s.Scale(1 / m)
}

// InertiaAbout returns the moment of inertia of the parts together about an
// axis through a, normal to the plane, by the parallel axis theorem for each
// part: I = sum(I_i + m_i d_i^2). To add a bare sum of the I_i to the total
// mass times the distance of the total centre is wrong: it forgets the parts'
// distances from their common centre.
func InertiaAbout(a swing.Point, parts []Rigid) float64 {
	s := 0.0
	for _, p := range parts {
		d := p.Centre.Sub(a).Norm()
		s += p.Inertia + p.Mass*d*d
	}
	return s
}
