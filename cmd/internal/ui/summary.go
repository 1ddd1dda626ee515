package ui

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"plantframe/pipeline/swing"
)

// SummaryWidth is the least width the summary table is laid out for, columns.
const SummaryWidth = 100

// leastName is the narrowest column for clip names, columns.
const leastName = 12

// Summary lays out the results of a run as a table of at most width columns
// (SummaryWidth when less is given), one row per swing, and a legend under
// it. Long names lose their middle.
func Summary(results []Result, width int) string {
	header := []string{"<clip", "swing", "<bats", "<view", "plant", "rear elbow", "lead elbow", "stride", "warn"}
	var rows [][]string
	for _, r := range results {
		rows = append(rows, summaryRows(r)...)
	}
	if len(rows) == 0 {
		return ""
	}
	// What the other columns leave is the clip's.
	rest := 0
	for i := 1; i < len(header); i++ {
		w := Columns(strings.TrimPrefix(header[i], "<"))
		for _, r := range rows {
			w = max(w, Columns(r[i]))
		}
		rest += w + 2
	}
	room := max(leastName, max(width, SummaryWidth)-rest)
	for _, r := range rows {
		r[0] = CutMiddle(r[0], room)
	}
	return Table(header, rows) + legend(rows)
}

// summaryRows returns the rows of one clip: one per swing, or one that says
// what became of it.
func summaryRows(r Result) [][]string {
	name := Plain(filepath.Base(r.Clip))
	word := map[string]string{StatusFailed: "failed", StatusSame: "same clip", StatusStopped: "stopped", StatusDone: "no swing"}[r.Status]
	warn := fmt.Sprint(len(r.Warnings))
	if len(r.Swings) == 0 {
		if r.Status != StatusDone {
			warn = ""
		}
		return [][]string{{name, "-", "", word, "", "", "", "", warn}}
	}
	var rows [][]string
	for i, s := range r.Swings {
		row := []string{
			name, fmt.Sprintf("%d/%d", i+1, len(r.Swings)), string(s.Bats), string(s.View), "-",
			keyMeasure(s, "rear_elbow_height", "%+.2f", "%.2f", 1),
			keyMeasure(s, "lead_elbow_flexion", "%.0f°", "%.0f", 1),
			keyMeasure(s, "stride_length", "%.0f%%", "%.0f", 100),
			warn,
		}
		if s.Plant != nil {
			row[4] = fmt.Sprintf("%.3f s ±%.0f ms", s.Plant.Time, math.Ceil(1000*s.Plant.Sigma))
		}
		rows = append(rows, row)
		name, warn = "", "" // said once a clip
	}
	return rows
}

// keyMeasure prints a measure with its sigma, times scale; "?" marks a weak
// one, "-" one that could not be measured.
func keyMeasure(s SwingResult, id, value, sigma string, scale float64) string {
	for _, m := range s.Measures {
		if m.ID != id {
			continue
		}
		if m.Status == swing.NotMeasurable || m.Value == nil || m.Sigma == nil {
			return "-"
		}
		text := fmt.Sprintf(value+" ±"+sigma, *m.Value*scale, *m.Sigma*scale)
		if m.Status == swing.Weak {
			text += "?"
		}
		return text
	}
	return "-"
}

// legend explains the columns that occur.
func legend(rows [][]string) string {
	var numbers, weak, dash bool
	for _, r := range rows {
		for _, c := range r[5:8] {
			numbers = numbers || c != ""
			weak = weak || strings.HasSuffix(c, "?")
			dash = dash || c == "-"
		}
	}
	if !numbers {
		return ""
	}
	text := `
At plant, ± one standard deviation. rear elbow: above (+) or below (-) the rear shoulder, in upper-arm
lengths; lead elbow: bend, 0° = straight; stride: between the ankles, per cent of body height.
`
	if weak {
		text += "? = weak: use with care, analysis.json says why.\n"
	}
	if dash {
		text += "- = cannot be measured in this clip, analysis.json says why.\n"
	}
	return text
}
