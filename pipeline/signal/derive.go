package signal

// Derivative returns dx/dt at every sample: the slope of the parabola through
// the sample and its two neighbours, whatever their spacing (exact for
// parabolas); at the ends the slope of the first and last parabola there.
// Fewer than three samples give the slope of the line, or 0.
func Derivative(times, x []float64) []float64 {
	n := len(x)
	d := make([]float64, n)
	switch {
	case n < 2:
		return d
	case n == 2:
		d[0] = (x[1] - x[0]) / (times[1] - times[0])
		d[1] = d[0]
		return d
	}
	for i := 1; i < n-1; i++ {
		a, b := times[i]-times[i-1], times[i+1]-times[i]
		l, r := (x[i]-x[i-1])/a, (x[i+1]-x[i])/b
		d[i] = (l*b + r*a) / (a + b)
		if i == 1 {
			d[0] = 2*l - d[1]
		}
		if i == n-2 {
			d[n-1] = 2*r - d[i]
		}
	}
	return d
}

// Peak refines a largest sample x[i] to the top of the parabola through it
// and its two neighbours (true spacing). It returns the time and value; the
// sample itself at the ends or where the three points do not bend downward.
func Peak(times, x []float64, i int) (t, v float64) {
	if i <= 0 || i >= len(x)-1 {
		return times[i], x[i]
	}
	a, b := times[i]-times[i-1], times[i+1]-times[i]
	l, r := (x[i]-x[i-1])/a, (x[i+1]-x[i])/b
	c := (r - l) / (a + b) // half the second derivative
	if c >= 0 {
		return times[i], x[i]
	}
	s := (l*b + r*a) / (a + b) // slope at i
	u := -s / (2 * c)
	u = max(-a, min(b, u))
	return times[i] + u, x[i] + u*(s+u*c)
}

// Crossing returns the time between samples i-1 and i at which the straight
// line through both reaches level.
func Crossing(times, x []float64, i int, level float64) float64 {
	d := x[i] - x[i-1]
	if d == 0 {
		return times[i]
	}
	f := max(0, min(1, (level-x[i-1])/d))
	return times[i-1] + f*(times[i]-times[i-1])
}
