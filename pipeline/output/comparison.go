package output

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"io"
	"path/filepath"
	"slices"

	"plantframe/pipeline/swing"
)

// ComparisonSchemaID names the form of comparison.json.
const ComparisonSchemaID = "plantframe/comparison/1"

//go:embed comparison.schema.json
var comparisonSchema []byte

// ComparisonSchema returns the JSON Schema (draft 2020-12) of comparison.json.
func ComparisonSchema() []byte { return slices.Clone(comparisonSchema) }

// The types below are comparison.json key by key.

type comparisons struct {
	Schema      string       `json:"schema"`
	Tool        compareTool  `json:"tool"`
	Cautions    []string     `json:"cautions"`
	Comparisons []comparison `json:"comparisons"`
}

type compareTool struct {
	Version string `json:"version"`
}

type comparison struct {
	A        party                     `json:"a"`
	B        party                     `json:"b"`
	Align    swing.EventName           `json:"aligned_at"`
	SameView bool                      `json:"same_view"`
	Events   []swing.EventDifference   `json:"events"`
	Measures []swing.MeasureDifference `json:"measures"`
	Warnings []warning                 `json:"warnings"`
}

type party struct {
	File     string     `json:"file"`
	SHA256   string     `json:"sha256"`
	Swing    int        `json:"swing"`
	Bats     swing.Bats `json:"bats"`
	View     swing.View `json:"view"`
	Zero     float64    `json:"zero_s"`
	Stature  float64    `json:"stature_px"`
	Mirrored bool       `json:"mirrored"`
}

// WriteComparisons writes one comparison.json document, which ComparisonSchema
// describes. Equal comparisons give equal bytes. The error is a *swing.Error of
// KindInternal when a number is not finite, of KindOutput when w fails.
func WriteComparisons(w io.Writer, version string, list []swing.Comparison) error {
	const op = "output.WriteComparisons"
	b := builder{where: "comparison"}
	d := comparisons{
		Schema: ComparisonSchemaID, Tool: compareTool{version}, Cautions: Cautions(), Comparisons: []comparison{},
	}
	clip := ""
	for i := range list {
		clip = list[i].A.Clip.Path
		d.Comparisons = append(d.Comparisons, b.comparison(&list[i]))
	}
	if b.err != nil {
		return internal(op, clip, b.err)
	}
	var compact bytes.Buffer
	enc := json.NewEncoder(&compact)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(d); err != nil {
		return internal(op, clip, err)
	}
	if _, err := w.Write(layout(compact.Bytes())); err != nil {
		return &swing.Error{
			Op: op, Clip: clip, Frame: -1, Kind: swing.KindOutput,
			Msg:  "the comparison cannot be written",
			Hint: "check that the output folder is writable and the disk is not full",
			Err:  err,
		}
	}
	return nil
}

func (b *builder) comparison(c *swing.Comparison) comparison {
	o := comparison{
		A: b.party(&c.A), B: b.party(&c.B), Align: c.Align, SameView: c.SameView,
		Events: []swing.EventDifference{}, Measures: []swing.MeasureDifference{}, Warnings: warnings(c.Warnings),
	}
	at := func(what string, v *float64, d int) *float64 {
		if v == nil {
			return nil
		}
		r := b.num(what, *v, d)
		return &r
	}
	for _, e := range c.Events {
		what := string(e.Event)
		e.A, e.B = at(what, e.A, angleDecimals), at(what, e.B, angleDecimals)
		e.Value, e.Sigma = at(what, e.Value, angleDecimals), at(what, e.Sigma, angleDecimals)
		o.Events = append(o.Events, e)
	}
	for _, m := range c.Measures {
		d := ratioDecimals
		if m.Unit == "deg" || m.Unit == "ms" {
			d = angleDecimals
		}
		m.A, m.SigmaA, m.B, m.SigmaB = at(m.ID, m.A, d), at(m.ID, m.SigmaA, d), at(m.ID, m.B, d), at(m.ID, m.SigmaB, d)
		m.Value, m.Sigma = at(m.ID, m.Value, d), at(m.ID, m.Sigma, d)
		o.Measures = append(o.Measures, m)
	}
	return o
}

func (b *builder) party(p *swing.Party) party {
	return party{
		File: filepath.Base(filepath.ToSlash(p.Clip.Path)), SHA256: p.Clip.SHA256,
		Swing: p.Swing.Index, Bats: p.Swing.Bats, View: p.Swing.View,
		Zero: b.num("zero", p.Zero, timeDecimals), Stature: b.num("stature", p.Stature, pxDecimals), Mirrored: p.Mirrored,
	}
}
