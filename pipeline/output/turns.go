package output

import (
	"fmt"

	"plantframe/pipeline/swing"
)

// turnFields names the angles of a path in files; the others stay inside.
func turnFields(o *turns) map[swing.Turn]*[]swing.Quantiles {
	return map[swing.Turn]*[]swing.Quantiles{
		swing.ShoulderTurn: &o.Shoulder, swing.HipTurn: &o.Hip, swing.Separation: &o.Separation,
		swing.ShoulderTurnSinceStance: &o.SinceStance,
	}
}

// turns converts the turns of a swing; nil when nothing was lifted out of the picture.
func (b *builder) turns(p *swing.TurnPath) *turns {
	if !p.Known() {
		return nil
	}
	o := &turns{}
	for _, t := range p.Times {
		o.TimesS = append(o.TimesS, b.num("turn time", t, timeDecimals))
	}
	for a, list := range turnFields(o) {
		if a == swing.ShoulderTurnSinceStance && !p.Stance {
			continue
		}
		if len(p.Angles[a]) != len(p.Times) {
			b.fail("the turns have %d entries for %d times", len(p.Angles[a]), len(p.Times))
			return o
		}
		for _, q := range p.Angles[a] {
			for k := range q {
				q[k] = b.num("turn", q[k], angleDecimals)
			}
			*list = append(*list, q)
		}
	}
	return o
}

// read returns the path; angles that are not in files are missing in it.
func (o *turns) read() (swing.TurnPath, error) {
	var p swing.TurnPath
	if o == nil {
		return p, nil
	}
	p.Times, p.Stance = o.TimesS, len(o.SinceStance) > 0
	for a, list := range turnFields(o) {
		if n := len(*list); n != len(p.Times) && (n > 0 || a != swing.ShoulderTurnSinceStance) {
			return p, fmt.Errorf("the turns have %d entries for %d times", n, len(p.Times))
		}
		p.Angles[a] = *list
	}
	return p, nil
}
