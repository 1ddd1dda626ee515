package ingest

import (
	"math"
	"testing"
)

// Anchor points of the standards: BT.2408 places diffuse white at 75 % HLG
// and 58 % PQ, both 203 cd/m2; ST 2084 gives 100 cd/m2 as 50.8 % and
// 1000 cd/m2 as 75.2 %.
func TestTransferAnchors(t *testing.T) {
	hlgLight := func(v float64) float64 { return peak * math.Pow(hlgScene(v), 1.2) } // grey
	for _, c := range []struct {
		name           string
		got, want, tol float64
	}{
		{"HLG 75 %", hlgLight(0.75), 203, 1},
		{"HLG 100 %", hlgLight(1), 1000, 1},
		{"HLG knee", hlgScene(0.5), 1.0 / 12, 1e-9},
		{"HLG knee from above", hlgScene(0.5 + 1e-9), 1.0 / 12, 1e-6},
		{"PQ 58 %", pqLight(0.58), 203, 2},
		{"PQ 50.8 %", pqLight(0.508), 100, 0.5},
		{"PQ 75.2 %", pqLight(0.7518), 1000, 1},
		{"PQ there and back", pqLight(pqSignal(321)), 321, 1e-6},
		{"roll-off keeps the dark", rollOff(20), 20, 1e-6},
		{"roll-off ends at white", rollOff(peak), white, 1e-6},
	} {
		if math.Abs(c.got-c.want) > c.tol {
			t.Errorf("%s: got %g, want %g", c.name, c.got, c.want)
		}
	}
	for l := 1.0; l < peak; l++ {
		if rollOff(l) <= rollOff(l-1) {
			t.Fatalf("roll-off does not rise at %g cd/m2", l)
		}
	}
}

// The table must agree with the formulas it is made from, everywhere.
func TestToneMapAgainstFormulas(t *testing.T) {
	for _, transfer := range []string{hlg, pq} {
		tm := newToneMap(transfer)
		for r := 0; r < 256; r += 15 {
			for g := 0; g < 256; g += 17 {
				for b := 0; b < 256; b += 15 {
					pix := []byte{byte(b), byte(g), byte(r)}
					tm.apply(pix)
					want := exactTone(transfer, float64(r)/255, float64(g)/255, float64(b)/255)
					// Half an input level is lost. A level of PQ is up to 4 %
					// of the light, and two channels decide the result.
					light := func(v float64) float64 { return math.Pow(v/255, screenGamma) }
					tol := 0.08*light(max(want[0], want[1], want[2])) + 0.001
					for c := range 3 {
						if d := math.Abs(light(float64(pix[c])) - light(want[c])); d > tol {
							t.Fatalf("%s (%d %d %d) channel %d: got %d, want %.1f", transfer, r, g, b, c, pix[c], want[c])
						}
					}
				}
			}
		}
	}
}

// exactTone evaluates the formulas for one colour, blue first.
func exactTone(transfer string, r, g, b float64) [3]float64 {
	if transfer == pq {
		r, g, b = pqLight(r), pqLight(g), pqLight(b)
	} else {
		r, g, b = hlgScene(r), hlgScene(g), hlgScene(b)
		k := peak * math.Pow(luma2020(r, g, b), 0.2)
		r, g, b = k*r, k*g, k*b
	}
	if top := max(r, g, b); top > 0 {
		k := rollOff(top) / top / white
		r, g, b = r*k, g*k, b*k
	}
	r, g, b = to709(r, g, b)
	code := func(v float64) float64 { return 255 * math.Pow(v, 1/screenGamma) }
	return [3]float64{code(b), code(g), code(r)}
}

// A grey stays grey and gets brighter with the signal; white is bright.
func TestToneMapGrey(t *testing.T) {
	for _, transfer := range []string{hlg, pq} {
		tm := newToneMap(transfer)
		last := -1
		for v := range 256 {
			pix := []byte{byte(v), byte(v), byte(v)}
			tm.apply(pix)
			lo, hi := min(pix[0], pix[1], pix[2]), max(pix[0], pix[1], pix[2])
			if hi-lo > 1 {
				t.Fatalf("%s grey %d becomes %v", transfer, v, pix)
			}
			if int(pix[1]) < last {
				t.Fatalf("%s grey %d is darker than the one before", transfer, v)
			}
			last = int(pix[1])
		}
		if last < 250 {
			t.Errorf("%s: white becomes %d", transfer, last)
		}
	}
}

func BenchmarkToneMap(b *testing.B) {
	b.Run("build", func(b *testing.B) {
		for range b.N {
			newToneMap(hlg)
		}
	})
	b.Run("1080p", func(b *testing.B) {
		tm := newToneMap(hlg)
		pix := make([]byte, 3*1920*1080)
		for i := range pix {
			pix[i] = byte(i / 977)
		}
		b.SetBytes(int64(len(pix)))
		for range b.N {
			tm.apply(pix)
		}
	})
}
