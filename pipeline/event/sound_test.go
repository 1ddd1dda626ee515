package event_test

import (
	"math"
	"testing"

	"plantframe/pipeline/event"
	"plantframe/pipeline/sound"
	"plantframe/pipeline/swing"
	"plantframe/pipeline/swingtest"
	"plantframe/pipeline/track"
)

// filmed is a track of the default motion with contact at 1.8 s.
func filmed(t *testing.T, v swing.View) swing.Track {
	t.Helper()
	poses, steady, moves := swingtest.Camera{View: v, Noise: 0.0015, Seed: 6}.Film(swingtest.Default())
	tr, _, err := track.Build(poses, steady, moves, track.DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

func contactWith(t *testing.T, tr swing.Track, ev event.Evidence) swing.Event {
	t.Helper()
	sw, _, err := event.Detect(tr, ev, event.DefaultOptions())
	if err != nil || len(sw) != 1 {
		t.Fatalf("%d swings, %v", len(sw), err)
	}
	return sw[0].Events[swing.Contact]
}

// TestCracks: a rare crack near the hands' estimate is the hit; a far one, a
// common one, and one of two that could both be it are not.
func TestCracks(t *testing.T) {
	crack := func(at, rate float64) swing.Crack {
		return swing.Crack{Time: at, Sigma: 0.004, Level: 20, Rate: rate}
	}
	for _, v := range views() {
		tr := filmed(t, v)
		hands := contactWith(t, tr, event.Evidence{})
		for _, c := range []struct {
			name   string
			cracks []swing.Crack
			want   float64 // 0 = hands
		}{
			{"none", nil, 0},
			{"the hit", []swing.Crack{crack(1.793, 0.1)}, 1.793},
			{"the hit and others", []swing.Crack{crack(0.9, 0.3), crack(1.793, 0.1), crack(2.3, 0.3)}, 1.793},
			{"too early", []swing.Crack{crack(1.62, 0.1)}, 0},
			{"too late", []swing.Crack{crack(1.96, 0.1)}, 0},
			{"as common as talk", []swing.Crack{crack(1.8, 3)}, 0},
			{"two of a kind", []swing.Crack{crack(1.79, 0.1), crack(1.82, 0.1)}, 0},
			{"one far rarer than the other", []swing.Crack{crack(1.79, 0.05), crack(1.87, 4)}, 1.79},
		} {
			e := contactWith(t, tr, event.Evidence{Cracks: c.cracks})
			switch {
			case c.want == 0 && (e.Method != "hands" || e.Time != hands.Time):
				t.Errorf("%s, %s: %+v", v, c.name, e)
			case c.want != 0 && (e.Method != "sound" || e.Time != c.want || e.Sigma != 0.004):
				t.Errorf("%s, %s: %+v", v, c.name, e)
			}
		}
	}
}

// listen mixes a hit into an ambience and returns the cracks that are heard; h
// "" is no hit.
func listen(t *testing.T, a swingtest.Ambience, h swingtest.Hit, snr float64, seed uint64) []swing.Crack {
	t.Helper()
	const quiet = 0.05
	x := a.Samples(3.5, seed)
	for i := range x {
		x[i] *= quiet
	}
	o := sound.DefaultOptions()
	o.Distance = 5
	if h != "" {
		hit := h.Samples(seed)
		swingtest.AddAt(x, hit, 1.8+5/sound.SpeedOfSound(20), quiet*math.Pow(10, snr/20)/math.Sqrt(swingtest.Power(hit)))
	}
	c, err := sound.Listen(swing.Sound{Rate: swingtest.SoundRate, Samples: swingtest.Floats(x)}, sound.Place{}, o)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// TestNothingHeardWithoutAHit: speech, wind, music, footsteps, hiss and
// silence are not taken for a hit.
func TestNothingHeardWithoutAHit(t *testing.T) {
	side, rear := filmed(t, swing.OpenSide), filmed(t, swing.Rear)
	for _, a := range swingtest.Ambiences() {
		for seed := range uint64(4) {
			cracks := listen(t, a, "", 0, seed)
			for _, tr := range []swing.Track{side, rear} {
				if e := contactWith(t, tr, event.Evidence{Cracks: cracks}); e.Method != "hands" {
					t.Errorf("%s seed %d: %+v", a, seed, e)
				}
			}
		}
	}
}

// TestHitHeard: contact from the sound of the hit lies within 4 ms, down to
// five dB under the noise; where the noise is itself sharp it may be left to
// the hands, but a wrong time is never taken.
func TestHitHeard(t *testing.T) {
	tr := filmed(t, swing.OpenSide)
	for _, c := range []struct {
		a     swingtest.Ambience
		snr   float64
		least int // heard, of 6
	}{
		{swingtest.Silence, -5, 6},
		{swingtest.Wind, 0, 6},
		{swingtest.Wind, -5, 6},
		{swingtest.Hiss, 0, 6},
		{swingtest.Hiss, -5, 4},
		{swingtest.Pink, 5, 6},
		{swingtest.Pink, -5, 2},
		{swingtest.Speech, 15, 0},
		{swingtest.Babble, 10, 2},
		{swingtest.Music, 10, 1},
		{swingtest.Footsteps, 15, 0},
	} {
		n := 0
		for _, h := range swingtest.Hits() {
			for seed := range uint64(2) {
				e := contactWith(t, tr, event.Evidence{Cracks: listen(t, c.a, h, c.snr, seed)})
				if e.Method != "sound" {
					continue
				}
				n++
				if d := e.Time - 1.8; math.Abs(d) > 0.004 {
					t.Errorf("%s in %s at %g dB, seed %d: off by %+.1f ms", h, c.a, c.snr, seed, 1e3*d)
				}
			}
		}
		t.Logf("%s at %g dB: %d of 6", c.a, c.snr, n)
		if n < c.least {
			t.Errorf("%s at %g dB: heard %d of 6, want %d", c.a, c.snr, n, c.least)
		}
	}
}

// TestOtherHitters: cracks of others, half as loud, before and after.
func TestOtherHitters(t *testing.T) {
	tr := filmed(t, swing.OpenSide)
	n := 0
	for seed := range uint64(6) {
		for _, own := range []bool{false, true} {
			x := swingtest.Pink.Samples(3.5, seed)
			for i := range x {
				x[i] *= 0.01
			}
			for k, at := range []float64{0.4, 1.25, 2.35, 3.1} {
				swingtest.AddAt(x, swingtest.Wood.Samples(seed+uint64(k)), at+0.02*float64(seed), 0.25)
			}
			if own {
				swingtest.AddAt(x, swingtest.Wood.Samples(seed+9), 1.8+5/sound.SpeedOfSound(20), 0.6)
			}
			o := sound.DefaultOptions()
			o.Distance = 5
			c, err := sound.Listen(swing.Sound{Rate: swingtest.SoundRate, Samples: swingtest.Floats(x)}, sound.Place{}, o)
			if err != nil {
				t.Fatal(err)
			}
			e := contactWith(t, tr, event.Evidence{Cracks: c})
			switch {
			case !own && e.Method != "hands":
				t.Errorf("seed %d: another hitter's crack is taken: %+v", seed, e)
			case own && e.Method == "sound":
				n++
				if math.Abs(e.Time-1.8) > 0.004 {
					t.Errorf("seed %d: off by %+.1f ms", seed, 1e3*(e.Time-1.8))
				}
			}
		}
	}
	if n < 5 {
		t.Errorf("own hit among others heard %d times of 6", n)
	}
}
