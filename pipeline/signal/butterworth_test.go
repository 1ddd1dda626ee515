package signal

import (
	"math"
	"testing"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.10g, want %.10g (tolerance %g)", what, got, want, tol)
	}
}

func TestCorrection(t *testing.T) {
	// Winter 2009: (2^(1/n) - 1)^(1/4).
	near(t, "two passes", Correction(2), 0.8022432629, 1e-9)
	near(t, "three passes", Correction(3), 0.7140199777, 1e-9)
	near(t, "one pass", Correction(1), 1, 1e-12)
}

// TestCoefficients checks both published variants for 10 Hz at 100 Hz.
func TestCoefficients(t *testing.T) {
	// tan(pi fc/fs)/C, the exact one, which this package uses; values by
	// calculation from the definition.
	q := Butterworth(10, 100, 2)
	near(t, "b0", q.B0, 0.09444674, 1e-7)
	near(t, "b1", q.B1, 0.18889348, 1e-7)
	near(t, "b2", q.B2, 0.09444674, 1e-7)
	near(t, "a1", q.A1, -0.96264131, 1e-7)
	near(t, "a2", q.A2, 0.34042828, 1e-7)

	// fc/C in Hz, printed output of BMClab/BMC notebooks/DataFiltering.ipynb
	// (CC BY 4.0): a section designed at 12.465 Hz without correction.
	h := section(math.Tan(math.Pi * 10 / Correction(2) / 100))
	near(t, "Hz variant b0", h.B0, 0.09718522, 1e-7)
	near(t, "Hz variant b1", h.B1, 0.19437045, 1e-7)
	near(t, "Hz variant a1", h.A1, -0.94557029, 1e-7)
	near(t, "Hz variant a2", h.A2, 0.33431119, 1e-7)
	near(t, "Hz variant two-pass gain", h.Gain(10, 100)*h.Gain(10, 100), 0.7229, 1e-4)
	h30 := section(math.Tan(math.Pi * 6 / Correction(2) / 30))
	near(t, "Hz variant two-pass gain, 6 Hz at 30 Hz", h30.Gain(6, 30)*h30.Gain(6, 30), 0.779, 1e-3)
}

func TestGain(t *testing.T) {
	for _, fs := range []float64{30, 60, 120, 240} {
		for _, fc := range []float64{2, 6, 8, 12} {
			q := Butterworth(fc, fs, 2)
			two := func(f float64) float64 { g := q.Gain(f, fs); return g * g }
			near(t, "two-pass gain at the cut-off", two(fc), 0.70711, 1e-4) // definition
			near(t, "gain at 0", two(0), 1, 1e-12)
			one := Butterworth(fc, fs, 1)
			near(t, "two passes without correction", one.Gain(fc, fs)*one.Gain(fc, fs), 0.5, 1e-4)
		}
	}
	// Analog two-pass gain 1/(1+(C f/fc)^4) at fc/2 is 0.97476; digital
	// 0.975 to 0.984 (by calculation).
	g := Butterworth(6, 240, 2).Gain(3, 240)
	near(t, "gain at half the cut-off, slow", g*g, 0.97476, 1e-3)
	g = Butterworth(12, 30, 2).Gain(6, 30)
	if g*g < 0.97476 || g*g > 1 {
		t.Errorf("gain at half the cut-off, fast = %g", g*g)
	}
}

// TestZeroPhaseAgainstSciPy compares with scipy.signal.filtfilt 1.10.1 (odd
// padding of 9 samples), recorded output.
func TestZeroPhaseAgainstSciPy(t *testing.T) {
	x := []float64{0.3, -0.1, 0.4, 1.2, 0.9, 1.7, 2.1, 1.8, 2.6, 2.2, 1.1, 0.7, -0.4, -0.2, 0.1, 0}
	want := []float64{
		0.29578703, 0.39145812, 0.58089042, 0.87999376, 1.24777545, 1.62675267, 1.94492699, 2.12134854,
		2.07808581, 1.7716875, 1.25449235, 0.67944163, 0.22020217, -0.0228631, -0.06606274, -0.00256128,
	}
	got := Butterworth(10, 100, 2).ZeroPhase(x, 9)
	for i := range want {
		near(t, "sample", got[i], want[i], 1e-8)
	}
}

func TestZeroPhaseHasNoLagAndKeepsLines(t *testing.T) {
	n := 201
	pulse, line := make([]float64, n), make([]float64, n)
	for i := range n {
		pulse[i] = math.Exp(-math.Pow(float64(i-100)/4, 2))
		line[i] = 3 - 0.25*float64(i)
	}
	q := Butterworth(6, 60, 2)
	p := q.ZeroPhase(pulse, 30)
	for k := range 90 {
		near(t, "mirror image of a symmetric pulse", p[100-k], p[100+k], 1e-9)
		if k > 0 && p[100+k] > p[100] {
			t.Fatalf("peak moved to %+d", k)
		}
	}
	l := q.ZeroPhase(line, 30)
	for i := range line {
		near(t, "straight line", l[i], line[i], 1e-6) // the start-up of the reflected part has decayed to this
	}
	if got := q.ZeroPhase([]float64{7}, 9); len(got) != 1 || got[0] != 7 {
		t.Errorf("single sample: %v", got)
	}
}
