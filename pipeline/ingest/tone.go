package ingest

import "math"

// isHDR tells whether a transfer characteristic is one of the two of
// ITU-R BT.2100.
func isHDR(transfer string) bool { return transfer == hlg || transfer == pq }

// ffmpeg's names of the BT.2100 transfer characteristics.
const (
	hlg = "arib-std-b67" // hybrid log-gamma, what phones record
	pq  = "smpte2084"    // perceptual quantiser
)

// toneMap brings pictures of high dynamic range in BT.2020 colours to an
// ordinary screen's BT.709 by one look-up per pixel. Doing this with ffmpeg's
// float filters costs many times the decoding itself.
type toneMap struct{ table []uint32 } // 0x00RRGGBB by the top bits of r, g, b

const (
	// toneBits of each colour index the table: 2M entries, 8 MB, and an
	// error of half a level of 255.
	toneBits = 7
	toneSide = 1 << toneBits

	// peak is the brightest light the maps keep apart, cd/m2: the nominal
	// display of HLG (BT.2100) and the usual master of PQ.
	peak = 1000.0
	// white is the light of a white sheet of paper in HDR pictures and the
	// brightest of the mapped ones, cd/m2 (ITU-R BT.2408).
	white = 203.0
	// hlgGamma is the optical-optical transfer of HLG at 1000 cd/m2 (BT.2100).
	hlgGamma = 1.2
	// screenGamma is the transfer of an ordinary screen (ITU-R BT.1886).
	screenGamma = 2.4
)

// newToneMap computes the table for a transfer characteristic.
func newToneMap(transfer string) *toneMap {
	// Light of one channel for each index; the index stands for the middle
	// of the levels it collects.
	var light [toneSide]float64
	for i := range light {
		v := (float64(i<<(8-toneBits)) + float64(int(1)<<(8-toneBits)-1)/2) / 255
		if transfer == pq {
			light[i] = pqLight(v)
		} else {
			light[i] = hlgScene(v)
		}
	}
	// Functions of one number are read from finely stepped tables: two
	// million powers would take half a second.
	lift := tabulate(1<<16, func(y float64) float64 { return peak * math.Pow(y, hlgGamma-1) })
	roll := tabulate(1<<14, func(l float64) float64 {
		if l == 0 {
			return 1 / white
		}
		return rollOff(peak*l) / (peak * l) / white
	})
	code := tabulate(1<<16, func(l float64) float64 { return 255*math.Pow(l, 1/screenGamma) + 0.5 })
	t := &toneMap{table: make([]uint32, toneSide*toneSide*toneSide)}
	i := 0
	for _, r0 := range light {
		for _, g0 := range light {
			for _, b0 := range light {
				r, g, b := r0, g0, b0
				if transfer != pq {
					k := lift.at(luma2020(r, g, b))
					r, g, b = k*r, k*g, k*b
				}
				k := roll.at(max(r, g, b) / peak)
				r, g, b = to709(r*k, g*k, b*k)
				t.table[i] = uint32(code.at(r))<<16 | uint32(code.at(g))<<8 | uint32(code.at(b))
				i++
			}
		}
	}
	return t
}

// apply maps a picture of blue, green, red bytes in place.
func (t *toneMap) apply(pix []byte) {
	const drop = 8 - toneBits
	for i := 0; i+2 < len(pix); i += 3 {
		p := pix[i : i+3 : i+3]
		v := t.table[int(p[2]>>drop)<<(2*toneBits)|int(p[1]>>drop)<<toneBits|int(p[0]>>drop)]
		p[0], p[1], p[2] = byte(v), byte(v>>8), byte(v>>16)
	}
}

// hlgScene returns the light in the scene, 0..1, of a hybrid log-gamma signal
// 0..1 (BT.2100 table 5, inverse OETF).
func hlgScene(v float64) float64 {
	const (
		a = 0.17883277
		b = 1 - 4*a
	)
	c := 0.5 - a*math.Log(4*a)
	if v <= 0.5 {
		return v * v / 3
	}
	return (math.Exp((v-c)/a) + b) / 12
}

// luma2020 is the luminance of BT.2020 light (BT.2100 table 5).
func luma2020(r, g, b float64) float64 { return 0.2627*r + 0.6780*g + 0.0593*b }

// pqLight returns the light on the display, cd/m2, of a perceptual quantiser
// signal 0..1 (BT.2100 table 4, EOTF), at most peak.
func pqLight(v float64) float64 {
	p := math.Pow(v, 1/pqM2)
	return min(peak, 10000*math.Pow(max(p-pqC1, 0)/(pqC2-pqC3*p), 1/pqM1))
}

// pqSignal undoes pqLight.
func pqSignal(light float64) float64 {
	y := math.Pow(light/10000, pqM1)
	return math.Pow((pqC1+pqC2*y)/(1+pqC3*y), pqM2)
}

// Constants of the perceptual quantiser (SMPTE ST 2084, BT.2100 table 4).
const (
	pqM1 = 2610.0 / 16384
	pqM2 = 2523.0 / 4096 * 128
	pqC1 = 3424.0 / 4096
	pqC2 = 2413.0 / 4096 * 32
	pqC3 = 2392.0 / 4096 * 32
)

// rollOff brings light 0..peak to 0..white: unchanged when dark, then bending
// along a Hermite spline in perceptual steps (ITU-R BT.2390, the EETF).
func rollOff(light float64) float64 {
	top := pqSignal(peak)
	most := pqSignal(white) / top
	knee := 1.5*most - 0.5
	e := pqSignal(light) / top
	if e > knee {
		t := (e - knee) / (1 - knee)
		t2, t3 := t*t, t*t*t
		e = (2*t3-3*t2+1)*knee + (t3-2*t2+t)*(1-knee) + (3*t2-2*t3)*most
	}
	return pqLight(e * top)
}

// to709 changes the primaries from BT.2020 to BT.709 (ITU-R BT.2407) and
// clips what the smaller range of colours cannot show.
func to709(r, g, b float64) (float64, float64, float64) {
	return clip(1.6605*r - 0.5876*g - 0.0728*b),
		clip(-0.1246*r + 1.1329*g - 0.0083*b),
		clip(-0.0182*r - 0.1006*g + 1.1187*b)
}

func clip(v float64) float64 { return min(1, max(0, v)) }

// curve is a function of a number 0..1, tabulated in equal steps.
type curve []float64

func tabulate(steps int, f func(float64) float64) curve {
	c := make(curve, steps+1)
	for i := range c {
		c[i] = f(float64(i) / float64(steps))
	}
	return c
}

// at returns the value at the nearest step to x in 0..1.
func (c curve) at(x float64) float64 {
	return c[min(len(c)-1, int(x*float64(len(c)-1)+0.5))]
}
