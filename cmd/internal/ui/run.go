package ui

import (
	"fmt"
	"slices"
	"time"
)

// run is the arithmetic behind the bar: how far all clips together are, how
// fast frames go by and how long it will take.
type run struct {
	total  int
	shares []Share // parts sum to 1
	clips  []*Clip
	start  time.Time
	last   *Clip // the clip that moved last

	// rate window: frames done since since.
	since  time.Time
	frames int
	rate   float64 // frames/s over the last full window; 0 = not known yet
}

// rateWindow is the time over which frames per second are averaged: long
// enough that stages and clips running side by side do not make it jump.
const rateWindow = 2 * time.Second

func newRun(total int, shares []Share, now time.Time) run {
	sum := 0.0
	for _, s := range shares {
		sum += s.Part
	}
	norm := slices.Clone(shares)
	for i := range norm {
		norm[i].Part /= sum
	}
	return run{total: total, shares: norm, start: now, since: now}
}

// share returns what a stage takes and what comes before it, 0 to 1.
func (r *run) share(stage string) (before, part float64, ok bool) {
	for _, s := range r.shares {
		if s.Stage == stage {
			return before, s.Part, true
		}
		before += s.Part
	}
	return 0, 0, false
}

// fraction returns how much of the whole run is done, 0 to 1.
func (r *run) fraction() float64 {
	if r.total == 0 {
		return 0
	}
	sum := 0.0
	for _, c := range r.clips {
		sum += c.fraction()
	}
	return min(1, sum/float64(r.total))
}

// left estimates the remaining time from the time spent so far; false while
// too little is known.
func (r *run) left(now time.Time) (time.Duration, bool) {
	f, spent := r.fraction(), now.Sub(r.start)
	if f < 0.02 || spent < rateWindow {
		return 0, false
	}
	return time.Duration(float64(spent) * (1 - f) / f), true
}

// count takes n more frames into the rate.
func (r *run) count(n int, now time.Time) {
	r.frames += n
	if d := now.Sub(r.since); d >= rateWindow {
		r.rate = float64(r.frames) / d.Seconds()
		r.frames, r.since = 0, now
	}
}

// finished counts the clips that are done.
func (r *run) finished() int {
	n := 0
	for _, c := range r.clips {
		if c.done {
			n++
		}
	}
	return n
}

// clock prints a duration as m:ss, or h:mm:ss from an hour on.
func clock(d time.Duration) string {
	s := int(d.Round(time.Second) / time.Second)
	if s >= 3600 {
		return fmt.Sprintf("%d:%02d:%02d", s/3600, s/60%60, s%60)
	}
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}
