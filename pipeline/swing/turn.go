package swing

import "math"

// Turn numbers an angle that the picture itself does not show: turns about the
// vertical, and bends in space. Degrees. Turns are 0 = along the line
// plate-pitcher, + = opened toward the pitcher, - = turned in; Separation is
// shoulders less hips, negative = coil; bends are 0 = straight.
type Turn int

// Turns.
const (
	ShoulderTurn            Turn = iota // of the shoulder line
	HipTurn                             // of the hip line
	Separation                          // ShoulderTurn - HipTurn
	ShoulderTurnCamera                  // of the shoulder line against the picture's right, 0 = parallel to the picture
	HipTurnCamera                       // the same of the hip line
	ShoulderTurnSinceStance             // change of ShoulderTurn since stance; needs no camera yaw
	HipTurnSinceStance
	SeparationSinceStance
	CameraYaw // camera off its place, seen from above counter-clockwise +; the same at all times
	LeadElbowFlexion
	RearElbowFlexion
	LeadKneeFlexion
	RearKneeFlexion

	// NumTurns counts the angles of a TurnPath.
	NumTurns = int(RearKneeFlexion) + 1
)

// Quantiles are the 5, 16, 50, 84 and 95 % quantiles of an angle, degrees,
// rising.
type Quantiles [5]float64

// Median returns the middle.
func (q Quantiles) Median() float64 { return q[2] }

// Sigma returns the one-sigma error: half the 68 % interval, or what the 90 %
// interval stands for in a normal distribution if that is more.
func (q Quantiles) Sigma() float64 { return math.Max((q[3]-q[1])/2, (q[4]-q[0])/(2*1.645)) }

// TurnPath is how the body turned in space around plant.
type TurnPath struct {
	Times []float64 `json:"times_s"` // s, rising; evenly spaced, not the frames' times
	// Angles holds, for each Turn, one entry per entry of Times.
	Angles [NumTurns][]Quantiles `json:"angles_deg"`
	// Stance says that the change since stance is known: stance lies in Times.
	Stance bool `json:"stance"`
}

// Known reports whether there is a path.
func (p *TurnPath) Known() bool { return len(p.Times) > 1 }

// At returns the quantiles of an angle at time t, linearly between the times;
// false outside of them, and for an angle that is not there.
func (p *TurnPath) At(a Turn, t float64) (Quantiles, bool) {
	n := len(p.Times)
	if !p.Known() || len(p.Angles[a]) != n || !(t >= p.Times[0] && t <= p.Times[n-1]) {
		return Quantiles{}, false
	}
	f := (t - p.Times[0]) / (p.Times[n-1] - p.Times[0]) * float64(n-1)
	i := min(int(f), n-2)
	f -= float64(i)
	var q Quantiles
	for k := range q {
		q[k] = (1-f)*p.Angles[a][i][k] + f*p.Angles[a][i+1][k]
	}
	return q, true
}

// Chance is a word for an angle with its probability, 0..1.
type Chance struct {
	Word string  `json:"word"`
	P    float64 `json:"p"`
}

// Where words for angles begin, degrees. Common practice, no source: less than
// 10 is not told apart by eye, and 20 is what coaches call a clear coil.
const (
	levelTurn = 10
	someCoil  = 10
	clearCoil = 20
)

// Facing puts a turn of shoulders or hips into words: "closed" (turned in by
// more than 10 degrees), "level" or "open", all three by falling probability
// for a value with a normal error sigma, degrees.
func Facing(value, sigma float64) [3]Chance {
	return inWords(value, sigma, -levelTurn, levelTurn, [3]string{"closed", "level", "open"})
}

// Coil puts a separation (negative = coil) into words: "clear" (more than 20
// degrees), "some" or "none" (less than 10), all three by falling probability.
func Coil(separation, sigma float64) [3]Chance {
	return inWords(separation, sigma, -clearCoil, -someCoil, [3]string{"clear", "some", "none"})
}

// InWords says a measure in words with probabilities, rounded to hundredths: Facing for
// shoulder_turn and hip_turn, Coil for separation and separation_peak, nothing for
// others.
func InWords(id string, value, sigma float64) []Chance {
	var c [3]Chance
	switch id {
	case "shoulder_turn", "hip_turn":
		c = Facing(value, sigma)
	case "separation", "separation_peak":
		c = Coil(value, sigma)
	default:
		return nil
	}
	for i := range c {
		c[i].P = math.Round(100*c[i].P) / 100
	}
	return c[:]
}

// inWords cuts a normal distribution at lo and hi.
func inWords(value, sigma, lo, hi float64, words [3]string) [3]Chance {
	below := func(x float64) float64 { return 0.5 * math.Erfc((value-x)/(math.Max(sigma, 1e-9)*math.Sqrt2)) }
	c := [3]Chance{{words[0], below(lo)}, {words[1], below(hi) - below(lo)}, {words[2], 1 - below(hi)}}
	for i := range c { // three entries: the simplest sort keeps equal ones in order
		for k := i; k > 0 && c[k].P > c[k-1].P; k-- {
			c[k], c[k-1] = c[k-1], c[k]
		}
	}
	return c
}
