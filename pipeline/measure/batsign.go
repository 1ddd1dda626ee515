package measure

import (
	"math"
	"math/rand/v2"

	"plantframe/pipeline/swing"
)

// Whether the barrel points toward the camera or away from it cannot be told from
// one picture. It is told, with a chance, from the whole swing: a path of readings,
// near or far in each frame, is drawn for every Monte Carlo draw from all paths by
// their chances (forward filtering and backward sampling, Carter and Kohn 1994,
// Biometrika 81:541-553). A path is likely when the bat turns without jerks, when it
// turns one way only once it is swung, and when it is where hitters hold it.
const (
	// jerk is the change of turning speed to be reckoned with, deg/s2: from rest
	// to some 1600 deg/s (Welch et al. 1995, from memory) in a tenth of a second.
	jerk = 16000.0
	// backTurn is how far a swung bat may seem to turn back between frames, deg.
	backTurn = 4.0
	// Least time between frames that are looked at, s: while the bat waits and
	// from hurry s before plant on; and the longest time over which the turning
	// speed means anything.
	waitStep, readStep, hurry, readGap = 0.030, 0.0075, 0.15, 0.08
	// wildJerk bounds what one frame can say against a path: a wrong sight must
	// not decide.
	wildJerk = 12.0
	// doubtful is the depth, of the bat's length, below which the side where
	// hitters hold the barrel means little.
	doubtful = 0.15
)

// habit is the side on which hitters have the barrel at some time of the swing.
// Common practice, no source; all are soft.
type habit struct {
	from, to float64 // s
	odds     float64 // logarithm of the odds that it points to the camera
	frames   float64 // that the time holds, at least 1
}

// habits returns what is known beforehand of the barrel's side:
//
//   - open-side view, waiting and at plant: the barrel is behind the head, on the
//     far side of the hands (9 in 10 at plant, 3 in 4 at load); at contact it is
//     over the plate, on the near side;
//   - rear view: at plant the barrel points rather to the catcher and so to the
//     camera (3 in 4; wrapped around the head, it does not); halfway to contact it
//     trails the hands and points to the camera.
func (w *work) habits() []habit {
	var out []habit
	at := func(e swing.EventName, odds float64) {
		if v, ok := w.events[e]; ok {
			out = append(out, w.around(v.Time, odds))
		}
	}
	if w.c.view == swing.OpenSide {
		at(swing.Load, -math.Log(3))
		at(swing.Plant, -math.Log(9))
		at(swing.Contact, math.Log(50))
		return out
	}
	at(swing.Plant, math.Log(3))
	if c := w.c; c.contact > c.plant {
		d := c.contact - c.plant
		out = append(out, w.habit(c.plant+0.5*d, c.plant+0.75*d, math.Log(50)))
	}
	return out
}

// around returns a habit at one instant, wide enough to hold a frame that is looked
// at.
func (w *work) around(t, odds float64) habit {
	half := max(waitStep, w.c.spacing(t)) / 2
	return w.habit(t-half, t+half, odds)
}

func (w *work) habit(from, to, odds float64) habit {
	n := 0
	for _, t := range w.read.times {
		if t >= from && t <= to {
			n++
		}
	}
	return habit{from, to, odds, float64(max(1, n))}
}

// readings holds the drawn paths: near[draw][k] tells whether the near reading
// holds in the k-th frame looked at.
type readings struct {
	times []float64
	near  [][]bool
}

// at returns the reading of one draw at time t.
func (r *readings) at(draw int, t float64) bool {
	best, ok := math.Inf(1), false
	for k, s := range r.times {
		if d := math.Abs(s - t); d < best {
			best, ok = d, r.near[draw][k]
		}
	}
	return ok
}

// facing is the bat in one frame in its two readings (0 far, 1 near): the unit
// direction in the hitter's space, its error, degrees, and the chance beforehand.
type facing struct {
	t     float64
	d     [2]vec
	sigma [2]float64
	log   [2]float64
}

// readBat draws the paths of all draws.
func (w *work) readBat() *readings {
	if w.read != nil {
		return w.read
	}
	w.read = &readings{near: make([][]bool, w.d.n)}
	from, to := w.from, w.to
	if e, ok := w.events[swing.Stance]; ok {
		from = e.Time - readGap
	}
	if e, ok := w.events[swing.Contact]; ok {
		to = e.Time + 2*readStep
	}
	var use []int
	for k, t := range w.club.times {
		step := waitStep
		if t >= w.c.plant-hurry { // also without a plant
			step = readStep
		}
		if t >= from && t <= to && (len(use) == 0 || t-w.club.times[use[len(use)-1]] >= step) {
			use = append(use, k)
			w.read.times = append(w.read.times, t)
		}
	}
	habits := w.habits()
	r := rand.New(rand.NewPCG(w.o.Seed, 3<<8))
	stands := make([]stand, len(use))
	for k, u := range use {
		stands[k] = w.stands(w.club.times[u])
	}
	for i := range w.d.n {
		f := make([]facing, len(use))
		for k, u := range use {
			f[k] = w.facing(i, w.club.times[u], stickOf(w.club.sights[u]), stands[k], habits)
		}
		w.read.near[i] = w.path(r, f)
	}
	return w.read
}

// facing returns both readings of one frame.
func (w *work) facing(draw int, t float64, s stick, at stand, habits []habit) facing {
	f := facing{t: t}
	n := w.b[draw]
	s = s.disturbed(n.stick)
	l := w.lensAt(draw, at)
	size := w.batSize().mean
	hands := w.handDepthAt(draw, t)
	depth := [2]float64{}
	square, frames := w.square(t)
	var odds float64
	depth[0], depth[1], odds = l.depths(s.knob, s.tip(), hands, w.grip(), w.batSize(), n.depth, square)
	f.log = [2]float64{-odds / 2 / frames, odds / 2 / frames}
	// The error of the depth that an error of the apparent length makes is
	// bounded where the bat lies in the picture. That of the true length is the
	// same in all frames and drawn with the quantile.
	e := math.Hypot(s.knobSigma, s.tipSigma) / size
	for k, c := range depth {
		b := l.rod(s.knob, s.tip(), hands, w.grip(), c)
		v := w.c.space(b.tip.Sub(b.knob), c)
		f.d[k] = v.scale(1 / max(1e-9, v.norm()))
		q := c / size
		f.sigma[k] = math.Hypot(s.turn, degrees(min(e/max(math.Abs(q), 1e-3), math.Sqrt(2*e))))
		for _, h := range habits {
			if t >= h.from && t <= h.to {
				// One habit counts once, however many frames it spans.
				f.log[k] += h.odds / h.frames * math.Tanh(q/doubtful) / 2
			}
		}
	}
	return f
}

// path draws one path through the frames.
func (w *work) path(r *rand.Rand, f []facing) []bool {
	n := len(f)
	out := make([]bool, n)
	if n == 0 {
		return out
	}
	if n == 1 {
		out[0] = pick(r, f[0].log[0], f[0].log[1]) == 1
		return out
	}
	// sum[k][a][b] is the chance of all paths that end with a at k-1, b at k.
	sum := make([][2][2]float64, n)
	for a := range 2 {
		for b := range 2 {
			sum[1][a][b] = f[0].log[a] + f[1].log[b] + w.one(&f[0], &f[1], a, b)
		}
	}
	for k := 2; k < n; k++ {
		for b := range 2 {
			for c := range 2 {
				x := sum[k-1][0][b] + w.two(f[k-2:k+1], 0, b, c)
				y := sum[k-1][1][b] + w.two(f[k-2:k+1], 1, b, c)
				m := max(x, y)
				sum[k][b][c] = f[k].log[c] + w.one(&f[k-1], &f[k], b, c) + m + math.Log(math.Exp(x-m)+math.Exp(y-m))
			}
		}
	}
	last := sum[n-1]
	c := pick(r, logSum(last[0][0], last[1][0]), logSum(last[0][1], last[1][1]))
	b := pick(r, last[0][c], last[1][c])
	out[n-1], out[n-2] = c == 1, b == 1
	for k := n - 1; k >= 2; k-- {
		a := pick(r, sum[k-1][0][b]+w.two(f[k-2:k+1], 0, b, c), sum[k-1][1][b]+w.two(f[k-2:k+1], 1, b, c))
		out[k-2] = a == 1
		b, c = a, b
	}
	return out
}

// one weighs the turn between two frames: a bat that is swung turns one way, seen
// from above from the catcher over the plate to the pitcher.
func (w *work) one(p, q *facing, a, b int) float64 {
	if !w.swung(p.t) || q.t-p.t > readGap {
		return 0
	}
	u, v := p.d[a], q.d[b]
	cross := u.x*v.y - u.y*v.x
	if cross <= 0 {
		return 0
	}
	back := degrees(math.Atan2(cross, u.x*v.x+u.y*v.y))
	// A bat that stands steeply has no heading to speak of.
	flat := max(0.1, min(math.Hypot(u.x, u.y), math.Hypot(v.x, v.y)))
	s := math.Hypot(backTurn, math.Hypot(p.sigma[a], q.sigma[b])/flat)
	return max(bell(back, 0, s), -wildJerk)
}

// swung reports whether the bat is on its way to the ball at time t.
func (w *work) swung(t float64) bool {
	from, ok := w.events[swing.SwingStart]
	if !ok {
		if from, ok = w.events[swing.Plant]; !ok {
			return false
		}
	}
	to, ok := w.events[swing.Contact]
	return ok && t >= from.Time && t <= to.Time
}

// two weighs the change of the turning speed over three frames.
func (w *work) two(f []facing, a, b, c int) float64 {
	d1, d2 := f[1].t-f[0].t, f[2].t-f[1].t
	if d1 <= 0 || d2 <= 0 || d1 > readGap || d2 > readGap {
		return 0
	}
	ahead := f[1].d[b].add(f[1].d[b].sub(f[0].d[a]).scale(d2 / d1))
	miss := bend(ahead, f[2].d[c])
	noise := math.Hypot(f[2].sigma[c], (1+d2/d1)*f[1].sigma[b])
	noise = math.Hypot(noise, d2/d1*f[0].sigma[a])
	return max(bell(miss, 0, math.Hypot(jerk*d2*(d1+d2)/2, noise)), -wildJerk)
}

func logSum(x, y float64) float64 {
	m := max(x, y)
	return m + math.Log(math.Exp(x-m)+math.Exp(y-m))
}

// pick draws 0 or 1 by the logarithms of their chances.
func pick(r *rand.Rand, x, y float64) int {
	if r.Float64() < 1/(1+math.Exp(x-y)) {
		return 1
	}
	return 0
}
