package report

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"plantframe/pipeline/swing"
)

// Paper is the sheet of a printed report.
type Paper string

// Papers.
const (
	A4     Paper = "a4"
	Letter Paper = "letter"
)

// Measures of the sheet, mm, and of its letters, points. The smallest letters are
// those of the small print of a letter.
const (
	sheetMargin = 12.0
	gutter      = 6.0
	bodySize    = 9.0
	smallSize   = 7.5
	headSize    = 11.0
	titleSize   = 17.0
	// lineShare is the distance of two lines over the size of the letters, mm per
	// point.
	lineShare = 0.46
)

// sheet is one page in the making.
type sheet struct {
	pdf   *fpdf.Fpdf
	fonts *typefaces
	w, h  float64 // mm
	names int     // of pictures so far
	// What was laid, for whoever checks it: the lowest and the outermost letter, the
	// upper edge of the small print, the end of the checkpoints and how many are shown,
	// mm from the upper left corner.
	low, wide, smallTop, checksEnd float64
	shown                          int
}

// WritePDF writes the report of a swing on one page. Words that the page has no room
// for are left out, and it says so. Equal pages give equal bytes. Errors are
// *swing.Error as those of Write, and of KindUsage for another paper.
func WritePDF(w io.Writer, p Page, paper Paper) error {
	const op = "report.WritePDF"
	if err := p.check(op); err != nil {
		return err
	}
	size := map[Paper]string{A4: "A4", Letter: "Letter"}[paper]
	if size == "" {
		return &swing.Error{Op: op, Frame: -1, Kind: swing.KindUsage, Msg: fmt.Sprintf("there is no paper %q", paper), Hint: "choose a4 or letter"}
	}
	s, err := newSheet(size)
	if err != nil {
		return internal(op, err)
	}
	v := newView(p)
	s.pdf.SetTitle(v.Title, true)
	s.lay(p, v)
	var b bytes.Buffer
	if err := s.pdf.Output(&b); err != nil {
		return internal(op, err)
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return full(op, p.Analysis.Clip.Path, err)
	}
	return nil
}

func newSheet(size string) (*sheet, error) {
	fonts, err := loadTypefaces()
	if err != nil {
		return nil, err
	}
	pdf := fpdf.New("P", "mm", size, "")
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetMargins(sheetMargin, sheetMargin, sheetMargin)
	pdf.SetCreator("plantframe", true)
	pdf.SetLang("en")
	// The day of printing is no property of the swing: equal pages, equal bytes.
	pdf.SetCreationDate(time.Unix(0, 0).UTC())
	pdf.SetModificationDate(time.Unix(0, 0).UTC())
	pdf.SetCatalogSort(true)
	fonts.install(pdf)
	pdf.AddPage()
	s := &sheet{pdf: pdf, fonts: fonts}
	s.w, s.h = pdf.GetPageSize()
	return s, pdf.Error()
}

// lay sets the page: the head and what to work on from the top, the small print from
// the bottom, and what was measured between them.
func (s *sheet) lay(p Page, v *view) {
	left, right := sheetMargin, s.w-sheetMargin
	y := s.text(left, sheetMargin, right-left, titleSize, true, v.Title, 1)
	var parts []string
	for _, t := range []string{v.Clip, v.Bats, v.See} {
		if t != "" {
			parts = append(parts, t)
		}
	}
	y = s.text(left, y, right-left, bodySize, false, strings.Join(parts, ", "), 1) + 2
	y = s.lead(p, v, left, y, right-left) + 3

	bottom := s.small(p, v, left, right-left)
	y = s.instants(p.Analysis.Swings[p.Swing], v, left, y, right-left)
	if len(v.Notes) > 0 {
		// The instructor's own words come before the last checkpoint.
		room := bottom - y - s.checksHeight(len(v.Checks), leastRow)
		y = s.notes(v.Notes, left, y, right-left, math.Max(room, 18))
	}
	s.checks(p.Analysis.Swings[p.Swing], v, left, y, right-left, bottom-y)
}

// lead is the plant beside what to work on. It returns the height below it.
func (s *sheet) lead(p Page, v *view, x, y, w float64) float64 {
	const tall = 78
	picture, under := 0.0, y
	switch {
	case p.Pair != nil:
		picture = 0.56 * w
		half := (picture - 2) / 2
		_, a := s.picture(p.Pair.Hitter, x, y, half, tall-5)
		_, b := s.picture(p.Pair.Reference, x+half+2, y, half, tall-5)
		under = math.Max(a, b) + 0.8
		s.text(x, under, half, smallSize, false, "The plant of the swing", 1)
		s.text(x+half+2, under, half, smallSize, false, p.Pair.caption(), 1)
	case p.Close != nil || v.Plant != nil:
		pic := p.Close
		if pic == nil {
			for i := range p.Stills {
				if p.Stills[i].Event == swing.Plant {
					pic = &p.Stills[i]
				}
			}
		}
		picture, under = s.picture(*pic, x, y, 0.5*w, tall-5)
		picture, under = math.Max(picture, 0.25*w), under+0.8 // room for its words
		s.text(x, under, picture, smallSize, false, "The plant: front foot down and still", 1)
	}
	if picture > 0 {
		picture += gutter
	}
	return math.Max(under+lineShare*smallSize, s.advice(v, x+picture, y, w-picture, y+tall))
}

// advice is what to work on. It returns the height below it, at most end.
func (s *sheet) advice(v *view, x, y, w, end float64) float64 {
	say := func(size float64, bold bool, text string, lines int) {
		if room := int((end - y) / (lineShare * size)); room < lines {
			lines = room
		}
		if text != "" && lines > 0 {
			y = s.text(x, y, w, size, bold, text, lines)
		}
	}
	drills := func(ds []Drill, lines int) {
		for _, d := range ds {
			y += 0.8
			say(smallSize, false, "Drill, "+d.Title+": "+d.Text, lines)
		}
	}
	switch {
	case v.First != nil:
		say(headSize, true, "First: "+v.First.Title, 2)
		y += 0.6
		say(bodySize, false, v.First.Text, 5)
		if v.First.Why != "" {
			y += 0.6
			say(smallSize, false, "Why: "+v.First.Why, 5)
		}
		if v.First.Cue != "" {
			y += 0.8
			say(bodySize, true, "Think: "+v.First.Cue, 3)
		}
		drills(v.First.Drills, 4)
	case len(v.Checks) > 0:
		say(headSize, true, "Nothing stands out as first to work on", 2)
		say(bodySize, false, "No checkpoint that could be measured lies clearly outside its band.", 3)
	default:
		say(headSize, true, "Not judged", 1)
		say(bodySize, false, "No checkpoint could be measured in this clip.", 2)
	}
	if v.Second != nil {
		y += 1.8
		say(bodySize, true, "Then: "+v.Second.Title, 2)
		say(smallSize, false, v.Second.Text, 4)
		if v.Second.Cue != "" {
			say(smallSize, true, "Think: "+v.Second.Cue, 2)
		}
	}
	if len(v.Good) > 0 && end-y > 8 {
		y += 1.8
		say(bodySize, true, "Already good", 1)
		for _, g := range v.Good {
			say(smallSize, false, g, 2)
		}
	}
	return y
}

// small is the small print at the foot. It returns its upper edge.
func (s *sheet) small(p Page, v *view, x, w float64) float64 {
	cautions := "Stop when something hurts. Licensed professionals decide on injuries and on the return to play. Clear the space around " +
		"the swing and wear a helmet. Children use light bats and never swing without an adult watching. This is not medical advice."
	made := "A program found body, bat and instants in the clip. Every number carries one standard deviation; the truth lies within it in about " +
		"two of three cases. Bands marked as common practice have no scientific source. What one camera cannot see is not stated."
	for _, r := range v.Made {
		made += " " + capital(r.Name) + ": " + r.Value + "."
	}
	for _, u := range v.Unjudged {
		made += " " + u
	}
	if len(v.Unmeasured) > 0 {
		made += " Not measurable in this clip: " + strings.Join(v.Unmeasured, "; ") + "."
	}
	if len(v.Doubts) > 0 {
		made += " In doubt: " + strings.Join(v.Doubts, "; ") + "."
	}
	line := lineShare * smallSize
	inner := w - 4
	ca := s.lines(inner, smallSize, true, cautions, 4)
	ma := s.lines(w, smallSize, false, made, 7)
	top := s.h - sheetMargin - float64(len(ca)+len(ma))*line - 6
	y := top
	s.pdf.SetDrawColor(27, 31, 36)
	s.pdf.SetLineWidth(0.4)
	s.pdf.Rect(x, y, w, float64(len(ca))*line+3, "D")
	s.put(x+2, y+1.5, smallSize, true, ca)
	s.put(x, y+float64(len(ca))*line+5, smallSize, false, ma)
	s.smallTop = top - 2
	return s.smallTop
}

// notes is the box of the instructor's own words. It returns the height below it.
func (s *sheet) notes(notes []string, x, y, w, room float64) float64 {
	line := lineShare * bodySize
	most := int((room - 9) / line)
	lines := s.lines(w-8, bodySize, false, strings.Join(notes, "\n"), max(1, min(most, 12)))
	tall := float64(len(lines))*line + 7.5
	s.pdf.SetFillColor(20, 69, 107)
	s.pdf.Rect(x, y, 1.2, tall, "F")
	under := s.text(x+4, y, w-8, bodySize, true, "From your instructor", 1)
	s.put(x+4, under+0.5, bodySize, false, lines)
	return y + tall + 1.5
}
