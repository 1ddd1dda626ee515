package output

import (
	"bytes"
	"encoding/json"

	"plantframe/pipeline/swing"
)

// The types below are analysis.json key by key, in the order in which the
// keys are written. schema.json describes them to the outside.

type document struct {
	Schema   string     `json:"schema"`
	Tool     tool       `json:"tool"`
	Clip     clip       `json:"clip"`
	Cautions []string   `json:"cautions"`
	Swings   []oneSwing `json:"swings"`
}

type tool struct {
	Version string           `json:"version"`
	Models  []swing.ModelRef `json:"models"`
	Options map[string]any   `json:"options"`
}

type clip struct {
	File         string    `json:"file"`
	SHA256       string    `json:"sha256"`
	Width        int       `json:"width"`
	Height       int       `json:"height"`
	Frames       int       `json:"frames"`
	DurationS    float64   `json:"duration_s"`
	VariableRate bool      `json:"variable_rate"`
	Warnings     []warning `json:"warnings"`
}

// warning differs from swing.Warning in one thing: frames is always there.
type warning struct {
	Code   string `json:"code"`
	Text   string `json:"text"`
	Frames []int  `json:"frames"`
}

type oneSwing struct {
	Index          int             `json:"index"`
	Bats           swing.Bats      `json:"bats"`
	BatsSource     string          `json:"bats_source"`
	BatsConfidence float64         `json:"bats_confidence"`
	View           swing.View      `json:"view"`
	ViewSource     string          `json:"view_source"`
	ViewConfidence float64         `json:"view_confidence"`
	WindowS        [2]float64      `json:"window_s"`
	Events         events          `json:"events"`
	Track          track           `json:"track"`
	Bat            *bat            `json:"bat,omitempty"`
	Turns          *turns          `json:"turns,omitempty"`
	TwoViews       *twoViews       `json:"two_views,omitempty"`
	Measures       []swing.Measure `json:"measures"`
	Findings       []swing.Finding `json:"findings,omitempty"`
	Warnings       []warning       `json:"warnings"`
}

type track struct {
	KeypointNames []string    `json:"keypoint_names"`
	Frames        []int       `json:"frames"`
	TimesS        []float64   `json:"times_s"`
	Points        [][]*triple `json:"points"`
}

// bat has one entry per time in every list; a nil entry is a frame in which the
// bat is not seen.
type bat struct {
	TimesS    []float64  `json:"times_s"`
	Knob      []*pair    `json:"knob"`
	Tip       []*pair    `json:"tip"`
	SigmaDeg  []*float64 `json:"sigma_deg"`
	KnobSigma []*float64 `json:"knob_sigma_px"`
	TipSigma  []*float64 `json:"tip_sigma_px"`
	Cues      [][]string `json:"cues"`
	Length    *batLength `json:"length"`
}

// turns has one entry per time in every list: the 5, 16, 50, 84 and 95 % quantiles.
type turns struct {
	TimesS      []float64         `json:"times_s"`
	Shoulder    []swing.Quantiles `json:"shoulder_turn"`
	Hip         []swing.Quantiles `json:"hip_turn"`
	Separation  []swing.Quantiles `json:"separation"`
	SinceStance []swing.Quantiles `json:"shoulder_turn_since_stance,omitempty"`
}

type batLength struct {
	Px     float64 `json:"px"`
	Sigma  float64 `json:"sigma_px"`
	Source string  `json:"source"`
}

// pair is x px, y px.
type pair [2]float64

// triple is x px, y px, score; a nil triple is a point without a place.
type triple [3]float64

// events is written in time order rather than by the alphabet.
type events map[swing.EventName]swing.Event

// MarshalJSON writes the events in the order of swing.EventNames.
func (e events) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for _, name := range swing.EventNames() {
		ev, ok := e[name]
		if !ok {
			continue
		}
		v, err := json.Marshal(ev)
		if err != nil {
			return nil, err
		}
		if b.Len() > 1 {
			b.WriteByte(',')
		}
		k, err := json.Marshal(string(name))
		if err != nil {
			return nil, err
		}
		b.Write(k)
		b.WriteByte(':')
		b.Write(v)
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}
