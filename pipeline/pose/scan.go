package pose

import (
	"context"
	"iter"
	"math"
	"slices"

	"plantframe/pipeline/swing"
)

// Motion says what somebody does who does not swing.
type Motion string

// Motions.
const (
	Stands Motion = "standing"
	Walks  Motion = "walking"
	Moves  Motion = "moving" // on the spot
)

// Person is somebody seen in a clip.
type Person struct {
	From, To float64   // s, first and last look
	Torso    float64   // px, median
	Motion   Motion    // by the coarse track
	Merit    float64   // 0..1, how much like the hitter; 0 = no swing
	Strokes  []float64 // s, times of the fastest hands of each swing
	Bat      float64   // share of looks into the hands that showed a bat; -1 = never looked
}

// Place is where the hitter is at a time.
type Place struct {
	Time float64     // s
	Hip  swing.Point // middle of the hips, px
	Size float64     // about one torso, px
}

// Seed tells Follow whom to follow: the hitter's coarse path, in time order.
// Empty = find the likeliest hitter at the start.
type Seed struct{ Path []Place }

// Scaled returns the seed for pictures k times as large.
func (s Seed) Scaled(k float64) Seed {
	t := Seed{Path: slices.Clone(s.Path)}
	for i := range t.Path {
		t.Path[i].Hip = t.Path[i].Hip.Scale(k)
		t.Path[i].Size *= k
	}
	return t
}

// at returns the place at a time, false when the path is more than a second
// away.
func (s Seed) at(time float64) (place, bool) {
	const reach = 1.0
	i, _ := slices.BinarySearchFunc(s.Path, time, func(p Place, t float64) int {
		if p.Time < t {
			return -1
		}
		return 1
	})
	best, found := place{}, false
	for _, k := range []int{i - 1, i} {
		if k < 0 || k >= len(s.Path) || math.Abs(s.Path[k].Time-time) > reach {
			continue
		}
		if p := s.Path[k]; !found || math.Abs(p.Time-time) < math.Abs(best.time-time) {
			best, found = place{p.Time, p.Hip, p.Size}, true
		}
	}
	return best, found
}

// Scan is what a pass over a clip has seen.
type Scan struct {
	People   []Person
	Hitter   int          // index in People, -1 = nobody swings
	Followed int          // index in People of whom Follow followed, -1 = nobody
	Windows  [][2]float64 // s, around the hitter's swings, merged, in time order
	Seed     Seed         // the hitter's path; empty without a hitter
	Warnings []swing.Warning
}

// OtherSwings reports whether somebody other than the followed person is the
// likelier hitter: follow again with Seed.
func (s Scan) OtherSwings() bool { return s.Hitter >= 0 && s.Hitter != s.Followed }

// Scan looks at everybody in a clip about ScanRate times a second with the
// cheap network, and says who swings and when. It blocks until frames end.
// A clip without people or without a swing gives no window and a warning.
//
// Errors: KindModel (a network did not run), errors of frames as they are, and
// the context's error.
func (e *Estimator) Scan(ctx context.Context, frames iter.Seq2[swing.Frame, error], progress swing.Progress) (Scan, error) {
	c := newCrowd(e, e.o.DetectEvery)
	first, last := math.Inf(1), math.Inf(-1)
	for f, err := range frames {
		if err != nil {
			return Scan{}, err
		}
		if err := ctx.Err(); err != nil {
			return Scan{}, err
		}
		first, last = math.Min(first, f.Time), math.Max(last, f.Time)
		if c.due(f.Time) {
			if err := c.step(f); err != nil {
				return Scan{}, networkFailed("pose.Scan", f.Index, err)
			}
		}
		progress.Add(1)
	}
	s := c.summary(first, last)
	e.seen = s
	return s, nil
}

// Seen returns what the last Scan or Follow saw of everybody.
func (e *Estimator) Seen() Scan { return e.seen }

// summary chooses the hitter over the whole pass; first and last bound the
// pass in s.
func (c *crowd) summary(first, last float64) Scan {
	s := Scan{Hitter: -1, Followed: -1}
	largest := 0.0
	var who []*person
	for _, p := range c.people {
		if len(p.looks) < 3 {
			continue // a chance find
		}
		who = append(who, p)
		largest = math.Max(largest, p.torso())
	}
	best := 0.0
	for i, p := range who {
		torso := p.torso()
		st := p.swings(torso, c.e.o.MinHandSpeed)
		q := Person{From: p.looks[0].time, To: p.looks[len(p.looks)-1].time, Torso: torso, Motion: p.motion(torso), Bat: -1}
		bat := 0.5 // not asked: neither for nor against
		if p.tries > 0 {
			q.Bat = float64(p.holding) / float64(p.tries)
			bat = q.Bat
		}
		for _, t := range st {
			q.Strokes = append(q.Strokes, t.time)
		}
		q.Merit = merit(st, torso, largest, bat)
		if q.Merit > best {
			best, s.Hitter = q.Merit, i
		}
		if p == c.hitter {
			s.Followed = i
		}
		s.People = append(s.People, q)
	}
	if s.Hitter >= 0 {
		for _, l := range who[s.Hitter].looks {
			s.Seed.Path = append(s.Seed.Path, Place{Time: l.time, Hip: l.hip, Size: l.size})
		}
		s.Windows = windows(s.People[s.Hitter].Strokes, c.e.o.Before, c.e.o.After, first, last)
		return s
	}
	if len(s.People) == 0 {
		s.Warnings = append(s.Warnings, swing.Warning{Code: "no-person", Text: "nobody was found in the clip"})
	} else {
		s.Warnings = append(s.Warnings, swing.Warning{Code: "no-swing", Text: "no swing found: " + s.Describe()})
	}
	return s
}

// windows puts [t-before, t+after] around each time, within [first, last], and
// joins those that touch.
func windows(times []float64, before, after, first, last float64) [][2]float64 {
	var out [][2]float64
	for _, t := range times {
		w := [2]float64{math.Max(first, t-before), math.Min(last, t+after)}
		if n := len(out); n > 0 && w[0] <= out[n-1][1] {
			out[n-1][1] = math.Max(out[n-1][1], w[1])
			continue
		}
		out = append(out, w)
	}
	return out
}
