package sound

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"plantframe/pipeline/swing"
	"plantframe/pipeline/swingtest"
)

const (
	seconds = 3.0
	hitTime = 1.7
	quiet   = 0.05 // root mean square of what is not the hit, of full scale
)

// clip is an ambience with a hit at hitTime, snr dB over it while the hit
// lasts; without a hit when h is "".
func clip(a swingtest.Ambience, h swingtest.Hit, snr float64, seed uint64) swing.Sound {
	x := a.Samples(seconds, seed)
	for i := range x {
		x[i] *= quiet
	}
	if h != "" {
		hit := h.Samples(seed + 50)
		swingtest.AddAt(x, hit, hitTime, quiet*math.Pow(10, snr/20)/math.Sqrt(swingtest.Power(hit)))
	}
	return swing.Sound{Rate: swingtest.SoundRate, Samples: swingtest.Floats(x)}
}

// here are options for a microphone at the ball.
func here() Options {
	o := DefaultOptions()
	o.Distance = 1e-3
	return o
}

// near returns the crack at the hit.
func near(t *testing.T, s swing.Sound, o Options, tol float64) (swing.Crack, bool) {
	t.Helper()
	all, err := Listen(s, Place{}, o)
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range all {
		if !(c.Sigma > 0 && c.Rate > 0) || i > 0 && c.Time < all[i-1].Time {
			t.Errorf("crack %d of %d: %+v", i, len(all), c)
		}
		if math.Abs(c.Time-hitTime) < tol {
			return c, true
		}
	}
	return swing.Crack{}, false
}

// TestHitsInNoise: every kind of hit is found within 4 ms in noises that are
// not made of sharp sounds themselves, and is rarer than three in ten seconds.
func TestHitsInNoise(t *testing.T) {
	for _, a := range []swingtest.Ambience{swingtest.Silence, swingtest.Hiss, swingtest.Pink, swingtest.Wind} {
		for _, h := range swingtest.Hits() {
			for _, snr := range []float64{20, 0} {
				for seed := range uint64(2) {
					c, ok := near(t, clip(a, h, snr, seed), here(), 0.004)
					if !ok || c.Rate > 0.3 {
						t.Errorf("%s in %s at %g dB, seed %d: found %v, %+v", h, a, snr, seed, ok, c)
					}
				}
			}
		}
	}
}

// TestFaintHits: five dB under the noise most hits are still found, and those
// that are found are in their place.
func TestFaintHits(t *testing.T) {
	for _, c := range []struct {
		a     swingtest.Ambience
		h     swingtest.Hit
		least int // of 4
	}{
		{swingtest.Wind, swingtest.Wood, 4},
		{swingtest.Wind, swingtest.Metal, 4},
		{swingtest.Wind, swingtest.Soft, 4},
		{swingtest.Hiss, swingtest.Wood, 2},
		{swingtest.Hiss, swingtest.Metal, 3},
		{swingtest.Hiss, swingtest.Soft, 3},
		{swingtest.Pink, swingtest.Metal, 2},
		{swingtest.Babble, swingtest.Metal, 1},
	} {
		found := 0
		for seed := range uint64(4) {
			if _, ok := near(t, clip(c.a, c.h, -5, seed), here(), 0.004); ok {
				found++
			}
		}
		if found < c.least {
			t.Errorf("%s in %s: found %d of 4, want %d", c.h, c.a, found, c.least)
		}
	}
}

// TestRate: where there is nothing sharp hardly anything is reported as rare,
// however long one listens.
func TestRate(t *testing.T) {
	for _, a := range swingtest.Ambiences() {
		rare := 0
		for seed := range uint64(4) {
			all, err := Listen(clip(a, "", 0, seed), Place{}, here())
			if err != nil {
				t.Fatal(err)
			}
			for _, c := range all {
				if c.Rate < 0.15 {
					rare++
				}
			}
		}
		// 12 s of each: below 0.15 a second means 1.8 times; twice that
		// leaves room for luck.
		if rare > 4 {
			t.Errorf("%s: %d sounds are said to be rarer than 0.15 a second in 12 s", a, rare)
		}
	}
}

// TestOddSounds: a clipped hit, one with an echo, one at another rate, one on
// an offset.
func TestOddSounds(t *testing.T) {
	loud := clip(swingtest.Pink, swingtest.Wood, 50, 1)
	top := 0
	for _, v := range loud.Samples {
		if v == 1 || v == -1 {
			top++
		}
	}
	if c, ok := near(t, loud, here(), 0.002); !ok || top < 20 {
		t.Errorf("clipped (%d samples): %+v", top, c)
	}

	echo := clip(swingtest.Pink, swingtest.Wood, 15, 2)
	x := make([]float64, len(echo.Samples))
	hit := swingtest.Wood.Samples(52)
	swingtest.AddAt(x, hit, hitTime+0.018, 0.6*quiet*math.Pow(10, 15.0/20)/math.Sqrt(swingtest.Power(hit)))
	for i := range x {
		echo.Samples[i] += float32(x[i])
	}
	all, _ := Listen(echo, Place{}, here())
	n := 0
	for _, c := range all {
		if c.Time > hitTime-0.005 && c.Time < hitTime+0.05 {
			n++
		}
	}
	if c, ok := near(t, echo, here(), 0.002); !ok || n != 1 {
		t.Errorf("echo: %d cracks, %+v", n, c)
	}

	third := clip(swingtest.Wind, swingtest.Wood, 10, 3)
	third.Rate = 16000
	low := third.Samples[:0:0]
	for i := 0; i+2 < len(third.Samples); i += 3 {
		low = append(low, (third.Samples[i]+third.Samples[i+1]+third.Samples[i+2])/3)
	}
	third.Samples = low
	if c, ok := near(t, third, here(), 0.003); !ok {
		t.Errorf("16 kHz: %+v", c)
	}

	late := clip(swingtest.Pink, swingtest.Metal, 10, 4)
	late.Start = -0.5
	all, _ = Listen(late, Place{}, here())
	found := false
	for _, c := range all {
		found = found || math.Abs(c.Time-(hitTime-0.5)) < 0.003
	}
	if !found {
		t.Errorf("starts at -0.5 s: %+v", all)
	}
}

// TestGap: the end of a gap and the begin of a stretch are no cracks.
func TestGap(t *testing.T) {
	s := clip(swingtest.Hiss, "", 0, 5)
	for i := range s.Samples[:swingtest.SoundRate] {
		s.Samples[i] = 0
	}
	all, _ := Listen(s, Place{}, here())
	if len(all) == 0 || math.Abs(all[0].Time-1) > 0.02 {
		t.Fatalf("noise that sets in is an onset: %+v", all)
	}
	s.Gaps = [][2]float64{{0, 1}}
	all, _ = Listen(s, Place{}, here())
	for _, c := range all {
		if c.Time < 1.02 {
			t.Errorf("a gap's end is taken for a sound: %+v", c)
		}
	}
}

// TestNothing: stretches that hold nothing to listen to.
func TestNothing(t *testing.T) {
	for _, s := range []swing.Sound{{}, {Rate: 48000}, {Rate: 48000, Samples: make([]float32, 500)}, {Rate: 4000, Samples: make([]float32, 8000)}, {Rate: 48000, Samples: make([]float32, 96000)}} {
		if all, err := Listen(s, Place{}, DefaultOptions()); err != nil || len(all) != 0 {
			t.Errorf("%d samples at %d: %v, %v", len(s.Samples), s.Rate, all, err)
		}
	}
}

// TestDelay against hand arithmetic: 343.2 m/s at 20 degrees; a 1.80 m hitter
// 500 px high under a lens of 0.8 long sides of 1920 px stands 5.53 m away.
func TestDelay(t *testing.T) {
	if c := SpeedOfSound(20); math.Abs(c-343.2) > 0.1 {
		t.Errorf("speed of sound %.2f m/s", c)
	}
	s, sigma := Place{Stature: 500, LongSide: 1920, HeightM: 1.80}.delay(DefaultOptions())
	if want := 0.8 * 1920 * 1.80 / 500 / 343.2; math.Abs(s-want) > 1e-5 || sigma < 0.002 || sigma > 0.006 {
		t.Errorf("delay %.5f s, want %.5f; sigma %.4f", s, want, sigma)
	}
	_, unknown := Place{Stature: 500, LongSide: 1920}.delay(DefaultOptions())
	if unknown <= sigma {
		t.Errorf("an unknown height makes the way no less certain: %.4f, %.4f", unknown, sigma)
	}
	o := DefaultOptions()
	o.Distance = 34.32
	if s, _ := (Place{}).delay(o); math.Abs(s-0.1) > 1e-4 {
		t.Errorf("34.32 m take %.4f s", s)
	}
	c, ok := near(t, clip(swingtest.Silence, swingtest.Wood, 20, 1), o, 0.2)
	if !ok || math.Abs(c.Time-(hitTime-0.1)) > 0.002 || math.Abs(c.Delay-0.1) > 1e-4 {
		t.Errorf("corrected: %+v", c)
	}
}

func TestOptions(t *testing.T) {
	for _, change := range []func(o *Options){
		func(o *Options) { o.Distance = -1 },
		func(o *Options) { o.Distance = math.NaN() },
		func(o *Options) { o.Focal = 0 },
		func(o *Options) { o.Celsius = 100 },
		func(o *Options) { o.MaxRate = 0 },
	} {
		o := DefaultOptions()
		change(&o)
		_, err := Listen(swing.Sound{}, Place{}, o)
		var e *swing.Error
		if !errors.As(err, &e) || e.Kind != swing.KindUsage {
			t.Errorf("%+v: %v", o, err)
		}
	}
}

func ExampleSpeedOfSound() {
	fmt.Printf("%.1f m/s\n", SpeedOfSound(0))
	// Output: 331.3 m/s
}

func BenchmarkListen(b *testing.B) {
	s := clip(swingtest.Pink, swingtest.Wood, 10, 1)
	for b.Loop() {
		_, _ = Listen(s, Place{}, DefaultOptions())
	}
}
