package report

import (
	"fmt"
	"html/template"
	"io"
	"strings"

	"plantframe/pipeline/swing"
)

// RosterRow is one hitter of the roster.
type RosterRow struct {
	Name       string
	Link       string // to the hitter's page, relative; "" = none
	Bats       []swing.Bats
	Level      string // "" = not told
	Swings     int
	Days       int
	LastDay    string // YYYY-MM-DD; "" = no swing yet
	Judged     int    // swings of the last day that were judged
	Need       string // title of the first to work on; "" = nothing
	Cue        string
	NeedSwings int          // of Judged that have it
	Better     *swing.Trend // surest change toward the band; nil = none
	Worse      *swing.Trend
}

// Mover is one hitter's change.
type Mover struct {
	Name  string
	Trend swing.Trend
}

// Roster is what the page of the academy shows.
type Roster struct {
	Rows   []RosterRow
	Movers []Mover // the surest first
}

type rosterView struct {
	shell
	Sum    string
	Rows   []rosterLine
	Movers []trendView
}

type rosterLine struct{ Name, Link, Who, Need, Seen, Cue, Better, Worse, Last string }

// WriteRoster writes the page that says who needs what. The error is a *swing.Error
// of KindOutput when w fails.
func WriteRoster(w io.Writer, r Roster) error {
	v := &rosterView{shell: shell{Title: "Roster"}}
	swings := 0
	for _, x := range r.Rows {
		swings += x.Swings
		l := rosterLine{Name: x.Name, Link: x.Link, Last: dayText(x.LastDay), Better: moved(x.Better), Worse: moved(x.Worse), Cue: x.Cue}
		var who []string
		for _, b := range x.Bats {
			who = append(who, map[swing.Bats]string{swing.Right: "right-handed", swing.Left: "left-handed"}[b])
		}
		if x.Level != "" {
			who = append(who, strings.ReplaceAll(x.Level, "-", " "))
		}
		who = append(who, count(x.Swings, "swing")+" on "+count(x.Days, "day"))
		l.Who = strings.Join(who, ", ")
		switch {
		case x.Need != "":
			l.Need, l.Seen = capital(x.Need), fmt.Sprintf("in %d of %s", x.NeedSwings, count(x.Judged, "swing"))
		case x.LastDay == "":
			l.Need, l.Last = "no swing yet", "none"
		case x.Judged == 0:
			l.Need = "not judged"
		default:
			l.Need = "nothing stands out"
		}
		v.Rows = append(v.Rows, l)
	}
	v.Sum = count(len(r.Rows), "hitter") + ", " + count(swings, "swing")
	for _, m := range r.Movers {
		v.Movers = append(v.Movers, newTrend(m.Trend, m.Name+": "))
	}
	return execute("report.WriteRoster", "", w, "roster.html", v)
}

// moved says a change in a few words.
func moved(t *swing.Trend) string {
	if t == nil {
		return "none clear"
	}
	suffix, scale := unitOf(t.Unit)
	return titleOf(swing.Finding{ID: t.ID, Title: t.Title}) + " " + signed(t.Change, scale) + " ± " + number(t.ChangeSigma, scale) + suffix
}

// Clip is one row of the list of a run.
type Clip struct {
	Name   string // of the file
	Folder string // of its files, relative to the list
	Hitter string // "" = not told
	Bats   swing.Bats
	View   swing.View
	Swings int
	Needs  []string // what to work on first, one per swing; "" = nothing stands out
	Thumb  string   // picture, relative; "" = none
	Files  []string // in Folder, among those worth a link
}

// Index is the list of the clips of an output folder.
type Index struct {
	Clips  []Clip
	Tables []string // files beside the list, such as measures.csv
}

type indexView struct {
	shell
	Sum    string
	Tables []link
	Rows   []indexLine
}

type link struct {
	Name, Label string
	Href        template.URL
}

type indexLine struct {
	Name, Who, Need string
	Thumb           template.URL
	Links           []link
}

// WriteIndex writes the list of an output folder. It links to the files beside and
// below it and carries no picture itself. The error is a *swing.Error of KindOutput
// when w fails.
func WriteIndex(w io.Writer, x Index) error {
	v := &indexView{shell: shell{Title: "Swings"}}
	swings := 0
	for _, t := range x.Tables {
		v.Tables = append(v.Tables, link{Name: fileWords(t), Href: href(t)})
	}
	for _, c := range x.Clips {
		swings += c.Swings
		l := indexLine{Name: c.Name}
		var who []string
		for _, s := range []string{
			c.Hitter, map[swing.Bats]string{swing.Right: "right-handed", swing.Left: "left-handed"}[c.Bats],
			map[swing.View]string{swing.OpenSide: "open side", swing.Rear: "from behind"}[c.View],
		} {
			if s != "" {
				who = append(who, s)
			}
		}
		l.Who = strings.Join(who, ", ")
		l.Need = needs(c)
		if c.Thumb != "" {
			l.Thumb = href(c.Folder, c.Thumb)
		}
		for _, f := range c.Files {
			l.Links = append(l.Links, link{Name: fileWords(f), Label: fileWords(f) + " of " + c.Name, Href: href(c.Folder, f)})
		}
		v.Rows = append(v.Rows, l)
	}
	v.Sum = count(len(x.Clips), "clip") + ", " + count(swings, "swing")
	return execute("report.WriteIndex", "", w, "index.html", v)
}

func needs(c Clip) string {
	if c.Swings == 0 {
		return "No swing found"
	}
	var out []string
	for i, n := range c.Needs {
		if n == "" {
			n = "nothing stands out"
		}
		if c.Swings > 1 {
			n = fmt.Sprintf("swing %d: %s", i+1, n)
		}
		out = append(out, n)
	}
	if len(out) == 0 {
		return "Not judged"
	}
	return capital(strings.Join(out, "; "))
}
