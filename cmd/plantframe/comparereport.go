package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strconv"
	"strings"

	"plantframe/cmd/internal/ui"
	"plantframe/pipeline/output"
	"plantframe/pipeline/swing"
)

// compareSchema names the form of a compareResult in JSON.
const compareSchema = "plantframe/compared/1"

// compareResult is what became of a comparison: the line of --json.
type compareResult struct {
	Schema      string             `json:"schema"`
	Clip        string             `json:"clip"`
	Status      string             `json:"status"`
	Folder      string             `json:"folder,omitempty"`
	Files       []string           `json:"files,omitempty"`
	Seconds     float64            `json:"seconds"`
	Comparisons []comparedSwing    `json:"comparisons"`
	Warnings    []swing.Warning    `json:"warnings"`
	LeftOut     []leftOut          `json:"left_out"`
	Error       *ui.ErrorResult    `json:"error,omitempty"`
	first       error              // of LeftOut
	list        []swing.Comparison // of Comparisons
}

type comparedSwing struct {
	Reference      string                    `json:"reference"` // path as given
	Swing          int                       `json:"swing"`
	ReferenceSwing int                       `json:"reference_swing"`
	Align          swing.EventName           `json:"aligned_at"`
	SameView       bool                      `json:"same_view"`
	Events         []swing.EventDifference   `json:"events"`
	Measures       []swing.MeasureDifference `json:"measures"`
}

type leftOut struct {
	Reference string          `json:"reference"`
	Error     *ui.ErrorResult `json:"error"`
}

func (r *compareResult) leave(path string, err error) {
	if r.first == nil {
		r.first = err
	}
	r.LeftOut = append(r.LeftOut, leftOut{path, explain(err)})
}

func (r *compareResult) fill(p *pairing) {
	r.list = p.list
	for i, c := range p.list {
		r.Comparisons = append(r.Comparisons, comparedSwing{
			Reference: p.refs[i].path, Swing: c.A.Swing.Index, ReferenceSwing: c.B.Swing.Index,
			Align: c.Align, SameView: c.SameView, Events: c.Events, Measures: c.Measures,
		})
		r.Warnings = append(r.Warnings, c.Warnings...)
	}
}

// write prints the result as one line; absent lists are empty ones.
func (r compareResult) write(w io.Writer) error {
	r.Schema = compareSchema
	if r.Comparisons == nil {
		r.Comparisons = []comparedSwing{}
	}
	for i := range r.Comparisons {
		c := &r.Comparisons[i]
		if c.Events == nil {
			c.Events = []swing.EventDifference{}
		}
		if c.Measures == nil {
			c.Measures = []swing.MeasureDifference{}
		}
	}
	if r.Warnings == nil {
		r.Warnings = []swing.Warning{}
	}
	if r.LeftOut == nil {
		r.LeftOut = []leftOut{}
	}
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	return enc.Encode(r)
}

// moreMeasures bounds the list of measures that do not differ.
const moreMeasures = 12

// report is what a person reads: per reference when the events fall and which
// measures differ, then what was doubtful and where the files lie.
func (r *compareResult) report() string {
	var b strings.Builder
	for i, c := range r.list {
		if i > 0 {
			b.WriteString("\n")
		}
		a, ref := filepath.Base(r.Clip), filepath.Base(r.Comparisons[i].Reference)
		wrap(&b, "", fmt.Sprintf("A %s, swing %d, against B %s, swing %d; times from %s", ui.Plain(a), c.A.Swing.Index, ui.Plain(ref), c.B.Swing.Index, c.Align))
		b.WriteString("\n")
		rows := [][]string{{"event", "A", "B", "A less B", ""}}
		for _, e := range c.Events {
			rows = append(rows, []string{string(e.Event), number(e.A, nil, "ms"), number(e.B, nil, "ms"), number(e.Value, e.Sigma, "ms"), verdict(e.Verdict, false)})
		}
		columns(&b, rows)
		reportMeasures(&b, &c)
	}
	head := "\nTo know:\n"
	for _, w := range r.Warnings {
		b.WriteString(head)
		head = ""
		wrap(&b, "  ", w.Text)
	}
	head = "\nLeft out:\n"
	for _, l := range r.LeftOut {
		b.WriteString(head)
		head = ""
		wrap(&b, "  ", ui.Plain(l.Reference)+": "+l.Error.Message)
		if l.Error.Hint != "" {
			wrap(&b, "    ", "hint: "+l.Error.Hint)
		}
	}
	b.WriteString("\n")
	wrap(&b, "", "Results: "+r.Folder+" ("+strings.Join(r.Files, ", ")+")")
	wrap(&b, "", strings.Join(output.Cautions(), " "))
	b.WriteString("Nothing left this machine.\n")
	return b.String()
}

func reportMeasures(b *strings.Builder, c *swing.Comparison) {
	if !c.SameView {
		return // said by a warning
	}
	row := func(m swing.MeasureDifference) []string {
		name := m.ID
		if m.Event != "" {
			name += " at " + string(m.Event)
		}
		return []string{name, number(m.A, m.SigmaA, m.Unit), number(m.B, m.SigmaB, m.Unit), number(m.Value, m.Sigma, m.Unit), verdict(m.Verdict, m.Weak)}
	}
	rows := [][]string{{"measure", "A", "B", "A less B", ""}}
	for _, m := range differing(c) {
		rows = append(rows, row(m))
	}
	same, listed := 0, 0
	for _, m := range c.Measures {
		if m.Verdict != swing.NoClearDifference || strings.HasSuffix(m.ID, "_m") {
			continue
		}
		if same++; m.Event == c.Align && listed < moreMeasures {
			rows = append(rows, row(m))
			listed++
		}
	}
	b.WriteString("\n")
	if len(rows) > 1 {
		columns(b, rows)
	}
	if n := same - listed; n > 0 {
		wrap(b, "", fmt.Sprintf("%d more without a clear difference: see %s", n, comparisonFile))
	}
}

func verdict(v swing.Verdict, weak bool) string {
	if weak && v == swing.Differs {
		return string(v) + " (weak)"
	}
	return string(v)
}

// number writes a value with or without its uncertainty, with no more digits than
// that carries; "-" where there is none.
func number(v, sigma *float64, unit string) string {
	if v == nil {
		return "-"
	}
	digits, name := 2, " "+strings.ReplaceAll(unit, "_", " ")
	switch unit {
	case "deg":
		digits, name = 0, "°"
	case "ms":
		digits, name = 0, " ms"
	case "stature":
		name = " height"
		digits = 3
	case "1":
		name = ""
	}
	text := func(x float64) string {
		x = math.Round(x*math.Pow10(digits)) / math.Pow10(digits)
		return strconv.FormatFloat(x+0, 'f', digits, 64) // +0: no minus zero
	}
	if sigma == nil {
		return text(*v) + name
	}
	return text(*v) + " ± " + text(math.Max(*sigma, math.Pow10(-digits))) + name
}

// columns writes rows in columns, the first to the left, numbers to the right.
func columns(b *strings.Builder, rows [][]string) {
	wide := make([]int, len(rows[0]))
	for _, r := range rows {
		for k, cell := range r {
			wide[k] = max(wide[k], ui.Columns(cell))
		}
	}
	for _, r := range rows {
		line := ""
		for k, cell := range r {
			pad := strings.Repeat(" ", wide[k]-ui.Columns(cell))
			if k == 0 || k == len(r)-1 {
				line += cell + pad + "  "
			} else {
				line += pad + cell + "  "
			}
		}
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
}
