package main

import (
	"math"
	"slices"
	"strings"
)

// turnIDs are the measures of turns, in the order of the table.
var turnIDs = []string{"shoulder_turn", "shoulder_turn_since_stance", "hip_turn", "separation", "separation_peak"}

func isTurn(id string) bool {
	return slices.Contains(turnIDs, id) || id == "separation_peak_time"
}

// turnOf is the turn of the line of two points about the vertical, deg: 0 = along the
// pitch line, + = opened to the pitcher.
func (t *truth) turnOf(point string, s float64) float64 {
	v := t.at("lead", point, s).sub(t.at("rear", point, s)) // y to the plate
	return degrees(math.Atan2(-v[1], v[0]))
}

func (t *truth) separation(s float64) float64 {
	return math.Remainder(t.turnOf("shoulder", s)-t.turnOf("hip", s), 360)
}

// turnValue returns the true value of a measure of turns.
func (b body) turnValue(id, event string) (float64, bool) {
	s := b.events[event]
	switch id {
	case "shoulder_turn":
		return b.turnOf("shoulder", s), true
	case "hip_turn":
		return b.turnOf("hip", s), true
	case "separation":
		return b.separation(s), true
	case "shoulder_turn_since_stance":
		return math.Remainder(b.turnOf("shoulder", s)-b.turnOf("shoulder", b.events["stance"]), 360), true
	}
	// The peak: the same stretch of time as in the measure.
	plant := b.events["plant"]
	at, low := 0.0, math.Inf(1)
	for x := b.events["load"]; x <= (plant+b.events["contact"])/2; x += fine {
		if v := b.separation(x); v < low {
			at, low = x, v
		}
	}
	if id == "separation_peak_time" {
		return 1000 * (at - plant), !math.IsInf(low, 0)
	}
	return low, !math.IsInf(low, 0)
}

// TurnScore pools one turn at one event over the clips of one view.
type TurnScore struct {
	ID     string  `json:"id"`
	Event  string  `json:"event"`
	View   string  `json:"view"`
	N      int     `json:"n"`
	Absent int     `json:"not_measurable"`
	Spread float64 `json:"truth_spread"`
	Bias   float64 `json:"bias"`
	Median float64 `json:"median_abs"`
	RMSE   float64 `json:"rmse"`
	Sigma  float64 `json:"median_sigma"`
	In68   float64 `json:"within_68"`
	In90   float64 `json:"within_90"`
	// Width is the root mean square error of the plain geometry of widths, with
	// the true sign: what the lifting has to beat.
	Width float64 `json:"width_rmse"`
}

// CoilScore says how well words for turns are right in one view.
type CoilScore struct {
	View      string  `json:"view"`
	Signs     int     `json:"turned_clear"` // |true turn| > 15 deg, shoulders at plant
	SignRight float64 `json:"sign_right"`
	Coils     int     `json:"coils"` // none or clear at plant
	AUC       float64 `json:"auc_none_or_clear"`
}

const within90 = 1.645 // standard deviations

// widthTurn is the turn of a line by its apparent width against its widest, and the
// true sign where the picture does not show it (open-side). The oldest way.
func widthTurn(s *analysedSwing, t *truth, point string, at, truth float64) (float64, bool) {
	index := func(role string) int { return slices.Index(s.Track.Names, t.side(role, point)) }
	lead, rear := index("lead"), index("rear")
	best, now := math.Inf(1), 0.0
	var all []float64
	for i, row := range s.Track.Points {
		a, b := row[lead], row[rear]
		if len(a) < 2 || len(b) < 2 || a[0] == nil || b[0] == nil {
			continue
		}
		dx, dy := *a[0]-*b[0], *a[1]-*b[1]
		if t.Bats == "L" {
			dx = -dx
		}
		all = append(all, math.Hypot(dx, dy))
		if d := math.Abs(s.Track.Times[i] - at); d < best {
			best, now = d, dx
		}
	}
	if len(all) < 5 || best > 0.05 {
		return 0, false
	}
	c := max(-1, min(1, now/quantile(all, 0.95)))
	if t.View == "rear" {
		return degrees(math.Asin(-c)), true
	}
	return math.Copysign(degrees(math.Acos(c)), truth), true
}

// plainTurns returns the errors of widthTurn by measure and event.
func plainTurns(s *analysedSwing, b body) map[string]float64 {
	out := map[string]float64{}
	for _, e := range []string{"stance", "load", "touch", "plant"} {
		at, ok := b.events[e]
		if !ok {
			continue
		}
		var err [2]float64
		both := true
		for i, p := range []string{"shoulder", "hip"} {
			want := b.turnOf(p, at)
			got, ok := widthTurn(s, b.truth, p, at, want)
			both = both && ok
			if err[i] = got - want; ok {
				out[p+"_turn "+e] = err[i]
			}
		}
		if both {
			out["separation "+e] = err[0] - err[1]
		}
	}
	return out
}

// poolTurns fills the scores of turns.
func (r *Report) poolTurns() {
	for _, view := range []string{"open", "rear"} {
		for _, id := range turnIDs {
			for _, e := range []string{"stance", "load", "touch", "plant", ""} {
				if s, ok := r.turnScore(id, e, view); ok {
					r.Turns = append(r.Turns, s)
				}
			}
		}
		r.Coil = append(r.Coil, r.coilScore(view))
	}
}

func (r *Report) coilScore(view string) CoilScore {
	s := CoilScore{View: view}
	right := 0
	var clear, none []float64
	for _, c := range r.Clips {
		if c.view != view {
			continue
		}
		for _, w := range c.rows {
			switch {
			case w.event != "plant":
			case w.id == "shoulder_turn" && math.Abs(w.truth) > 15:
				s.Signs++
				if w.value*w.truth > 0 {
					right++
				}
			case w.id == "separation" && w.truth < -20:
				clear = append(clear, w.value)
			case w.id == "separation" && w.truth > -10:
				none = append(none, w.value)
			}
		}
	}
	s.SignRight, s.Coils, s.AUC = float64(right)/float64(max(1, s.Signs)), len(clear)+len(none), auc(none, clear)
	return s
}

// auc is the chance that one of the first is larger than one of the second (Mann and
// Whitney 1947).
func auc(larger, smaller []float64) float64 {
	if len(larger) == 0 || len(smaller) == 0 {
		return math.NaN()
	}
	n := 0.0
	for _, a := range larger {
		for _, b := range smaller {
			switch {
			case a > b:
				n++
			case a == b:
				n += 0.5
			}
		}
	}
	return n / float64(len(larger)*len(smaller))
}

func (r *Report) turnScore(id, event, view string) (TurnScore, bool) {
	s := TurnScore{ID: id, Event: event, View: view}
	var truth, errs, sigmas, z, width []float64
	for _, c := range r.Clips {
		if c.view != view {
			continue
		}
		if slices.Contains(c.absent, id+" "+event) {
			s.Absent++
		}
		if e, ok := c.plain[strings.TrimSpace(id+" "+event)]; ok {
			width = append(width, e)
		}
		for _, w := range c.rows {
			if w.id == id && w.event == event {
				truth, errs, sigmas = append(truth, w.truth), append(errs, w.value-w.truth), append(sigmas, w.sigma)
				z = append(z, math.Abs(w.value-w.truth)/w.sigma)
			}
		}
	}
	if s.N = len(errs); s.N == 0 {
		return s, s.Absent > 0
	}
	m := mean(truth)
	var spread []float64
	for _, v := range truth {
		spread = append(spread, v-m)
	}
	s.Spread, s.Bias, s.Median, s.RMSE = rms(spread), mean(errs), median(absolute(errs)), rms(errs)
	s.Sigma, s.Width = median(sigmas), rms(width)
	s.In68 = share(z, func(v float64) bool { return v <= 1 })
	s.In90 = share(z, func(v float64) bool { return v <= within90 })
	return s, true
}

// rms returns the root mean square; of nothing not a number.
func rms(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(x)))
}

// writeTurns prints the scores of turns.
func writeTurns(line func(string, ...any), r *Report) {
	line("")
	line("turn, deg\tevent\tview\tn\tnot given\ttruth spread\tbias\tmedian |error|\trms error\tmedian sigma\tin 68 %%\tin 90 %%\trms by widths")
	for _, s := range r.Turns {
		line("%s\t%s\t%s\t%d\t%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s", s.ID, s.Event, s.View, s.N, s.Absent, num(s.Spread, 1), num(s.Bias, 1), num(s.Median, 1),
			num(s.RMSE, 1), num(s.Sigma, 1), num(s.In68, 2), num(s.In90, 2), num(s.Width, 1))
	}
	for _, c := range r.Coil {
		line("%s: sign of the shoulder turn at plant, where it is more than 15 deg, right in %s of %d; coil none or clear: AUC %s of %d",
			c.View, num(c.SignRight, 2), c.Signs, num(c.AUC, 2), c.Coils)
	}
}
