package swingtest

import (
	"math"
	"math/rand/v2"
)

// SoundRate is the rate of all invented sounds, samples per second.
const SoundRate = 48000

// Hit is what a bat hitting a ball sounds like. All are invented from the
// mechanics: a push of about a millisecond, modes of the bat that ring, and
// splintering noise; nothing is recorded.
type Hit string

// Hits.
const (
	Wood  Hit = "wood"  // crack: bends and splinters, gone in some milliseconds
	Metal Hit = "metal" // ping: the barrel's shell rings for a tenth of a second
	Soft  Hit = "soft"  // thud of a foam ball: a longer push, nothing high
)

// Hits returns all kinds.
func Hits() []Hit { return []Hit{Wood, Metal, Soft} }

// mode is a damped tone: frequency, Hz, time in which it fades to 1/e, s, and
// height.
type mode struct{ f, fade, height float64 }

// Samples returns the sound from the first touch on; the loudest sample is 1.
func (h Hit) Samples(seed uint64) []float64 {
	r := rand.New(rand.NewPCG(seed, 11))
	vary := func(v float64) float64 { return v * (0.85 + 0.3*r.Float64()) }
	push, length := vary(0.0008), 0.08
	var modes []mode
	rattle := mode{0, vary(0.0025), 0.5}
	switch h {
	case Wood:
		modes = []mode{{180, 0.012, 0.25}, {620, 0.008, 0.5}, {1250, 0.006, 0.9}, {2100, 0.004, 1}, {3300, 0.003, 0.7}, {5200, 0.002, 0.4}}
	case Metal:
		length = 0.4
		modes = []mode{{650, 0.03, 0.3}, {1700, 0.05, 0.6}, {2250, 0.09, 1}, {3700, 0.06, 0.5}, {5600, 0.04, 0.4}, {7900, 0.02, 0.2}}
		rattle.height = 0.35
	case Soft:
		push = vary(0.0022)
		modes = []mode{{170, 0.02, 0.5}, {420, 0.010, 1}, {760, 0.006, 0.7}, {1250, 0.004, 0.4}}
		rattle = mode{0, vary(0.003), 0.12}
	}
	n := int(length * SoundRate)
	out := make([]float64, n)
	for _, m := range modes {
		f, fade, at := vary(m.f), vary(m.fade), 0.3*r.Float64()*push
		for i := range out {
			if t := float64(i)/SoundRate - at; t >= 0 {
				rise := smooth(t / push)
				out[i] += m.height * rise * math.Exp(-t/fade) * math.Sin(2*math.Pi*f*t)
			}
		}
	}
	last := 0.0
	for i := range out {
		t := float64(i) / SoundRate
		v := r.NormFloat64()
		// Noise without its lowest part; a soft ball's without its highest.
		noise := v - last
		if last = v; h == Soft {
			noise = 0.3 * v
		}
		out[i] += rattle.height * smooth(t/push) * math.Exp(-t/rattle.fade) * noise
	}
	top := 0.0
	for _, v := range out {
		top = math.Max(top, math.Abs(v))
	}
	for i := range out {
		out[i] /= top
	}
	return out
}

// Power returns the mean square of a sound over the shortest time from its
// begin that holds nine tenths of its energy.
func Power(x []float64) float64 {
	all := 0.0
	for _, v := range x {
		all += v * v
	}
	sum := 0.0
	for i, v := range x {
		if sum += v * v; sum >= 0.9*all {
			return sum / float64(i+1)
		}
	}
	return 0
}

// AddAt mixes x, times gain, into dst from time t on, s.
func AddAt(dst, x []float64, t, gain float64) {
	at := int(math.Round(t * SoundRate))
	for i, v := range x {
		if k := at + i; k >= 0 && k < len(dst) {
			dst[k] += gain * v
		}
	}
}

// Floats returns samples as they are decoded: clipped at full scale.
func Floats(x []float64) []float32 {
	out := make([]float32, len(x))
	for i, v := range x {
		out[i] = float32(math.Max(-1, math.Min(1, v)))
	}
	return out
}
