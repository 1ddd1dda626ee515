package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/progress"
	"plantframe/cmd/internal/store"
	"plantframe/cmd/internal/targets"
	"plantframe/cmd/internal/ui"
	page "plantframe/pipeline/output/report"
	"plantframe/pipeline/swing"
)

const progressHelp = `Follow the checkpoints of one hitter over time.

Clips that were analysed with --hitter NAME, or that lie in folders named
HITTER/DATE, are remembered. Swings of one day are pooled; the latest day is
compared with the first. A change is called one when it is more than 2.6 times
its own uncertainty, which holds both measurements and how much the swings of
one day differ: chance alone says so about once in a hundred. With one swing a
day that difference is assumed, and said; film three or more, from the same
place. Swings seen from different sides are never compared with each other.

In OUT/progress a page <hitter>.html is written: one file, for a phone too.

With --json standard output gets one line of JSON:
  schema   "plantframe/progress/1"
  hitter   {id, name, bats, height_m, level, sport, adult, clips, swings, last_shot}
  days, first_day, last_day
  first    what to work on first: {id, title, text, cue, swings, of} or null
  trends   [{id, title, measure, event, view, bats, unit, lo, hi, days [{day,
           value, sigma, swings, weak}], missing, spread, spread_swings, change,
           change_sigma, verdict, heading}]
  page     the file

Exit codes: 0 done, 1 failed (nobody of that name), 2 wrong usage.`

// pagesFolder holds the pages of hitters, in the folder for results.
const pagesFolder = "progress"

func (a *app) progress() *cobra.Command {
	var file string
	d := config.Default()
	cmd := &cobra.Command{
		Use:     "progress HITTER",
		Short:   "Show what changed in a hitter's swings over time",
		Long:    progressHelp,
		Example: `  plantframe progress "Sam Reed"`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return errors.New("no hitter was named\nplantframe roster lists them")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := settings(cmd, file)
			if err != nil {
				return err
			}
			return a.showProgress(cmd.Context(), s, strings.Join(args, " "))
		},
	}
	storeFlags(cmd, d, &file)
	return cmd
}

// storeFlags are the flags of the commands that read the store.
func storeFlags(cmd *cobra.Command, d config.Settings, file *string) {
	f := cmd.Flags()
	f.StringVar(file, "config", "", "settings file (YAML)")
	f.StringP("out", "o", d.Out, "folder for results")
	f.String("store", d.Store, "where hitters are remembered: an SQLite file or postgres://USER@HOST/DATABASE")
	f.String("targets", d.Targets, "targets whose bands that are open on one side tell how much swings may differ")
	f.Bool("json", d.JSON, "one line of JSON instead of the table")
	_ = cmd.MarkFlagFilename("config", "yaml", "yml")
	_ = cmd.MarkFlagDirname("out")
}

// mustRecords opens the store for a command that is about nothing else.
func mustRecords(ctx context.Context, s config.Settings) (*store.Records, error) {
	r, err := openRecords(ctx, s)
	if err == nil && r == nil {
		err = &swing.Error{
			Op: "store", Frame: -1, Kind: swing.KindUsage, Msg: "the store is switched off", Hint: "take the setting store: none away",
		}
	}
	return r, err
}

// trendOptions are the rules of the test, with the half widths of open bands.
func trendOptions(s config.Settings) (progress.Options, error) {
	o := progress.DefaultOptions()
	t, err := targets.Load(s.Judging())
	if err != nil {
		return o, err
	}
	o.HalfWidth = map[string]float64{}
	for _, b := range t.Bands {
		if b.HalfWidth > 0 {
			o.HalfWidth[b.ID] = b.HalfWidth
		}
	}
	return o, nil
}

// story is one hitter's history, summed up.
type story struct {
	row   progress.Row
	clips []store.ClipRecord
}

func tell(ctx context.Context, r *store.Records, h store.Hitter, o progress.Options) (story, error) {
	clips, err := r.History(ctx, nil, h.ID)
	if err != nil {
		return story{}, err
	}
	return story{progress.NewRow(h, clips, o), clips}, nil
}

// showProgress runs the whole command.
func (a *app) showProgress(ctx context.Context, s config.Settings, name string) error {
	o, err := trendOptions(s)
	if err != nil {
		return err
	}
	r, err := mustRecords(ctx, s)
	if err != nil {
		return err
	}
	defer r.Close()
	h, err := r.FindHitter(ctx, nil, name)
	if err != nil {
		return err
	}
	st, err := tell(ctx, r, h, o)
	if err != nil {
		return err
	}
	file := filepath.Join(s.Out, pagesFolder, pageNames([]store.Hitter{h})[0])
	if err := writeProgress(ctx, r, st, o, file); err != nil {
		return err
	}
	if s.JSON {
		return writeProgressLine(a.stdout, st, file)
	}
	_, err = io.WriteString(a.stdout, progressText(st)+"\nPage: "+file+"\n")
	return err
}

// pageNames gives each hitter's page a file name; equal ones get the hitter's id.
func pageNames(hitters []store.Hitter) []string {
	taken := map[string]bool{}
	var out []string
	for _, h := range hitters {
		name, _ := stem(strings.NewReplacer("/", "_", `\`, "_", ":", "_").Replace(h.Name) + ".html")
		if taken[strings.ToLower(name)] {
			name += "-" + h.ID[:min(8, len(h.ID))]
		}
		taken[strings.ToLower(name)] = true
		out = append(out, name+".html")
	}
	return out
}

// writeProgress writes the page of a hitter.
func writeProgress(ctx context.Context, r *store.Records, st story, o progress.Options, file string) error {
	row := st.row
	p := page.Progress{
		Hitter: row.Hitter.Name, Clips: row.Hitter.Clips, Swings: row.Hitter.Swings, Days: row.Days, FirstDay: row.FirstDay, LastDay: row.LastDay,
		Judged: row.Judged, Trends: row.Trends, ChangeSigmas: o.ChangeSigmas,
	}
	if row.Need != nil {
		p.Need = row.Need.Finding.Text
	}
	for _, c := range st.clips {
		if c.ShotSource == "file" {
			p.Undated++
		}
	}
	var err error
	if p.FirstPicture, p.LatestPicture, err = plants(ctx, r, st.clips); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		return writing(filepath.Dir(file), err)
	}
	return writeWhole(file, func(f *os.File) error { return page.WriteProgress(f, p) })
}

// plants returns the first and the latest picture of the plant, seen from the side
// and batting from the side that most swings are.
func plants(ctx context.Context, r *store.Records, clips []store.ClipRecord) (first, latest *page.DayPicture, err error) {
	type kind struct {
		view swing.View
		bats swing.Bats
	}
	n := map[kind]int{}
	var most kind
	for _, c := range clips {
		for _, s := range c.Swings {
			k := kind{s.View, s.Bats}
			if n[k]++; n[k] > n[most] {
				most = k
			}
		}
	}
	find := func(clips []store.ClipRecord) (*page.DayPicture, error) {
		for _, c := range clips {
			for _, s := range c.Swings {
				if (kind{s.View, s.Bats}) != most || s.Plant == nil {
					continue
				}
				pic, ok, err := r.Still(ctx, nil, c.Analysis, s.Index, swing.Plant)
				if err != nil {
					return nil, err
				}
				if ok {
					return &page.DayPicture{Picture: page.Picture{Event: pic.Event, Type: pic.Type, Data: pic.Data}, Day: c.Shot, View: s.View}, nil
				}
			}
		}
		return nil, nil
	}
	if first, err = find(clips); err != nil {
		return nil, nil, err
	}
	back := slices.Clone(clips)
	slices.Reverse(back)
	latest, err = find(back)
	return first, latest, err
}

// progressSchema names the form of the line of --json.
const progressSchema = "plantframe/progress/1"

type needLine struct {
	ID     string `json:"id"`
	Title  string `json:"title"`
	Text   string `json:"text"`
	Cue    string `json:"cue"`
	Swings int    `json:"swings"`
	Of     int    `json:"of"`
}

func newNeed(n *progress.Need) *needLine {
	if n == nil {
		return nil
	}
	return &needLine{n.Finding.ID, n.Finding.Title, n.Finding.Text, n.Finding.Cue, n.Swings, n.Of}
}

type progressLine struct {
	Schema   string        `json:"schema"`
	Hitter   store.Hitter  `json:"hitter"`
	Days     int           `json:"days"`
	FirstDay string        `json:"first_day"`
	LastDay  string        `json:"last_day"`
	First    *needLine     `json:"first"`
	Trends   []swing.Trend `json:"trends"`
	Page     string        `json:"page"`
}

func writeProgressLine(w io.Writer, st story, file string) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	return enc.Encode(progressLine{
		progressSchema, st.row.Hitter, st.row.Days, st.row.FirstDay, st.row.LastDay, newNeed(st.row.Need), st.row.Trends, file,
	})
}

// progressText is what a person reads.
func progressText(st story) string {
	var b strings.Builder
	row := st.row
	line := row.Hitter.Name + ": " + clips(row.Hitter.Clips)
	switch {
	case row.Days == 0:
		line += ", no swing in them yet"
	case row.Days == 1:
		line += fmt.Sprintf(", %s on %s", swings(row.Hitter.Swings), row.LastDay)
	default:
		line += fmt.Sprintf(", %s on %d days, %s to %s", swings(row.Hitter.Swings), row.Days, row.FirstDay, row.LastDay)
	}
	wrap(&b, "", ui.Plain(line))
	if row.Need != nil {
		b.WriteString("\nTo work on first:\n")
		wrap(&b, "  ", row.Need.Finding.Text)
		if row.Need.Finding.Cue != "" {
			wrap(&b, "    ", "cue: "+row.Need.Finding.Cue)
		}
	}
	for _, v := range []swing.View{swing.OpenSide, swing.Rear} {
		for _, bats := range []swing.Bats{swing.Right, swing.Left} {
			rows := [][]string{{"checkpoint", "first", "latest", "change", "aim", ""}}
			for _, t := range row.Trends {
				if t.View == v && t.Bats == bats {
					rows = append(rows, trendRow(&t))
				}
			}
			if len(rows) > 1 {
				fmt.Fprintf(&b, "\nSeen from %s, bats %s\n", seenFrom(v), bats)
				columns(&b, rows)
			}
		}
	}
	if len(row.Trends) == 0 && row.Days > 0 {
		b.WriteString("\nNo checkpoint was judged: analyse the clips with targets.\n")
	}
	return b.String()
}

func swings(n int) string {
	if n == 1 {
		return "1 swing"
	}
	return fmt.Sprintf("%d swings", n)
}

func trendRow(t *swing.Trend) []string {
	last := t.Days[len(t.Days)-1]
	out := []string{t.Title, "", number(&last.Value, &last.Sigma, t.Unit), "", aim(t), string(t.Verdict)}
	if t.Title == "" {
		out[0] = t.ID
	}
	if t.Verdict == swing.OneDayOnly {
		return out
	}
	out[1], out[3] = number(&t.Days[0].Value, &t.Days[0].Sigma, t.Unit), number(&t.Change, &t.ChangeSigma, t.Unit)
	if t.Verdict == swing.Changed {
		out[5] += ", " + string(t.Heading)
	}
	if t.SpreadSwings == 0 {
		out[5] += " (one swing a day)"
	}
	return out
}

// aim writes a band.
func aim(t *swing.Trend) string {
	switch {
	case t.Lo != nil && t.Hi != nil:
		lo, _, _ := strings.Cut(strings.TrimSuffix(number(t.Lo, nil, t.Unit), "°"), " ") // the unit once
		return lo + " to " + number(t.Hi, nil, t.Unit)
	case t.Lo != nil:
		return "from " + number(t.Lo, nil, t.Unit)
	case t.Hi != nil:
		return "up to " + number(t.Hi, nil, t.Unit)
	}
	return ""
}
