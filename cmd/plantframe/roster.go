package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/progress"
	"plantframe/cmd/internal/store"
	"plantframe/cmd/internal/ui"
	"plantframe/pipeline/output"
	page "plantframe/pipeline/output/report"
	"plantframe/pipeline/swing"
)

const rosterHelp = `List the hitters of the store: who needs what, and who changed most.

What a hitter needs is the first priority of most swings of the latest day. What
got better or worse is the surest change toward or away from a target band since
the first day, as in plantframe progress.

Written are OUT/roster.html, OUT/roster.csv, and the page of each hitter in
OUT/progress.

With --json standard output gets one line of JSON:
  schema   "plantframe/roster/1"
  hitters  [{hitter, days, first_day, last_day, first, better, worse, page}], as
           in plantframe progress --json; better and worse are trends or null
  movers   [{hitter, trend}], the surest first
  files    what was written

Exit codes: 0 done, 1 failed, 2 wrong usage.`

// mostMovers bounds the list of the surest changes.
const mostMovers = 10

// Names of the roster in the folder for results.
const (
	rosterPage  = "roster.html"
	rosterTable = "roster.csv"
)

func (a *app) roster() *cobra.Command {
	var file string
	d := config.Default()
	cmd := &cobra.Command{
		Use:   "roster",
		Short: "List all hitters: who needs what, and who changed most",
		Long:  rosterHelp,
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			s, err := settings(cmd, file)
			if err != nil {
				return err
			}
			return a.showRoster(cmd.Context(), s)
		},
	}
	storeFlags(cmd, d, &file)
	return cmd
}

// showRoster runs the whole command. Histories are read one after the other: of a
// season of a team only the sums stay in memory.
func (a *app) showRoster(ctx context.Context, s config.Settings) error {
	o, err := trendOptions(s)
	if err != nil {
		return err
	}
	r, err := mustRecords(ctx, s)
	if err != nil {
		return err
	}
	defer r.Close()
	hitters, err := r.Hitters(ctx, nil)
	if err != nil {
		return err
	}
	names := pageNames(hitters)
	rows := make([]progress.Row, 0, len(hitters))
	for i, h := range hitters {
		st, err := tell(ctx, r, h, o)
		if err != nil {
			return err
		}
		if err := writeProgress(ctx, r, st, o, filepath.Join(s.Out, pagesFolder, names[i])); err != nil {
			return err
		}
		rows = append(rows, st.row)
	}
	movers := progress.Movers(rows, mostMovers)
	if err := os.MkdirAll(s.Out, 0o755); err != nil {
		return writing(s.Out, err)
	}
	files := []string{filepath.Join(s.Out, rosterPage), filepath.Join(s.Out, rosterTable)}
	if err := writeWhole(files[0], func(f *os.File) error { return page.WriteRoster(f, newRoster(rows, movers, names)) }); err != nil {
		return err
	}
	if err := writeWhole(files[1], func(f *os.File) error { return writeRosterCSV(f, rows) }); err != nil {
		return err
	}
	if s.JSON {
		return writeRosterLine(a.stdout, rows, movers, s.Out, names, files)
	}
	_, err = io.WriteString(a.stdout, rosterText(rows, movers)+"\nFiles: "+strings.Join(files, ", ")+"\n")
	return err
}

func newRoster(rows []progress.Row, movers []progress.Mover, names []string) page.Roster {
	var out page.Roster
	for i, r := range rows {
		x := page.RosterRow{
			Name: r.Hitter.Name, Link: "./" + path.Join(pagesFolder, names[i]), Bats: r.Bats, Level: r.Hitter.Level,
			Swings: r.Hitter.Swings, Days: r.Days, LastDay: r.LastDay, Judged: r.Judged, Better: r.Better, Worse: r.Worse,
		}
		if r.Need != nil {
			x.Need, x.Cue, x.NeedSwings = titled(r.Need.Finding), r.Need.Finding.Cue, r.Need.Swings
		}
		out.Rows = append(out.Rows, x)
	}
	for _, m := range movers {
		out.Movers = append(out.Movers, page.Mover{Name: m.Hitter.Name, Trend: m.Trend})
	}
	return out
}

func titled(f swing.Finding) string {
	if f.Title != "" {
		return f.Title
	}
	return f.ID
}

// writeRosterCSV writes one line per hitter. Numbers use a decimal point.
func writeRosterCSV(w io.Writer, rows []progress.Row) error {
	all := [][]string{{
		"hitter", "bats", "level", "sport", "height_m", "clips", "swings", "days", "first_day", "last_day",
		"first_id", "first", "first_swings", "judged_swings", "text", "cue",
		"better", "better_change", "better_sigma", "better_unit", "worse", "worse_change", "worse_sigma", "worse_unit",
	}}
	num := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	for _, r := range rows {
		var bats []string
		for _, b := range r.Bats {
			bats = append(bats, string(b))
		}
		height := ""
		if r.Hitter.HeightM > 0 {
			height = num(r.Hitter.HeightM)
		}
		line := []string{
			output.Cell(r.Hitter.Name), strings.Join(bats, " "), r.Hitter.Level, r.Hitter.Sport, height,
			strconv.Itoa(r.Hitter.Clips), strconv.Itoa(r.Hitter.Swings), strconv.Itoa(r.Days), r.FirstDay, r.LastDay,
		}
		if n := r.Need; n != nil {
			line = append(line, n.Finding.ID, output.Cell(titled(n.Finding)), strconv.Itoa(n.Swings), strconv.Itoa(n.Of), output.Cell(n.Finding.Text), output.Cell(n.Finding.Cue))
		} else {
			line = append(line, "", "", "", strconv.Itoa(r.Judged), "", "")
		}
		for _, t := range []*swing.Trend{r.Better, r.Worse} {
			if t == nil {
				line = append(line, "", "", "", "")
				continue
			}
			line = append(line, output.Cell(t.ID), num(round(t.Change)), num(round(t.ChangeSigma)), t.Unit)
		}
		all = append(all, line)
	}
	if err := csv.NewWriter(w).WriteAll(all); err != nil {
		return writing(rosterTable, err)
	}
	return nil
}

// round keeps four decimals: more is noise.
func round(v float64) float64 {
	f, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'f', 4, 64), 64)
	return f + 0
}

type rosterLine struct {
	Schema  string        `json:"schema"`
	Hitters []rosterEntry `json:"hitters"`
	Movers  []moverEntry  `json:"movers"`
	Files   []string      `json:"files"`
}

type rosterEntry struct {
	Hitter   store.Hitter `json:"hitter"`
	Days     int          `json:"days"`
	FirstDay string       `json:"first_day"`
	LastDay  string       `json:"last_day"`
	First    *needLine    `json:"first"`
	Better   *swing.Trend `json:"better"`
	Worse    *swing.Trend `json:"worse"`
	Page     string       `json:"page"`
}

type moverEntry struct {
	Hitter string      `json:"hitter"`
	Trend  swing.Trend `json:"trend"`
}

func writeRosterLine(w io.Writer, rows []progress.Row, movers []progress.Mover, out string, names, files []string) error {
	l := rosterLine{Schema: "plantframe/roster/1", Hitters: []rosterEntry{}, Movers: []moverEntry{}, Files: files}
	for i, r := range rows {
		l.Hitters = append(l.Hitters, rosterEntry{
			r.Hitter, r.Days, r.FirstDay, r.LastDay, newNeed(r.Need), r.Better, r.Worse, filepath.Join(out, pagesFolder, names[i]),
		})
	}
	for _, m := range movers {
		l.Movers = append(l.Movers, moverEntry{m.Hitter.Name, m.Trend})
	}
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	return enc.Encode(l)
}

// rosterText is what a person reads.
func rosterText(rows []progress.Row, movers []progress.Mover) string {
	if len(rows) == 0 {
		return "Nobody is in the store yet: analyse clips with --hitter NAME, or in folders named HITTER/DATE.\n"
	}
	var b strings.Builder
	lines := [][]string{{"hitter", "swings", "days", "latest", "first to work on"}}
	for _, r := range rows {
		need := "nothing stands out"
		switch {
		case r.Need != nil:
			need = fmt.Sprintf("%s (%d of %d)", titled(r.Need.Finding), r.Need.Swings, r.Need.Of)
		case r.Days == 0:
			need = "no swing yet"
		case r.Judged == 0:
			need = "not judged"
		}
		lines = append(lines, []string{ui.CutMiddle(ui.Plain(r.Hitter.Name), 30), strconv.Itoa(r.Hitter.Swings), strconv.Itoa(r.Days), r.LastDay, need})
	}
	columns(&b, lines)
	if len(movers) > 0 {
		b.WriteString("\nBiggest movers\n")
		lines = [][]string{{"", "first", "latest", "change", ""}}
		for _, m := range movers {
			t := trendRow(&m.Trend)
			lines = append(lines, []string{ui.CutMiddle(ui.Plain(m.Hitter.Name), 30) + ": " + t[0], t[1], t[2], t[3], string(m.Trend.Heading)})
		}
		columns(&b, lines)
	}
	return b.String()
}
