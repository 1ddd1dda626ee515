package pipeline

import (
	"errors"
	"iter"
	"math"
	"slices"

	"plantframe/pipeline/bat"
	"plantframe/pipeline/ingest"
	"plantframe/pipeline/pose"
	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// A slow-motion clip is followed at its usual rate first, and every frame is
// looked at only where the swing is fast: from a moment before the front foot
// comes down until a moment after contact. What is seen of a body that stands
// or strides does not become better by looking 240 times a second; the instants
// do.

// paceFrom is how much faster than Options.PoseRate a clip must be for frames
// to be passed over.
const paceFrom = 1.6

// Room round the fast part of a swing, s, on top of twice the instants' sigma,
// and the most that this may add.
const (
	beforeTouch, afterContact = 0.06, 0.05
	mostDoubt                 = 0.08
	// beforeLone is where the fast part begins, s before contact, when no
	// landing was found.
	beforeLone = 0.35
)

// pace picks the frames of the first pass. nil picks all.
type pace struct {
	gap  float64      // least time between frames, s
	base map[int]bool // by index, of a clip whose list has all times; else nil
	left int          // how many frames of the list are passed over
}

// newPace returns the pace for a window of a clip ([2]float64{} = all of it).
func newPace(clip swing.Clip, window [2]float64, rate float64) *pace {
	if rate <= 0 {
		return nil
	}
	spacing := 0.0
	var times []float64
	if clip.List != nil {
		times = clip.List.Times
		spacing = signal.Spacing(times)
	} else if clip.FPS > 0 {
		spacing = 1 / clip.FPS
	}
	if spacing <= 0 || paceFrom*rate*spacing > 1 {
		return nil
	}
	p := &pace{gap: 1/rate - spacing/2}
	if clip.List == nil || !clip.List.Whole {
		return p
	}
	p.base = map[int]bool{}
	last, end := math.Inf(-1), -1
	for i, t := range times {
		if t < window[0] || window[1] > 0 && t >= window[1] {
			continue
		}
		end = i
		if t-last >= p.gap {
			p.base[i], last = true, t
		} else {
			p.left++
		}
	}
	if end >= 0 && !p.base[end] { // nothing lies beyond the last frame to come back to
		p.base[end] = true
		p.left--
	}
	return p
}

// want is an ingest.OpenOptions.Want, nil for all frames.
func (p *pace) want() func(int) bool {
	if p == nil || p.base == nil {
		return nil
	}
	return func(i int) bool { return p.base[i] }
}

// thin passes on the frames of the first pass. It goes by their times: in a
// damaged clip others come than were wanted.
func (p *pace) thin(frames iter.Seq2[swing.Frame, error]) iter.Seq2[swing.Frame, error] {
	if p == nil {
		return frames
	}
	return func(yield func(swing.Frame, error) bool) {
		last := math.Inf(-1)
		for f, err := range frames {
			if err == nil {
				if f.Time-last < p.gap && !p.base[f.Index] {
					continue
				}
				last = f.Time
			}
			if !yield(f, err) {
				return
			}
		}
	}
}

// refine looks at every frame of the fast parts of p's swings. scale is that of
// the decoded pictures; p is in px of the full picture.
func (r *run) refine(est *pose.Estimator, clip swing.Clip, o Options, p *part, scale float64) error {
	for _, w := range fastParts(*p, o) {
		if err := r.refineWindow(est, clip, o, p, scale, w); err != nil {
			return err
		}
	}
	return nil
}

// fastParts are the stretches of a part, s, in which every frame counts. What
// goes wrong here goes wrong again, and is told, when the whole is worked
// through.
func fastParts(p part, o Options) [][2]float64 {
	b := bodies{Parts: []part{p}}
	tracks, err := buildTracks(b, o.Track)
	if err != nil {
		return nil
	}
	if bats, err := followBats(tracks, b, o.Bat); err == nil {
		tracks[0].bat = bats[0].Bat
	}
	f, err := findSwings(tracks, hearing{}, b, o.Event)
	if err != nil {
		return nil
	}
	var out [][2]float64
	for _, s := range f.Swings {
		c, ok := s.Events[swing.Contact]
		if !ok {
			continue
		}
		w := [2]float64{c.Time - beforeLone, c.Time + afterContact + math.Min(2*c.Sigma, mostDoubt)}
		for _, n := range []swing.EventName{swing.Touch, swing.Plant} {
			if e, ok := s.Events[n]; ok && e.Time < c.Time {
				w[0] = e.Time - beforeTouch - math.Min(2*e.Sigma, mostDoubt)
				break
			}
		}
		if n := len(out); n > 0 && w[0] < out[n-1][1] {
			out[n-1][1] = math.Max(out[n-1][1], w[1])
			continue
		}
		out = append(out, w)
	}
	return out
}

// refineWindow looks at the frames between w[0] and w[1], s, that p does not
// have yet.
func (r *run) refineWindow(est *pose.Estimator, clip swing.Clip, o Options, p *part, scale float64, w [2]float64) error {
	known := map[int]bool{}
	for _, q := range p.Poses {
		known[q.Frame] = true
	}
	first, last := p.Poses[0].Time, p.Poses[len(p.Poses)-1].Time
	w[0], w[1] = math.Max(w[0], first), math.Min(w[1], last)
	if !(w[1] > w[0]) {
		return nil
	}
	rd, err := ingest.Open(r.ctx, clip, ingest.OpenOptions{
		MaxSide: o.DecodeSide, From: math.Max(0, w[0]), To: w[1], Threads: o.DecodeThreads, Options: o.Ingest,
		Want: func(i int) bool { return !known[i] },
	})
	if err != nil {
		return err
	}
	finder, err := r.deps.Bat()
	if err != nil {
		return errors.Join(err, rd.Close())
	}
	r.deps.Progress.Stage("pose", int((w[1]-w[0])*clip.FPS))
	looked := sightings{finder: finder}
	poses, err := est.Between(r.ctx, unknown(rd.Frames(), known), pose.Each{
		Beside: looked.look,
		InOrder: func(_ swing.Frame, p swing.Pose, _ []swing.Box) error {
			r.deps.Progress.Add(1)
			looked.take(p)
			return nil
		},
	})
	if err = errors.Join(err, rd.Close()); err != nil {
		return err
	}
	more := part{Poses: poses, Bat: looked.all}
	enlarge(&more, scale)
	p.insert(more)
	return nil
}

// unknown leaves out frames that were looked at before.
func unknown(frames iter.Seq2[swing.Frame, error], known map[int]bool) iter.Seq2[swing.Frame, error] {
	return func(yield func(swing.Frame, error) bool) {
		for f, err := range frames {
			if err == nil && known[f.Index] {
				continue
			}
			if !yield(f, err) {
				return
			}
		}
	}
}

// insert puts the poses and sightings of more in their places. The camera's
// motion at their times lies between that of the frames around them.
func (p *part) insert(more part) {
	var out part
	withBat := len(p.Bat) == len(p.Poses) && len(more.Bat) == len(more.Poses)
	put := func(q swing.Pose, s swing.Similarity, b *bat.Sighting) {
		out.Poses = append(out.Poses, q)
		if len(p.Steady) > 0 {
			out.Steady = append(out.Steady, s)
		}
		if withBat {
			out.Bat = append(out.Bat, *b)
		}
	}
	sight := func(all []bat.Sighting, i int) *bat.Sighting {
		if !withBat {
			return nil
		}
		return &all[i]
	}
	steady := func(i int) swing.Similarity {
		if len(p.Steady) == 0 {
			return swing.IdentitySimilarity()
		}
		return p.Steady[i]
	}
	k := 0
	for i, q := range p.Poses {
		for ; k < len(more.Poses) && more.Poses[k].Time < q.Time; k++ {
			m := more.Poses[k]
			s := steady(i)
			if i > 0 {
				a := p.Poses[i-1]
				s = mix(steady(i-1), s, (m.Time-a.Time)/(q.Time-a.Time))
			}
			put(m, s, sight(more.Bat, k))
		}
		put(q, steady(i), sight(p.Bat, i))
	}
	p.Poses, p.Steady = out.Poses, out.Steady
	if withBat {
		p.Bat = out.Bat
	}
}

// mix returns the map that lies the share u of the way from a to b.
func mix(a, b swing.Similarity, u float64) swing.Similarity {
	at := func(x, y float64) float64 { return x + u*(y-x) }
	return swing.Similarity{A: at(a.A, b.A), B: at(a.B, b.B), TX: at(a.TX, b.TX), TY: at(a.TY, b.TY)}
}

// thinned tells whether any part of the clip was.
func (b bodies) thinned() bool {
	return slices.ContainsFunc(b.Parts, func(p part) bool { return p.Thinned })
}
