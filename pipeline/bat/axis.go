package bat

import (
	"math"

	"plantframe/pipeline/swing"
)

// Axis is where the free part of the bat runs by its own two edges. The hands
// hide the knob, so the network can only guess from them where the bat goes
// through; the barrel itself is in sight.
type Axis struct {
	Turn     float64 `json:"turn_deg"` // from the line knob-tip, about the tip; + = clockwise in the picture
	Shift    float64 `json:"shift_px"` // of the tip across the line, px; + = to the right of knob-tip
	Strength float64 `json:"strength"` // 0..1: how clearly both edges stand out along it
	Sigma    float64 `json:"sigma_deg"`
}

const (
	// axisRows is the number of places along the bat, between axisFrom and
	// axisTo of its length from the knob: beyond the hands, before the round
	// end.
	axisRows         = 28
	axisFrom, axisTo = 0.38, 0.96
	// axisTurn is how far the axis may be turned from the first line,
	// degrees: 0.15 torso of doubt about the knob on a bat of 0.7 torso.
	axisTurn, axisTurnStep = 13.0, 0.5
	// axisShift is how far the tip may be off, torsos.
	axisShift = 0.03
	// edgeFull is the step of brightness, grey levels of one colour, from
	// which an edge counts in full: a low-contrast bat before a wall.
	edgeFull = 28.0
	// profileStep is the spacing of samples across the bat, px.
	profileStep = 0.5
)

// widths are the widths of a bat that are tried, in those of common practice
// at the hitter's distance: thin wood to a barrel that points at the camera.
func widths() [5]float64 { return [5]float64{0.7, 0.9, 1.1, 1.4, 1.8} }

// axis searches the bat's own edges round the line k-t. torso in px.
func axis(f swing.Frame, k, t swing.Point, torso float64) Axis {
	d := t.Sub(k)
	n := d.Norm()
	if n < 0.35*torso {
		return Axis{}
	}
	u := d.Scale(1 / n)
	side := swing.Point{X: -u.Y, Y: u.X}
	maxTan := math.Tan(axisTurn * math.Pi / 180)
	reach := n*(1-axisFrom)*maxTan + axisShift*torso + 2*barrelRadius*torso + 3
	half := int(math.Ceil(reach / profileStep))
	var rows [axisRows]row
	for i := range rows {
		q := axisFrom + (axisTo-axisFrom)*(float64(i)+0.5)/axisRows
		rows[i] = newRow(f, k.Add(d.Scale(q)), side, half)
		rows[i].back = n * (1 - q)
		rows[i].radius = torso * (handleRadius + (barrelRadius-handleRadius)*math.Min(1, math.Max(0, (q-0.35)/0.35)))
	}
	turns := int(axisTurn / axisTurnStep)
	var best Axis
	scores := make([]float64, 2*turns+1)
	for _, width := range widths() {
		for s := -2; s <= 2; s++ {
			shift := float64(s) / 2 * axisShift * torso
			for a := -turns; a <= turns; a++ {
				turn := float64(a) * axisTurnStep
				v := strength(&rows, width, shift, turn)
				scores[a+turns] = math.Max(scores[a+turns], v)
				if v > best.Strength {
					best = Axis{Turn: turn, Shift: shift, Strength: v}
				}
			}
		}
	}
	best.place(scores, turns)
	return best
}

// place moves the turn between steps and takes its error from how fast the
// strength falls on both sides of the best turn.
func (x *Axis) place(scores []float64, turns int) {
	i := int(math.Round(x.Turn/axisTurnStep)) + turns
	if i <= 0 || i >= len(scores)-1 {
		x.Strength = 0 // at the border: not an axis of its own
		return
	}
	a, b, c := scores[i-1], scores[i], scores[i+1]
	if curve := a - 2*b + c; curve < 0 {
		x.Turn += axisTurnStep * math.Max(-0.5, math.Min(0.5, (a-c)/(2*curve)))
	}
	// All turns nearly as good could be it.
	lo, hi := i, i
	for lo > 0 && scores[lo-1] > 0.9*b {
		lo--
	}
	for hi < len(scores)-1 && scores[hi+1] > 0.9*b {
		hi++
	}
	x.Sigma = math.Max(0.4, float64(hi-lo)*axisTurnStep/math.Sqrt(12))
}

// row is the picture across the bat at one place.
type row struct {
	edges  []float64 // step of brightness, grey levels, at offsets of profileStep
	half   int       // index of offset 0
	back   float64   // distance from the tip, px
	radius float64   // of a common bat here, px
}

// newRow samples the line through c along side.
func newRow(f swing.Frame, c, side swing.Point, half int) row {
	r := row{edges: make([]float64, 2*half+1), half: half}
	const gap = 2 // samples on either side: a step over 2 px
	px := make([][3]float64, 2*half+1+2*gap)
	for i := range px {
		px[i] = pixelAt(f, c.Add(side.Scale(float64(i-half-gap)*profileStep)))
	}
	for i := range r.edges {
		a, b := px[i], px[i+2*gap]
		for k := range a {
			r.edges[i] = math.Max(r.edges[i], math.Abs(a[k]-b[k]))
		}
	}
	return r
}

// strength is the mean over the rows of the weaker edge, capped, for a bat
// turned and shifted so.
func strength(rows *[axisRows]row, width, shift, turn float64) float64 {
	tan := math.Tan(turn * math.Pi / 180)
	sum := 0.0
	for i := range rows {
		r := &rows[i]
		// Turned clockwise about the tip, places toward the knob move to
		// the left of the line knob-tip.
		o := shift - tan*r.back
		a, b := r.at(o-width*r.radius), r.at(o+width*r.radius)
		sum += math.Min(edgeFull, math.Min(a, b))
	}
	return sum / (axisRows * edgeFull)
}

func (r *row) at(off float64) float64 {
	i := r.half + int(math.Round(off/profileStep))
	if i < 0 || i >= len(r.edges) {
		return 0
	}
	return r.edges[i]
}

// pixelAt is the picture at p by bilinear interpolation, black outside.
func pixelAt(f swing.Frame, p swing.Point) [3]float64 {
	x, y := p.X-0.5, p.Y-0.5
	ix, iy := int(math.Floor(x)), int(math.Floor(y))
	if ix < 0 || iy < 0 || ix >= f.Width-1 || iy >= f.Height-1 {
		return [3]float64{}
	}
	wx, wy := x-float64(ix), y-float64(iy)
	o := 3 * (iy*f.Width + ix)
	q := f.Pix[o:]
	s := f.Pix[o+3*f.Width:]
	var out [3]float64
	for k := range out {
		out[k] = (1-wy)*((1-wx)*float64(q[k])+wx*float64(q[k+3])) + wy*((1-wx)*float64(s[k])+wx*float64(s[k+3]))
	}
	return out
}

// along returns the line k-t moved onto the axis: about the tip, which keeps
// its place along it.
func (x Axis) along(k, t swing.Point) (swing.Point, swing.Point) {
	d := t.Sub(k)
	n := d.Norm()
	if n == 0 {
		return k, t
	}
	u := d.Scale(1 / n)
	side := swing.Point{X: -u.Y, Y: u.X}
	sin, cos := math.Sincos(x.Turn * math.Pi / 180)
	tip := t.Add(side.Scale(x.Shift))
	// Turned clockwise: the direction gains of side, which is clockwise from u.
	dir := u.Scale(cos).Add(side.Scale(sin))
	return tip.Sub(dir.Scale(n * cos)), tip
}
