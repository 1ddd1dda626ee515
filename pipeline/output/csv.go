package output

import (
	"encoding/csv"
	"io"
	"path/filepath"
	"strconv"
	"strings"

	"plantframe/pipeline/swing"
)

// csvHeader names the columns of measures.csv.
func csvHeader() []string {
	return []string{"file", "swing", "bats", "view", "measure", "event", "value", "unit", "sigma", "status", "reason"}
}

// WriteCSV writes one line per measure of every swing of every analysis, in
// the order given, with a header line; fields as in analysis.json. A clip
// without a swing gets one line that says so, so that no clip of a batch is
// lost. Numbers use a decimal point. Text that a spreadsheet would take for a
// formula gets a leading apostrophe. Errors are *swing.Error, of KindOutput
// when w fails and KindInternal when a value is not fit to be written.
func WriteCSV(w io.Writer, all []swing.Analysis) error {
	const op = "output.WriteCSV"
	c := csv.NewWriter(w)
	rows := [][]string{csvHeader()}
	for i := range all {
		a := &all[i]
		var b builder
		r := b.rows(a)
		if b.err != nil {
			return internal(op, a.Clip.Path, b.err)
		}
		rows = append(rows, r...)
	}
	if err := c.WriteAll(rows); err != nil {
		return &swing.Error{
			Op: op, Frame: -1, Kind: swing.KindOutput,
			Msg:  "the table of measures cannot be written",
			Hint: "check that the output folder is writable and the disk is not full",
			Err:  err,
		}
	}
	return nil
}

func (b *builder) rows(a *swing.Analysis) [][]string {
	file := Cell(filepath.Base(filepath.ToSlash(a.Clip.Path)))
	if len(a.Swings) == 0 {
		why := "no swing found"
		if len(a.Warnings) > 0 {
			why = a.Warnings[0].Text
		}
		return [][]string{{file, "", "", "", "", "", "", "", "", string(swing.NotMeasurable), Cell(why)}}
	}
	var out [][]string
	for i := range a.Swings {
		s := &a.Swings[i]
		b.where = "swing " + strconv.Itoa(s.Index)
		for _, m := range s.Measures {
			m = b.measure(m)
			out = append(out, []string{
				file, strconv.Itoa(s.Index), string(s.Bats), string(s.View),
				m.ID, string(m.Event), cell(m.Value), m.Unit, cell(m.Sigma),
				string(m.Status), Cell(m.Reason),
			})
		}
	}
	return out
}

func cell(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'f', -1, 64)
}

// Cell makes a text fit for a table that spreadsheets open: one that would be
// taken for a formula gets a leading apostrophe.
func Cell(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}
