package render

import (
	"cmp"
	"math"
	"slices"

	"plantframe/pipeline/swing"
)

// section is the part of the video that shows one swing. Times are source
// seconds.
type section struct {
	s          *swing.Swing
	number, of int // place of the swing among those of the clip, from 1
	start, end float64
	// slow0..slow1 is stretched; both are +Inf when nothing is.
	slow0, slow1 float64
	factor       float64
	rows         map[int]int // track entry of a frame number
}

// planSections lays out what of the clip is shown: each swing from a little
// before stance to a little after finish, cut halfway where two would
// overlap, slowed around plant.
func planSections(a *swing.Analysis, o Options) []*section {
	var out []*section
	for i := range a.Swings {
		s := &a.Swings[i]
		sec := &section{s: s, start: s.Window[0], end: s.Window[1], factor: o.SlowFactor, rows: map[int]int{}}
		if e, ok := s.Events[swing.Stance]; ok {
			sec.start = e.Time - o.LeadIn
		}
		if e, ok := s.Events[swing.Finish]; ok {
			sec.end = e.Time + o.LeadOut
		}
		sec.slow0, sec.slow1 = slowPart(s.Events, o)
		for r, f := range s.Track.Frames {
			sec.rows[f] = r
		}
		if sec.end > sec.start {
			out = append(out, sec)
		}
	}
	slices.SortStableFunc(out, func(a, b *section) int { return cmp.Compare(a.start, b.start) })
	for i, sec := range out {
		sec.number, sec.of = i+1, len(out)
		if i > 0 && out[i-1].end > sec.start {
			mid := (out[i-1].end + sec.start) / 2
			out[i-1].end, sec.start = mid, mid
		}
	}
	return out
}

// slowPart returns the source times between which the video is slowed. With
// no plant the touch is as good a centre; with neither there is nothing to
// look at slowly.
func slowPart(ev map[swing.EventName]swing.Event, o Options) (from, to float64) {
	plant, hasPlant := ev[swing.Plant]
	touch, hasTouch := ev[swing.Touch]
	if !hasPlant {
		plant = touch
	}
	if !hasTouch || touch.Time > plant.Time {
		touch = plant
	}
	if (!hasPlant && !hasTouch) || o.SlowFactor == 1 {
		return math.Inf(1), math.Inf(1)
	}
	to = plant.Time + o.SlowAfter
	// Contact is worth seeing slowly too, with two hundredths after it.
	if c, ok := ev[swing.Contact]; ok && c.Time > plant.Time && c.Time-plant.Time <= o.MaxToContact {
		to = math.Max(to, c.Time+0.02)
	}
	return touch.Time - o.SlowBefore, to
}

// clock maps a source time to seconds of the section's video, holds left out.
func (s *section) clock(t float64) float64 {
	slow := math.Max(0, math.Min(t, s.slow1)-s.slow0)
	if math.IsNaN(slow) { // no slow part: Inf-Inf
		slow = 0
	}
	return t + slow*(s.factor-1)
}

// inSlow reports whether the launch position is on show at t.
func (s *section) inSlow(t float64) bool { return t >= s.slow0 && t <= s.slow1 }

// videoRate returns the frame rate of the video as a fraction: a whole part
// of the source's rate, so that frames fall evenly, as Options.MinFPS says;
// doubled or more when the source is too slow for a hold to be placed finely.
func videoRate(a *swing.Analysis, o Options) (num, den int) {
	source := sourceRate(a)
	if source <= 0 {
		source = 30 // unknown: the commonest
	}
	want := math.Min(math.Max(source/o.SlowFactor, o.MinFPS), o.MaxFPS)
	n := math.Max(1, math.Round(source/want))
	if source/n > 1.001*o.MaxFPS {
		n++
	}
	rate := source / n
	for rate < 20 {
		rate *= 2
	}
	best, off := [2]int{int(math.Round(rate * 1000)), 1000}, 0.004
	for _, r := range [][2]int{
		{24000, 1001}, {24, 1}, {25, 1}, {30000, 1001}, {30, 1}, {48, 1}, {50, 1}, {60000, 1001}, {60, 1},
	} {
		if d := math.Abs(rate*float64(r[1])/float64(r[0]) - 1); d < off {
			best, off = r, d
		}
	}
	return best[0], best[1]
}

// sourceRate is one over the median spacing of the frames that were analysed;
// the average of the container is wrong where frames are missing.
func sourceRate(a *swing.Analysis) float64 {
	var gaps []float64
	for i := range a.Swings {
		t := a.Swings[i].Track.Times
		for k := 1; k < len(t); k++ {
			gaps = append(gaps, t[k]-t[k-1])
		}
	}
	if len(gaps) == 0 {
		return a.Clip.FPS
	}
	slices.Sort(gaps)
	return 1 / gaps[len(gaps)/2]
}

// pacer says how often each source frame of a section is shown. A frame is on
// show from its own time until the next one's, as on any player.
type pacer struct {
	sec    *section
	fps    float64
	origin float64 // video time of the section's first frame
	shown  int     // video frames given out so far
	begun  bool
}

// step takes the next source frame at time t and returns how many more times
// the frame before it is shown, then how many times this one: 0 when the
// video has no place for it, unless must is set.
func (p *pacer) step(t float64, must bool) (before, now int) {
	v := p.sec.clock(t)
	if !p.begun {
		p.begun, p.origin = true, v
	}
	// Frames of a steady source fall on whole, half, third or quarter video
	// frames, give or take the container's rounding; 0.4 keeps clear of all.
	due := int(math.Floor((v-p.origin)*p.fps+0.4)) + 1
	n := due - p.shown
	if n < 1 {
		if !must {
			return 0, 0
		}
		// The frame takes the place of the next one.
		n = 1
	}
	p.shown += n
	return n - 1, 1
}
