package sound

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/dsp/window"
)

const (
	// pieceTime is the length of a spectrum, s. A Hann window of it sees
	// effectively 1.3 ms at once and tells 375 Hz apart.
	pieceTime = 1 / 375.0
	// rumble is where the high-pass ends, Hz: wind, handling and footsteps
	// have most of their power below, even a soft ball's thud has enough
	// above it.
	rumble = 300.0
	// leastRate is the lowest rate of samples that is listened to, Hz: less
	// holds no crack.
	leastRate = 8000
	// ownNoise is the power that is taken for silence, of full scale (-70
	// dB): a phone's microphone is not quieter, but a coder writes zeros.
	ownNoise = 1e-7
)

// bandEdges are the limits of the bands, Hz: about two thirds of an octave
// each, the lowest wider. A bat touches a ball for about a millisecond (Adair,
// The Physics of Baseball; from memory), so the force reaches to some 2 kHz
// and what rings in wood or metal to well above; a foam ball is softer.
func bandEdges() []float64 { return []float64{300, 900, 1700, 2900, 4400, 6600, 9900, 14000} }

// spectrogram is the power of a sound in bands over time.
type spectrogram struct {
	start float64     // time of the centre of the first piece, s
	step  float64     // s between pieces
	power [][]float64 // by band, then piece
	free  []float64   // independent numbers in one power, by band
}

// len returns the number of pieces.
func (g *spectrogram) len() int {
	if len(g.power) == 0 {
		return 0
	}
	return len(g.power[0])
}

// at returns the time of a piece, s.
func (g *spectrogram) at(i int) float64 { return g.start + float64(i)*g.step }

// analyse computes the power in bands of samples whose first is at time start,
// one spectrum every step samples.
func analyse(x []float64, rate int, start float64, step int) spectrogram {
	n := 2 * int(math.Round(pieceTime*float64(rate)/2))
	g := spectrogram{start: start + float64(n-1)/2/float64(rate), step: float64(step) / float64(rate)}
	count := 0
	if len(x) >= n {
		count = (len(x)-n)/step + 1
	}
	first := bins(n, rate)
	for b := 0; b+1 < len(first); b++ {
		g.power = append(g.power, make([]float64, count))
		g.free = append(g.free, float64(first[b+1]-first[b])/hannWidth)
	}
	hann := window.Hann(ones(n))
	sum := 0.0
	for _, v := range hann {
		sum += v * v
	}
	fft := fourier.NewFFT(n)
	buf, spec := make([]float64, n), make([]complex128, n/2+1)
	for i := range count {
		for k, v := range x[i*step : i*step+n] {
			buf[k] = v * hann[k]
		}
		spec = fft.Coefficients(spec, buf)
		for b := range g.power {
			p := 0.0
			for _, c := range spec[first[b]:first[b+1]] {
				m := cmplx.Abs(c)
				p += m * m
			}
			// Two-sided; full-scale units.
			g.power[b][i] = 2*p/(sum*float64(n)) + ownNoise*float64(first[b+1]-first[b])/float64(n/2)
		}
	}
	return g
}

// hannWidth is the noise bandwidth of a Hann window, bins (Harris 1978, Proc.
// IEEE 66:51-83): so many bins hold one independent number.
const hannWidth = 1.5

// bins returns the first bin of every band, and the end of the last, as far as
// the rate reaches.
func bins(n, rate int) []int {
	var out []int
	for _, f := range bandEdges() {
		k := int(math.Round(f * float64(n) / float64(rate)))
		if k > n/2 {
			break
		}
		if len(out) > 0 && k <= out[len(out)-1] {
			k = out[len(out)-1] + 1
		}
		out = append(out, k)
	}
	return out
}

func ones(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = 1
	}
	return x
}

// highPass returns the samples without what is below cutoff, Hz: a fourth-order
// Butterworth filter by the bilinear transform, run forward only so that
// nothing sounds before it begins.
func highPass(samples []float32, rate int, cutoff float64) []float64 {
	y := make([]float64, len(samples))
	for i, v := range samples {
		y[i] = float64(v)
	}
	k := math.Tan(math.Pi * cutoff / float64(rate))
	for _, angle := range []float64{math.Pi / 8, 3 * math.Pi / 8} {
		d := 2 * math.Cos(angle) // 1/Q of the section
		a0 := 1 + d*k + k*k
		a1, a2 := 2*(k*k-1)/a0, (1-d*k+k*k)/a0
		var x1, x2, y1, y2 float64
		for i, x := range y {
			v := (x-2*x1+x2)/a0 - a1*y1 - a2*y2
			x2, x1, y2, y1 = x1, x, y1, v
			y[i] = v
		}
	}
	return y
}
