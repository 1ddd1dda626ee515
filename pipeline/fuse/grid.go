package fuse

import (
	"math"

	"plantframe/pipeline/swing"
)

// Instants at which the body is put into space.
const (
	slowStep = 0.05  // s apart, before the front foot comes down
	fastStep = 0.012 // s apart, from a little before touch to a little after contact
	fastLead = 0.10  // s before plant
	fastTail = 0.05  // s after contact
	// earliest is how long before plant the body is looked at, s, besides the
	// stance itself: a long wait tells nothing more.
	earliest = 1.2
)

// grid lists the instants on the open clock that both clips show, and which of them is
// the stance, -1 = none.
func grid(open, rear *view, offset float64, events map[swing.EventName]swing.Event) (times []float64, stance int) {
	from := max(open.times[0], rear.times[0]-offset)
	to := min(open.times[len(open.times)-1], rear.times[len(rear.times)-1]-offset)
	plant := events[swing.Plant].Time
	last := events[swing.Contact].Time + fastTail
	stance = -1
	begin := max(from, plant-earliest)
	if e, ok := events[swing.Stance]; ok && e.Time >= from && e.Time < plant-fastLead {
		if e.Time < begin {
			times = append(times, e.Time)
		}
		begin = max(begin, e.Time)
		stance = 0
	}
	fast := plant - fastLead
	if e, ok := events[swing.Touch]; ok {
		fast = min(fast, e.Time-fastLead/2)
	}
	if n := int(math.Ceil((fast - begin) / slowStep)); n > 0 {
		for i := range n {
			times = append(times, begin+(fast-begin)*float64(i)/float64(n))
		}
	}
	for t := max(fast, begin); t <= min(to, last); t += fastStep {
		times = append(times, t)
	}
	return times, stance
}
