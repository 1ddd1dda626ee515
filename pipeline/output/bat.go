package output

import (
	"fmt"
	"slices"

	"plantframe/pipeline/swing"
)

// cueWords names the signs of a bat in files, in the order of their bits.
func cueWords() []string { return []string{"network", "edges", "motion"} }

// bat converts the bat of a swing; nil when nobody looked for one. A bat that was
// looked for and seen nowhere is a list of nulls: it says so.
func (b *builder) bat(s *swing.Swing) *bat {
	p := &s.Bat
	if len(p.Sights) == 0 {
		return nil
	}
	o := &bat{}
	if len(p.Sights) != len(s.Track.Times) {
		b.fail("the bat has %d sights for %d times", len(p.Sights), len(s.Track.Times))
		return o
	}
	sigma := func(what string, v float64, d int) *float64 {
		if v < 0 {
			b.fail("%s is %v", what, v)
		}
		r := b.num(what, v, d)
		return &r
	}
	for i, at := range p.Sights {
		o.TimesS = append(o.TimesS, b.num("bat time", s.Track.Times[i], timeDecimals))
		if !at.Seen {
			o.Knob, o.Tip, o.Cues = append(o.Knob, nil), append(o.Tip, nil), append(o.Cues, nil)
			o.SigmaDeg, o.KnobSigma, o.TipSigma = append(o.SigmaDeg, nil), append(o.KnobSigma, nil), append(o.TipSigma, nil)
			continue
		}
		o.Knob = append(o.Knob, &pair{b.num("knob", at.Knob.X, pxDecimals), b.num("knob", at.Knob.Y, pxDecimals)})
		o.Tip = append(o.Tip, &pair{b.num("tip", at.Tip.X, pxDecimals), b.num("tip", at.Tip.Y, pxDecimals)})
		o.SigmaDeg = append(o.SigmaDeg, sigma("bat sigma", at.Sigma, angleDecimals))
		o.KnobSigma = append(o.KnobSigma, sigma("knob sigma", at.KnobSigma, pxDecimals))
		o.TipSigma = append(o.TipSigma, sigma("tip sigma", at.TipSigma, pxDecimals))
		o.Cues = append(o.Cues, cuesToWords(at.Cues))
	}
	if p.Length > 0 {
		o.Length = &batLength{
			Px:     b.num("bat length", p.Length, pxDecimals),
			Sigma:  *sigma("bat length sigma", p.LengthSigma, pxDecimals),
			Source: p.LengthSource,
		}
	}
	return o
}

func cuesToWords(c swing.BatCue) []string {
	out := []string{}
	for i, w := range cueWords() {
		if c&(1<<i) != 0 {
			out = append(out, w)
		}
	}
	return out
}

// read returns the bat's path for a track with n entries.
func (o *bat) read(n int) (swing.BatPath, error) {
	var p swing.BatPath
	if o == nil {
		return p, nil
	}
	for _, k := range []int{len(o.TimesS), len(o.Knob), len(o.Tip), len(o.SigmaDeg)} {
		if k != n {
			return p, fmt.Errorf("the bat has lists of %d entries for %d times", k, n)
		}
	}
	at := func(l []*float64, i int) float64 {
		if i >= len(l) || l[i] == nil {
			return 0
		}
		return *l[i]
	}
	for i := range n {
		var s swing.BatSight
		if k, t := o.Knob[i], o.Tip[i]; k != nil && t != nil && o.SigmaDeg[i] != nil {
			s = swing.BatSight{
				Seen: true, Knob: swing.Point{X: k[0], Y: k[1]}, Tip: swing.Point{X: t[0], Y: t[1]},
				Sigma: *o.SigmaDeg[i], KnobSigma: at(o.KnobSigma, i), TipSigma: at(o.TipSigma, i),
			}
			if i < len(o.Cues) {
				for _, w := range o.Cues[i] {
					if k := slices.Index(cueWords(), w); k >= 0 {
						s.Cues |= 1 << k
					}
				}
			}
		}
		p.Sights = append(p.Sights, s)
	}
	if o.Length != nil {
		p.Length, p.LengthSigma, p.LengthSource = o.Length.Px, o.Length.Sigma, o.Length.Source
	}
	return p, nil
}
