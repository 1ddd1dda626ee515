package report

import (
	"fmt"
	"html/template"
	"io"
	"path"
	"regexp"
	"strings"

	"plantframe/pipeline/swing"
)

// Drill is an exercise named by a finding.
type Drill struct {
	ID    string
	Title string
	Text  string // how it is done
}

// Picture is a still of the page.
type Picture struct {
	Event swing.EventName
	Type  string // media type, such as "image/jpeg"
	Data  []byte
}

// Page is what one report shows.
type Page struct {
	Analysis swing.Analysis
	Swing    int    // index into Analysis.Swings
	Hitter   string // name of the hitter; may be empty
	Notes    string // the instructor's own words, plain text; may be empty
	Stills   []Picture
	// Close is the hitter alone at plant, cut out of the still; nil = none.
	Close *Picture
	// Pair is the plant beside a reference's; nil = none.
	Pair *Pair
	// Plan is the hitter from above; nil = none.
	Plan   *Picture
	Drills map[string]Drill // by id
	// Overlay and Beside are links to the videos, relative to the page; empty
	// when there are none.
	Overlay, Beside string
}

// Pair is the plant of the swing and of a reference, both drawn to the same body
// height and toward the same side.
type Pair struct {
	Hitter, Reference Picture
	Name              string // of the reference
}

func (p *Pair) caption() string {
	if p.Name == "" {
		return "The reference"
	}
	return "The reference: " + p.Name
}

// Write writes the page. The error is a *swing.Error of KindUsage when the
// swing does not exist, of KindOutput when w fails.
func Write(w io.Writer, p Page) error {
	const op = "report.Write"
	if err := p.check(op); err != nil {
		return err
	}
	return execute(op, p.Analysis.Clip.Path, w, "page.html", newView(p))
}

// check makes sure that there is the swing.
func (p Page) check(op string) error {
	if p.Swing >= 0 && p.Swing < len(p.Analysis.Swings) {
		return nil
	}
	return &swing.Error{
		Op: op, Clip: p.Analysis.Clip.Path, Frame: -1, Kind: swing.KindUsage,
		Msg: fmt.Sprintf("there is no swing %d to report on", p.Swing+1), Hint: "the analysis lists the swings that were found",
	}
}

func internal(op string, err error) error {
	return &swing.Error{
		Op: op, Frame: -1, Kind: swing.KindInternal, Msg: "the report cannot be made",
		Hint: "this is a fault of the program: please report it with the clip", Err: err,
	}
}

// view is what the template sees.
type view struct {
	shell
	Hitter          string
	Clip, Bats, See string
	Plant           *image
	Pair            []image // the swing's and the reference's, or none
	Others          []image
	First, Second   *finding
	Good            []string
	Checks          []check
	Unjudged        []string // sentences
	Unmeasured      []string
	Times           []instant
	Line            template.HTML // of the instants
	Hands           template.HTML
	Turned          *turned // nil = nothing is known of turns
	Tempo           []row
	Notes           []string
	Doubts          []string
	Overlay, Beside string
	Made            []row
}

type finding struct {
	Title, Text, Why, Cue string
	Drills                []Drill
}

type row struct{ Name, Value string }

func newView(p Page) *view {
	s := p.Analysis.Swings[p.Swing]
	v := &view{
		Hitter: p.Hitter, Clip: path.Base(strings.ReplaceAll(p.Analysis.Clip.Path, `\`, "/")), Overlay: p.Overlay, Beside: p.Beside,
		Bats: map[swing.Bats]string{swing.Right: "right-handed", swing.Left: "left-handed"}[s.Bats],
		See:  map[swing.View]string{swing.OpenSide: "filmed from the open side", swing.Rear: "filmed from behind"}[s.View],
	}
	v.Title = "Swing report"
	if p.Hitter != "" {
		v.Title = p.Hitter + ": swing report"
	}
	for _, pic := range p.Stills {
		im := inline(pic, string(pic.Event), altOf(pic.Event, s))
		if pic.Event == swing.Plant && v.Plant == nil {
			v.Plant = im
		} else {
			v.Others = append(v.Others, *im)
		}
	}
	if p.Pair != nil {
		v.Pair = []image{
			*inline(p.Pair.Hitter, "The plant of this swing", altOf(swing.Plant, s)),
			*inline(p.Pair.Reference, p.Pair.caption(), "The reference at plant, drawn to the same height and toward the same side, with the body's and the bat's lines"),
		}
		if v.Plant != nil { // the whole picture goes to the others
			v.Others = append([]image{*v.Plant}, v.Others...)
			v.Plant = nil
		}
	}
	for _, f := range s.Findings {
		switch f.Priority {
		case 1:
			v.First = newFinding(f, p.Drills)
		case 2:
			v.Second = newFinding(f, p.Drills)
		}
		if f.Good {
			v.Good = append(v.Good, f.Text)
		}
	}
	v.Checks, v.Unjudged, v.Unmeasured = checks(s)
	v.Times = instants(s)
	v.Line = timeline(s)
	v.Hands = handsPlot(s)
	v.Turned = turnsOf(p.Plan, s)
	v.Tempo = tempo(s)
	v.Notes = paragraphs(p.Notes)
	for _, w := range append(append([]swing.Warning{}, p.Analysis.Warnings...), s.Warnings...) {
		v.Doubts = append(v.Doubts, w.Text)
	}
	v.Made = made(p.Analysis, s)
	return v
}

func newFinding(f swing.Finding, drills map[string]Drill) *finding {
	out := &finding{Title: titleOf(f), Text: f.Text, Why: f.Why, Cue: f.Cue}
	for _, id := range f.Drills {
		if d, ok := drills[id]; ok {
			out.Drills = append(out.Drills, d)
		}
	}
	return out
}

// marks are the signs of plain-text markup that notes are often written with; they
// say nothing in a page that shows text as it is.
var marks = regexp.MustCompile(`(?m)^\s*(#{1,6}|>)\s+|\*\*|__|` + "`")

// unmarked takes the signs of markup off and makes lists of dashes and stars readable.
func unmarked(p string) string {
	lines := strings.Split(marks.ReplaceAllString(p, ""), "\n")
	for i, l := range lines {
		l = strings.TrimSpace(l)
		if rest, ok := strings.CutPrefix(l, "- "); ok {
			l = "• " + rest
		} else if rest, ok := strings.CutPrefix(l, "* "); ok {
			l = "• " + rest
		}
		lines[i] = l
	}
	return strings.TrimSpace(strings.Join(lines, "\n"))
}

// paragraphs splits text at empty lines.
func paragraphs(text string) []string {
	var out []string
	for _, p := range strings.Split(strings.ReplaceAll(text, "\r\n", "\n"), "\n\n") {
		if p = unmarked(p); p != "" {
			out = append(out, p)
		}
	}
	return out
}
