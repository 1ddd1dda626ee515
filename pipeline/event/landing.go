package event

import "math"

// A landing is the one moment of a stride at which a speed ends at once. It is
// found by comparing two descriptions of a foot point for every possible
// instant T: before T it flies (its speed wanders as a foot's may), at T it
// stops, after T it stands (hardly any speed). The probability of the data
// under each T comes from a Kalman filter, so the answer has a width, and no
// low-pass smears the corner.
//
// The same comparison on time running backward finds the foot leaving the
// ground.

// noiseModel is the error of a foot point over time: frame-to-frame noise and
// a slow wander of the network, the larger part. Because the wander hardly
// changes from one frame to the next, the way between frames is known better
// than the place.
type noiseModel struct {
	white, slow float64 // stature, one sigma
	memory      float64 // s, correlation time of the slow part
}

// How speeds change, as the variance that a speed in stature/s gains per
// second. A foot in the air is accelerated by up to 1.5 times gravity (9
// stature/s^2) one way or the other, changing about every 0.05 s: 9^2 x 0.05 =
// 4. A foot on the ground sinks, rolls and pivots with some 0.02 stature/s.
const (
	airWander    = 4.0
	groundWander = 0.004
	groundSpeed  = 0.02 // one sigma just after landing
	airSpeed     = 1.0  // one sigma where the data begin
)

// kinkStep is the grid of instants that are tried, s: well under the best
// time resolution that noise allows.
const kinkStep = 0.002

// channel is one coordinate of one foot point in stature and its noise.
type channel struct {
	x     []float64
	noise noiseModel
}

// stop is one instant tried, the logarithm of its probability up to a constant,
// and the speed of the first channel just before it with its one-sigma error.
type stop struct{ T, logp, speed, speedSigma float64 }

// state is what the filter knows: place, speed and wander of the network with
// their covariance.
type state struct {
	m [3]float64
	p [3][3]float64
}

// move lets dt seconds pass.
func (s *state) move(dt, wander float64, n noiseModel) {
	if dt <= 0 {
		return
	}
	r := math.Exp(-dt / n.memory)
	s.m[0] += dt * s.m[1]
	s.m[2] *= r
	p := s.p
	// F P F' for F = [1 dt 0; 0 1 0; 0 0 r].
	p00 := p[0][0] + 2*dt*p[0][1] + dt*dt*p[1][1] + wander*dt*dt*dt/3
	p01 := p[0][1] + dt*p[1][1] + wander*dt*dt/2
	p11 := p[1][1] + wander*dt
	p02 := r * (p[0][2] + dt*p[1][2])
	p12 := r * p[1][2]
	p22 := r*r*p[2][2] + n.slow*n.slow*(1-r*r)
	s.p = [3][3]float64{{p00, p01, p02}, {p01, p11, p12}, {p02, p12, p22}}
}

// see takes in one sample and returns the logarithm of its probability.
func (s *state) see(x float64, n noiseModel) float64 {
	h := [3]float64{}
	for i := range 3 {
		h[i] = s.p[i][0] + s.p[i][2]
	}
	v := h[0] + h[2] + n.white*n.white
	e := x - s.m[0] - s.m[2]
	for i := range 3 {
		s.m[i] += h[i] / v * e
	}
	for i := range 3 {
		for k := range 3 {
			s.p[i][k] -= h[i] * h[k] / v
		}
	}
	return -(e*e/v + math.Log(v)) / 2
}

// halt forgets the speed: the foot stands.
func (s *state) halt() {
	s.m[1] = 0
	for i := range 3 {
		s.p[i][1], s.p[1][i] = 0, 0
	}
	s.p[1][1] = groundSpeed * groundSpeed
}

// stops tries every instant in [lo, hi]. times increase and have the samples
// of all channels. It needs one sample before and one after the instant.
func stops(times []float64, ch []channel, wander, lo, hi float64) []stop {
	var out []stop
	for T := lo; T <= hi+1e-9; T += kinkStep {
		if T > times[0] && T < times[len(times)-1] {
			out = append(out, stop{T: T})
		}
	}
	for k, c := range ch {
		s := state{m: [3]float64{c.x[0], 0, 0}}
		s.p[0][0] = 0.01
		s.p[1][1] = airSpeed * airSpeed
		s.p[2][2] = c.noise.slow * c.noise.slow
		flown := s.see(c.x[0], c.noise)
		next := 0
		for i := 1; i < len(times); i++ {
			// All instants between this sample and the one before.
			for ; next < len(out) && out[next].T < times[i]; next++ {
				g, logp := s, flown
				g.move(out[next].T-times[i-1], wander, c.noise)
				if k == 0 {
					out[next].speed, out[next].speedSigma = g.m[1], math.Sqrt(g.p[1][1])
				}
				g.halt()
				t := out[next].T
				for j := i; j < len(times); j++ {
					g.move(times[j]-t, groundWander, c.noise)
					logp += g.see(c.x[j], c.noise)
					t = times[j]
				}
				out[next].logp += logp
			}
			s.move(times[i]-times[i-1], wander, c.noise)
			flown += s.see(c.x[i], c.noise)
		}
	}
	return out
}

// expect returns mean and standard deviation of f over all instants, weighted
// by their probability.
func expect(all []stop, f func(s stop) float64) (mean, sd float64) {
	top, sum := math.Inf(-1), 0.0
	for _, s := range all {
		top = math.Max(top, s.logp)
	}
	for _, s := range all {
		w := math.Exp(s.logp - top)
		v := f(s)
		sum, mean, sd = sum+w, mean+w*v, sd+w*v*v
	}
	mean /= sum
	return mean, math.Sqrt(math.Max(0, sd/sum-mean*mean))
}
