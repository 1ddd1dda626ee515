package swingtest

import (
	"math"
	"math/rand/v2"
)

// Ambience is what else a clip sounds of. All are invented.
type Ambience string

// Ambiences.
const (
	Silence   Ambience = "silence" // zeros
	Hiss      Ambience = "hiss"    // white noise
	Pink      Ambience = "pink"    // noise with equal power in every octave
	Wind      Ambience = "wind"    // gusts, nearly all below 200 Hz, some broad
	Speech    Ambience = "speech"  // one voice: vowels, hisses, plosives, pauses
	Babble    Ambience = "babble"  // nine voices
	Music     Ambience = "music"   // drums and tones at two beats a second
	Footsteps Ambience = "steps"   // footsteps on gravel over a little noise
)

// Ambiences returns all kinds.
func Ambiences() []Ambience {
	return []Ambience{Silence, Hiss, Pink, Wind, Speech, Babble, Music, Footsteps}
}

// Samples returns seconds of it with mean square 1 (0 for silence).
func (a Ambience) Samples(seconds float64, seed uint64) []float64 {
	r := rand.New(rand.NewPCG(seed, 12))
	n := int(seconds * SoundRate)
	x := make([]float64, n)
	switch a {
	case Hiss:
		for i := range x {
			x[i] = r.NormFloat64()
		}
	case Pink:
		pink(x, r)
	case Wind:
		wind(x, r)
	case Speech:
		voice(x, r)
	case Babble:
		for range 9 {
			one := make([]float64, n)
			voice(one, r)
			AddAt(x, one, 0, 0.5+r.Float64())
		}
	case Music:
		music(x, r)
	case Footsteps:
		steps(x, r)
	}
	return level(x)
}

// level scales x to mean square 1.
func level(x []float64) []float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	if sum > 0 {
		k := math.Sqrt(float64(len(x)) / sum)
		for i := range x {
			x[i] *= k
		}
	}
	return x
}

// pink adds noise of equal power in every octave: white noise through
// one-pole low-passes an octave apart (Voss-McCartney in spirit).
func pink(x []float64, r *rand.Rand) {
	var state, a, b [12]float64
	for k := range a {
		a[k] = math.Exp(-2 * math.Pi * 10 * math.Pow(2, float64(k)) / SoundRate)
		b[k] = math.Sqrt(1 - a[k])
	}
	for i := range x {
		v := r.NormFloat64()
		for k := range state {
			state[k] = a[k]*state[k] + b[k]*v
			x[i] += state[k]
		}
	}
}

// wind adds low noise whose loudness wanders, and a little broad noise that
// follows it.
func wind(x []float64, r *rand.Rand) {
	var low, lower, gust float64
	for i := range x {
		v := r.NormFloat64()
		low += 0.012 * (v - low)
		lower += 0.02 * (low - lower)
		gust += 2.0 / SoundRate * (r.NormFloat64()*60 - gust)
		x[i] = (60*lower + 0.05*v) * math.Exp(0.8*gust)
	}
}

// resonator is a two-pole band-pass.
type resonator struct{ in, c1, c2, y1, y2 float64 }

// tune sets the middle and the width of the band, Hz.
func (s *resonator) tune(f, width float64) {
	q := math.Exp(-math.Pi * width / SoundRate)
	s.in, s.c1, s.c2 = 1-q, 2*q*math.Cos(2*math.Pi*f/SoundRate), q*q
}

func (s *resonator) next(x float64) float64 {
	y := s.in*x + s.c1*s.y1 - s.c2*s.y2
	s.y2, s.y1 = s.y1, y
	return y
}

// voice adds a voice by source and filter: pitch pulses and breath through
// three formants that change with every syllable, hisses and plosive bursts
// between them, pauses between phrases.
func voice(x []float64, r *rand.Rand) {
	pitch := 90 + 140*r.Float64()
	var f [3]resonator
	weight := [3]float64{1, 0.6, 0.36}
	phase, last := 0.0, 0.0
	for i := int(0.3 * r.Float64() * SoundRate); i < len(x); {
		if r.Float64() < 0.15 { // a pause
			i += int((0.2 + 0.6*r.Float64()) * SoundRate)
			continue
		}
		switch k := r.Float64(); {
		case k < 0.45: // a plosive: closure, then a burst
			i += int((0.04 + 0.04*r.Float64()) * SoundRate)
			burst, fade, height := int(0.03*SoundRate), 0.003+0.006*r.Float64(), 0.3+0.6*r.Float64()
			for m := 0; m < burst && i < len(x); m, i = m+1, i+1 {
				v := r.NormFloat64()
				x[i] += height * (v - 0.7*last) * math.Exp(-float64(m)/SoundRate/fade)
				last = v
			}
		case k < 0.7: // a hiss
			n := int((0.05 + 0.08*r.Float64()) * SoundRate)
			for m := 0; m < n && i < len(x); m, i = m+1, i+1 {
				v := r.NormFloat64()
				x[i] += 0.12 * math.Sin(math.Pi*float64(m)/float64(n)) * (v - last)
				last = v
			}
		}
		n := int((0.08 + 0.12*r.Float64()) * SoundRate)
		for k, form := range [3]float64{300 + 500*r.Float64(), 900 + 1300*r.Float64(), 2300 + 900*r.Float64()} {
			f[k].tune(form, 60+40*float64(k))
		}
		bend := 0.9 + 0.2*r.Float64()
		for m := 0; m < n && i < len(x); m, i = m+1, i+1 {
			q := float64(m) / float64(n)
			phase += pitch * (1 + (bend-1)*q) * (1 + 0.01*r.NormFloat64()) / SoundRate
			src := 0.02 * r.NormFloat64()
			if phase >= 1 {
				phase--
				src += 40
			}
			loud := smooth(8*q) * smooth(4*(1-q))
			for k := range f {
				x[i] += loud * weight[k] * f[k].next(src)
			}
		}
	}
}

// music adds a beat of drum and cymbal and a chord.
func music(x []float64, r *rand.Rand) {
	beat := 0.22 + 0.06*r.Float64()
	offset := beat * r.Float64()
	for i := range x {
		t := float64(i) / SoundRate
		for _, f := range []float64{220, 277, 330, 660} {
			x[i] += 0.08 * math.Sin(2*math.Pi*f*t)
		}
	}
	last := 0.0
	for k := 0; float64(k)*beat < float64(len(x))/SoundRate; k++ {
		fade := 0.03
		if k%2 == 1 {
			fade = 0.08
		}
		hit := make([]float64, int(0.2*SoundRate))
		for m := range hit {
			t := float64(m) / SoundRate
			v := r.NormFloat64()
			hit[m] = math.Exp(-t/fade) * (0.5*(v-last) + 0.8*math.Sin(2*math.Pi*(60+80*math.Exp(-t/0.02))*t))
			last = v
		}
		AddAt(x, hit, offset+float64(k)*beat, 1)
	}
}

// steps adds footsteps, a thump and a scuff, on quiet noise.
func steps(x []float64, r *rand.Rand) {
	pink(x, r)
	for i := range x {
		x[i] *= 0.02
	}
	for t := 0.2 * r.Float64(); t < float64(len(x))/SoundRate; t += 0.45 + 0.1*r.Float64() {
		step := make([]float64, int(0.15*SoundRate))
		for m := range step {
			s := float64(m) / SoundRate
			scuff := 0.0
			if s > 0.01 {
				scuff = math.Exp(-(s-0.01)/0.04) * (1 - math.Exp(-(s-0.01)/0.006))
			}
			step[m] = math.Exp(-s/0.02)*math.Sin(2*math.Pi*90*s)*smooth(s/0.004) + 0.5*scuff*r.NormFloat64()
		}
		AddAt(x, step, t, 0.7+0.6*r.Float64())
	}
}
