package main

import "math"

// body measures the truth in space. The definitions are those of the doc
// comments of package measure; the code is another, so that one checks the
// other.
type body struct {
	*truth
	events map[string]float64
}

func degrees(r float64) float64 { return r * 180 / math.Pi }

// flexion is the angle between the segments a-b and b-c, deg.
func flexion(a, b, c vec) float64 {
	u, v := b.sub(a), c.sub(b)
	return degrees(math.Acos(max(-1, min(1, u.dot(v)/(u.norm()*v.norm())))))
}

// plane returns what the view shows of a vector: along the picture (to the
// pitcher or to the plate) and up.
func (b body) plane(v vec) (along, up float64) {
	if b.View == "rear" {
		return v[1], v[2]
	}
	return v[0], v[2]
}

// beside is the signed distance of q from the line a-b in the view's plane, + to
// the pitcher or to the plate.
func (b body) beside(q, lower, upper vec) float64 {
	ux, uz := b.plane(upper.sub(lower))
	vx, vz := b.plane(q.sub(lower))
	return (vx*uz - vz*ux) / math.Hypot(ux, uz)
}

// value returns the true value of a measure at an event; ok is false when the
// truth does not hold it.
func (b body) value(id, event string) (v float64, ok bool) {
	if b.lacks(id, event) {
		return 0, false
	}
	s := b.events[event]
	joint := func(role, point string) vec { return b.at(role, point, s) }
	switch id {
	case "lead_elbow_flexion", "rear_elbow_flexion":
		r := id[:4]
		return flexion(joint(r, "shoulder"), joint(r, "elbow"), joint(r, "wrist")), true
	case "front_knee_flexion":
		return flexion(joint("lead", "hip"), joint("lead", "knee"), joint("lead", "ankle")), true
	case "rear_elbow_height":
		u := joint("rear", "elbow").sub(joint("rear", "shoulder"))
		return u[2] / u.norm(), true
	case "lead_elbow_drop":
		u := joint("lead", "elbow").sub(joint("lead", "shoulder"))
		return degrees(math.Acos(max(-1, min(1, -u[2]/u.norm())))), true
	case "lead_arm_gap":
		width := joint("lead", "shoulder").sub(joint("rear", "shoulder")).norm()
		return math.Abs(b.beside(joint("lead", "elbow"), b.mid("hip", s), b.mid("shoulder", s))) / width, true
	case "trunk_lean":
		u := b.mid("shoulder", s).sub(b.mid("hip", s))
		return degrees(math.Atan2(u[0], u[2])), true
	case "trunk_side_tilt":
		u := b.mid("shoulder", s).sub(b.mid("hip", s))
		return degrees(math.Atan2(u[1], u[2])), true
	case "weight_position":
		back := joint("rear", "ankle")[0]
		return (b.centre(s)[0] - back) / (joint("lead", "ankle")[0] - back), true
	case "stride_length":
		d := joint("lead", "ankle").sub(joint("rear", "ankle"))
		return math.Hypot(d[0], d[1]) / b.Stature, true
	case "stride_direction":
		d := joint("lead", "ankle").sub(b.at("lead", "ankle", b.events["stance"]))
		return -d[1] / b.Stature, true
	case "head_travel":
		since := "stance"
		if event == "contact" {
			since = "plant"
		}
		x, z := b.plane(b.mid("ear", s).sub(b.mid("ear", b.events[since])))
		return math.Hypot(x, z) / b.Stature, true
	}
	if isTurn(id) {
		return b.turnValue(id, event)
	}
	if isBat(id) {
		return b.batValue(id, s)
	}
	return b.spanValue(id)
}

// spanValue returns measures between events.
func (b body) spanValue(id string) (float64, bool) {
	stance, plant := b.events["stance"], b.events["plant"]
	rel := func(s float64) vec { return b.mid("wrist", s).sub(b.mid("shoulder", s)) }
	switch id {
	case "hand_drop":
		return (rel(stance)[2] - rel(plant)[2]) / b.Stature, true
	case "hand_drift":
		off := func(s float64) float64 {
			d := b.beside(b.mid("wrist", s), b.mid("hip", s), b.mid("shoulder", s))
			if b.View == "rear" {
				return d
			}
			return -d
		}
		return (off(plant) - off(stance)) / b.Stature, true
	case "hand_path_length":
		sum := 0.0
		n := max(1, int(math.Round((plant-stance)*60)))
		at := func(i int) vec {
			s := stance + (plant-stance)*float64(i)/float64(n)
			return b.mid("wrist", s).sub(b.mid("shoulder", s).add(b.mid("hip", s)).scale(0.5))
		}
		for i := range n {
			x, z := b.plane(at(i + 1).sub(at(i)))
			sum += math.Hypot(x, z)
		}
		return sum / b.Stature, true
	case "tempo_load_touch":
		return 1000 * (b.events["touch"] - b.events["load"]), true
	case "tempo_touch_plant":
		return 1000 * (plant - b.events["touch"]), true
	case "tempo_plant_contact":
		return 1000 * (b.events["contact"] - plant), true
	}
	return 0, false
}

// lacks reports whether an event that the measure needs is not known.
func (b body) lacks(id, event string) bool {
	need := map[string][]string{
		"stride_direction": {"stance"}, "shoulder_turn_since_stance": {"stance"},
		"separation_peak": {"load", "plant", "contact"}, "separation_peak_time": {"load", "plant", "contact"}, "head_travel": {"stance", "plant"},
		"hand_drop": {"stance", "plant"}, "hand_drift": {"stance", "plant"}, "hand_path_length": {"stance", "plant"},
		"tempo_load_touch": {"load", "touch"}, "tempo_touch_plant": {"touch", "plant"}, "tempo_plant_contact": {"plant", "contact"},
	}[id]
	if event != "" {
		need = append(need, event)
	}
	for _, e := range need {
		if _, ok := b.events[e]; !ok {
			return true
		}
	}
	return false
}
