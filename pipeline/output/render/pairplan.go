package render

import (
	"cmp"
	"math"
	"slices"

	"plantframe/pipeline/swing"
)

// moment is one picture of the side-by-side video.
type moment struct {
	clock float64 // s after the aligned instant
	row   [2]int  // track rows of hitter and reference
	live  [2]bool // false: the clip does not reach there, its end stands
	times int     // how often the picture is shown
	slow  float64 // how many times slower than it was
	// event is what the picture is held for, "" when it is not; at tells which of
	// the two swings is there at this moment.
	event swing.EventName
	at    [2]bool
}

// Bounds of what is shown on the common clock, s before and after the aligned
// instant: a long wait in the stance teaches nothing.
const (
	mostBefore = 2.0
	mostAfter  = 1.2
	slowBefore = 1.1
	slowAfter  = 0.45
	// sameHold is how near two events of one name must be to share a hold, s: about
	// what an event is known to. Each swing then shows its own frame of it.
	sameHold = 0.025
)

// holdEvents are the instants at which the slowed pass stands still.
func holdEvents() []swing.EventName {
	return []swing.EventName{swing.Load, swing.Plant, swing.Contact}
}

// planTrue lays out the pass at true speed: from a little before the earlier
// stance to a little after the later finish.
func planTrue(p [2]*swing.Party, fps float64, o Options) []moment {
	from, to := math.Inf(1), math.Inf(-1)
	for _, s := range p {
		from = math.Min(from, clockOf(s, swing.Stance, -1)-o.LeadIn)
		to = math.Max(to, clockOf(s, swing.Finish, 0.5)+o.LeadOut)
	}
	return plan(p, math.Max(from, -mostBefore), math.Min(to, mostAfter), 1/fps, 1, nil)
}

// planSlow lays out the slowed pass, from before the earlier load to after the
// later contact, with its holds.
func planSlow(p [2]*swing.Party, fps float64, o Options) []moment {
	from, to := math.Inf(1), math.Inf(-1)
	step := 1 / (fps * o.SlowFactor)
	var holds []moment
	for _, s := range p {
		from = math.Min(from, clockOf(s, swing.Load, -0.5)-0.1)
		to = math.Max(to, clockOf(s, swing.Contact, 0.25)+0.1)
	}
	from, to = math.Max(from, -slowBefore), math.Min(to, slowAfter)
	n := max(1, int(math.Round(o.Hold*fps)))
	for _, name := range holdEvents() {
		var at [2]float64
		var has [2]bool
		for i, s := range p {
			e, ok := s.Swing.Events[name]
			if ok {
				at[i] = e.Time - s.Zero
				has[i] = at[i] >= from && at[i] <= to
			}
		}
		if has[0] && has[1] && math.Abs(at[0]-at[1]) <= sameHold {
			holds = append(holds, moment{clock: (at[0] + at[1]) / 2, times: n, event: name, at: has})
			continue
		}
		for i := range p {
			if has[i] {
				one := moment{clock: at[i], times: n, event: name}
				one.at[i] = true
				holds = append(holds, one)
			}
		}
	}
	return plan(p, from, to, step, o.SlowFactor, holds)
}

// clockOf returns an event's time on the common clock, or what is said instead.
func clockOf(p *swing.Party, name swing.EventName, instead float64) float64 {
	if e, ok := p.Swing.Events[name]; ok {
		return e.Time - p.Zero
	}
	return instead
}

// plan makes the pictures from one clock time to another, step apart, 0 being
// among them, and puts the holds in. In every picture each swing shows the frame
// nearest to that time, in a hold the frame of its event.
func plan(p [2]*swing.Party, from, to, step, slow float64, holds []moment) []moment {
	var out []moment
	for k := math.Ceil(from/step - 1e-6); k*step <= to+1e-9; k++ {
		clock := k * step
		taken := slices.ContainsFunc(holds, func(h moment) bool { return math.Abs(h.clock-clock) < step/2 })
		if !taken {
			out = append(out, moment{clock: clock, times: 1})
		}
	}
	out = append(out, holds...)
	slices.SortStableFunc(out, func(a, b moment) int { return cmp.Compare(a.clock, b.clock) })
	for i, s := range p {
		t := &s.Swing.Track
		for k := range out {
			m := &out[k]
			at := s.Zero + m.clock
			m.slow = slow
			m.row[i] = nearestRow(t, at)
			m.live[i] = at > t.Times[0]-0.1 && at < t.Times[len(t.Times)-1]+0.1
			if m.event != "" && m.at[i] {
				if r := slices.Index(t.Frames, s.Swing.Events[m.event].Frame); r >= 0 {
					m.row[i] = r
				}
			}
		}
		forward(out, i)
	}
	return out
}

// forward makes the rows of a swing never go back: an event's frame and the
// frame nearest to its time can differ by one where it lies halfway. Holds keep
// theirs.
func forward(ms []moment, i int) {
	for k := range ms {
		if k == 0 || ms[k].row[i] >= ms[k-1].row[i] {
			continue
		}
		if !ms[k].at[i] {
			ms[k].row[i] = ms[k-1].row[i]
			continue
		}
		for b := k - 1; b >= 0 && ms[b].row[i] > ms[k].row[i] && !ms[b].at[i]; b-- {
			ms[b].row[i] = ms[k].row[i]
		}
	}
}

// pairRate is the frame rate of the video, 1/s: 30, or 60 where slowed pictures
// would come faster than that.
func pairRate(p [2]*swing.Party, o Options) int {
	rate := 0.0
	for _, s := range p {
		a := swing.Analysis{Swings: []swing.Swing{*s.Swing}, Clip: s.Clip}
		rate = math.Max(rate, sourceRate(&a))
	}
	low, high := max(1, int(math.Round(o.MinFPS))), max(1, int(math.Round(o.MaxFPS)))
	if rate/o.SlowFactor > 1.5*float64(low) {
		return high
	}
	return low
}
