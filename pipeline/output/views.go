package output

import (
	"fmt"

	"plantframe/pipeline/swing"
)

// twoViews is what a clip and one from the other side show together.
type twoViews struct {
	Partner  swing.ViewRef   `json:"partner"`
	OffsetS  float64         `json:"offset_s"`
	SigmaS   float64         `json:"sigma_s"`
	Alike    float64         `json:"alike"`
	Events   events          `json:"events"`
	Cameras  [2]viewCamera   `json:"cameras"`
	Body     spaceBody       `json:"body"`
	Turns    *turns          `json:"turns"`
	Measures []swing.Measure `json:"measures"`
}

type viewCamera struct {
	YawDeg      float64 `json:"yaw_deg"`
	YawSigmaDeg float64 `json:"yaw_sigma_deg"`
	TiltDeg     float64 `json:"tilt_deg"`
	Distance    float64 `json:"distance_stature"`
}

type spaceBody struct {
	Names  []string    `json:"names"`
	TimesS []float64   `json:"times_s"`
	Points [][]*triple `json:"points"` // x, y, z; nil = not known
}

// twoViews converts what two views show; nil when there is no second one.
func (b *builder) twoViews(v *swing.TwoViews) *twoViews {
	if v == nil {
		return nil
	}
	o := &twoViews{
		Partner: v.Partner, OffsetS: b.num("offset", v.Offset, timeDecimals), SigmaS: max(b.num("offset sigma", v.OffsetSigma, timeDecimals), 1e-6),
		Alike: b.num("likeness", v.Alike, scoreDecimals), Events: events{}, Measures: []swing.Measure{},
		Body:  spaceBody{Names: swing.SpaceNames(), TimesS: []float64{}, Points: [][]*triple{}},
		Turns: b.turns(&v.Turns),
	}
	if o.Turns == nil {
		b.fail("two views without turns")
	}
	for name, e := range v.Events {
		o.Events[name] = b.event(name, e)
	}
	for i, c := range v.Cameras {
		o.Cameras[i] = viewCamera{
			b.num("yaw", c.Yaw, angleDecimals), b.num("yaw sigma", c.YawSigma, angleDecimals),
			b.num("tilt", c.Tilt, angleDecimals), b.num("distance", c.Distance, ratioDecimals),
		}
	}
	for i, t := range v.Body.Times {
		o.Body.TimesS = append(o.Body.TimesS, b.num("body time", t, timeDecimals))
		row := make([]*triple, swing.NumSpace)
		for k, p := range v.Body.Points[i] {
			if p != nil {
				row[k] = &triple{b.num("body", p.X, ratioDecimals), b.num("body", p.Y, ratioDecimals), b.num("body", p.Z, ratioDecimals)}
			}
		}
		o.Body.Points = append(o.Body.Points, row)
	}
	for _, m := range v.Measures {
		o.Measures = append(o.Measures, b.measure(m))
	}
	return o
}

// read returns what two views show, nil for nothing. Points are found by name.
func (o *twoViews) read() (*swing.TwoViews, error) {
	if o == nil {
		return nil, nil
	}
	v := &swing.TwoViews{Partner: o.Partner, Offset: o.OffsetS, OffsetSigma: o.SigmaS, Alike: o.Alike, Events: o.Events, Measures: o.Measures}
	for i, c := range o.Cameras {
		v.Cameras[i] = swing.ViewCamera{Yaw: c.YawDeg, YawSigma: c.YawSigmaDeg, Tilt: c.TiltDeg, Distance: c.Distance}
	}
	var err error
	if v.Turns, err = o.Turns.read(); err != nil {
		return nil, err
	}
	if len(o.Body.Points) != len(o.Body.TimesS) {
		return nil, fmt.Errorf("the body in space has %d poses for %d times", len(o.Body.Points), len(o.Body.TimesS))
	}
	where := map[string]int{}
	for k, n := range swing.SpaceNames() {
		where[n] = k
	}
	v.Body.Times = o.Body.TimesS
	for i, list := range o.Body.Points {
		if len(list) != len(o.Body.Names) {
			return nil, fmt.Errorf("pose %d in space has %d points for %d names", i, len(list), len(o.Body.Names))
		}
		var row [swing.NumSpace]*swing.Place
		for n, p := range list {
			if k, ok := where[o.Body.Names[n]]; ok && p != nil {
				row[k] = &swing.Place{X: p[0], Y: p[1], Z: p[2]}
			}
		}
		v.Body.Points = append(v.Body.Points, row)
	}
	return v, nil
}
