package report

import (
	"bytes"
	"fmt"
	pixels "image"
	"image/color"
	"image/jpeg"
	"io"
	"regexp"
	"strings"
	"testing"

	"plantframe/pipeline/swing"
)

func jpg(t *testing.T, w, h int) []byte {
	t.Helper()
	m := pixels.NewGray(pixels.Rect(0, 0, w, h))
	for i := range m.Pix {
		m.Pix[i] = uint8(i)
	}
	m.SetGray(0, 0, color.Gray{})
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// printed is a page with pictures that can be read.
func printed(t *testing.T) Page {
	pg := sample()
	pg.Stills = []Picture{{Event: swing.Plant, Type: "image/jpeg", Data: jpg(t, 320, 180)}}
	return pg
}

func pdfOf(t *testing.T, pg Page, paper Paper) string {
	t.Helper()
	var b bytes.Buffer
	if err := WritePDF(&b, pg, paper); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

var (
	onePage = regexp.MustCompile(`/Type /Pages\s*/Kids \[\d+ 0 R \]\s*/Count 1\b`)
	images  = regexp.MustCompile(`/Subtype /Image`)
)

// One page of the right size whatever is on it, the same bytes every time.
func TestSheet(t *testing.T) {
	pg := printed(t)
	for paper, box := range map[Paper]string{A4: "[0 0 595.28 841.89]", Letter: "[0 0 612.00 792.00]"} {
		got := pdfOf(t, pg, paper)
		if !strings.HasPrefix(got, "%PDF-1.") || !onePage.MatchString(got) || !strings.Contains(got, box) {
			t.Errorf("%s: no single page of %s", paper, box)
		}
		if got != pdfOf(t, pg, paper) {
			t.Errorf("%s: equal pages, other bytes", paper)
		}
		if n := len(images.FindAllString(got, -1)); n != 1 {
			t.Errorf("%s: %d pictures", paper, n)
		}
	}
	pg.Pair = &Pair{Hitter: pg.Stills[0], Reference: Picture{Type: "image/jpeg", Data: jpg(t, 100, 90)}, Name: "good"}
	if n := len(images.FindAllString(pdfOf(t, pg, A4), -1)); n != 2 {
		t.Errorf("beside a reference: %d pictures", n)
	}
	if err := WritePDF(io.Discard, pg, "a5"); err == nil || !strings.Contains(err.Error(), "a5") {
		t.Errorf("%v", err)
	}
	if err := WritePDF(io.Discard, Page{}, A4); err == nil {
		t.Error("a swing that is not there is reported on")
	}
	if err := WritePDF(failing{}, pg, A4); err == nil || !strings.Contains(err.Error(), "cannot be written") {
		t.Errorf("a full disk gives %v", err)
	}
	bare := Page{Analysis: swing.Analysis{Swings: []swing.Swing{{Index: 1, Bats: swing.Right, View: swing.Rear}}}}
	if got := pdfOf(t, bare, A4); !onePage.MatchString(got) {
		t.Error("an empty analysis gives no page")
	}
	pg.Stills[0].Data = []byte("no picture") // ours always are; a broken one must not pass for a report
	pg.Pair = nil
	if err := WritePDF(io.Discard, pg, A4); err == nil {
		t.Error("a broken picture is printed")
	}
}

// However much there is to say, nothing leaves the page or runs into the small print.
func TestSheetHolds(t *testing.T) {
	pg := printed(t)
	s := &pg.Analysis.Swings[0]
	long := strings.Repeat("quite a long sentence about the swing, ", 30)
	s.Findings[0].Text, s.Findings[0].Why = long, long
	for i := range 45 {
		id := fmt.Sprint("m", i)
		s.Measures = append(s.Measures, swing.Measure{ID: id, Event: swing.Plant, Value: p(float64(i)), Sigma: p(2), Unit: "shoulder_width", Status: swing.Measured})
		s.Findings = append(s.Findings, swing.Finding{ID: id, Title: long[:60], Measure: id, Event: swing.Plant, Status: swing.NearEdge, Lo: p(3), Hi: p(20)})
		s.Warnings = append(s.Warnings, swing.Warning{Text: long})
	}
	pg.Notes, pg.Hitter = strings.Repeat(long+"\n\n", 10), strings.Repeat("Longname", 30)
	for _, size := range []string{"A4", "Letter"} {
		sh, err := newSheet(size)
		if err != nil {
			t.Fatal(err)
		}
		v := newView(pg)
		sh.lay(pg, v)
		if err := sh.pdf.Error(); err != nil {
			t.Fatal(err)
		}
		if sh.low > sh.h-sheetMargin+1 || sh.wide > sh.w-sheetMargin+0.5 || sh.low < sh.h/2 {
			t.Errorf("%s: letters down to %.1f of %.1f mm and out to %.1f of %.1f mm", size, sh.low, sh.h, sh.wide, sh.w)
		}
		if sh.shown == 0 || sh.shown >= len(v.Checks) || sh.checksEnd > sh.smallTop {
			t.Errorf("%s: %d of %d checkpoints, down to %.1f mm; the small print begins at %.1f mm", size, sh.shown, len(v.Checks), sh.checksEnd, sh.smallTop)
		}
	}
}

func TestLines(t *testing.T) {
	s, err := newSheet("A4")
	if err != nil {
		t.Fatal(err)
	}
	got := s.lines(20, 9, false, "one two three four five six seven eight", 2)
	if len(got) != 2 || !strings.HasSuffix(got[1], " …") {
		t.Errorf("%q", got)
	}
	for _, l := range s.lines(20, 9, false, strings.Repeat("endless", 20), 99) {
		if s.width(l) > 20 {
			t.Errorf("%q is %g mm wide", l, s.width(l))
		}
	}
	if got := s.lines(50, 9, false, "83 ± 2°, −5 µ → Żółć 日本 \x07🏏\nnew", 9); fmt.Sprint(got) != "[83 ± 2°, −5 µ → Żółć ?? ? new]" {
		t.Errorf("%v", got)
	}
	if got := s.lines(50, 9, false, "", 3); len(got) != 0 {
		t.Errorf("%v", got)
	}
}

func TestNotesAreReadAsText(t *testing.T) {
	got := paragraphs("# Good *work*\r\n\r\n- **hands** close\n* `steep`\n\n> a_b __bold__ 5 * 3\n\n\n")
	want := []string{"Good *work*", "• hands close\n• steep", "a_b bold 5 * 3"}
	if fmt.Sprintf("%q", got) != fmt.Sprintf("%q", want) {
		t.Errorf("%q, want %q", got, want)
	}
}

func trend(days ...float64) swing.Trend {
	t := swing.Trend{ID: "steep", Title: "barrel <steep>", Unit: "deg", View: swing.Rear, Bats: swing.Left, Lo: p(10), Hi: p(60), Verdict: swing.OneDayOnly}
	for i, v := range days {
		t.Days = append(t.Days, swing.TrendDay{Day: fmt.Sprintf("2026-03-%02d", 1+10*i), Value: v, Sigma: 3, Swings: 2})
	}
	if len(days) > 1 {
		t.Verdict, t.Heading, t.Change, t.ChangeSigma, t.Missing = swing.Changed, swing.Toward, days[len(days)-1]-days[0], 4, 1
	}
	return t
}

// never are things that no page may hold.
func never(t *testing.T, page string) {
	t.Helper()
	for _, bad := range []string{"<script", "<steep>", "http:", "https:", "javascript:", "ZgotmplZ", "NaN", "Inf", `src=""`, "%!"} {
		if strings.Contains(page, bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
}

func holds(t *testing.T, page string, wants ...string) {
	t.Helper()
	for _, w := range wants {
		if !strings.Contains(page, w) {
			t.Errorf("the page lacks %q", w)
		}
	}
}

func TestProgressPage(t *testing.T) {
	pic := Picture{Type: "image/jpeg", Data: []byte{1, 2, 3}}
	var b bytes.Buffer
	err := WriteProgress(&b, Progress{
		Hitter: `Al "<script>`, Clips: 3, Swings: 5, Days: 2, FirstDay: "2026-03-01", LastDay: "2026-03-11", Judged: 2, Undated: 1, ChangeSigmas: 2.6,
		Trends: []swing.Trend{trend(83, 40), trend(-0.01)}, FirstPicture: &DayPicture{pic, "2026-03-01", swing.Rear}, LatestPicture: &DayPicture{pic, "2026-03-11", swing.Rear},
	})
	if err != nil {
		t.Fatal(err)
	}
	holds(t, b.String(), "83 → 40 ± 3°; change −43 ± 4°", "aim: 10 to 60°", "changed, toward the band", "One swing a day", "Not measurable in 1 swing.",
		"From behind, batting left-handed", "First: 1 Mar 2026", "Latest: 11 Mar 2026", "5 swings in 3 clips on 2 days, 1 Mar 2026 to 11 Mar 2026", "1 clip told no day",
		"Nothing stands out", "Changed toward the band: Barrel &lt;steep&gt;.", "one day only", ">0 ± 3°", "2.6 times", "not medical advice")
	never(t, b.String())
	b.Reset()
	if err := WriteProgress(&b, Progress{Hitter: "B", Clips: 1}); err != nil {
		t.Fatal(err)
	}
	holds(t, b.String(), "1 clip, no swing in them yet")
	never(t, b.String())
	if err := WriteProgress(failing{}, Progress{}); err == nil {
		t.Error("a full disk is no error")
	}
}

func TestRosterPage(t *testing.T) {
	up, down := trend(83, 40), trend(30, 70)
	var b bytes.Buffer
	err := WriteRoster(&b, Roster{
		Rows: []RosterRow{
			{Name: "A<steep>", Link: "./progress/A.html", Bats: []swing.Bats{swing.Right, swing.Left}, Level: "high-school", Swings: 4, Days: 2, LastDay: "2026-03-11", Judged: 2, Need: "short stride", NeedSwings: 2, Cue: "Go.", Better: &up, Worse: &down},
			{Name: "B", Swings: 1, Days: 1, LastDay: "2026-03-11"},
			{Name: "C", Swings: 1, Days: 1, LastDay: "2026-03-11", Judged: 1},
			{Name: "D"},
		},
		Movers: []Mover{{"A", up}},
	})
	if err != nil {
		t.Fatal(err)
	}
	holds(t, b.String(), `href="./progress/A.html"`, "right-handed, left-handed, high school, 4 swings on 2 days", "Short stride", "in 2 of 2 swings", "Barrel &lt;steep&gt; −43 ± 4°",
		"not judged", "nothing stands out", "no swing yet", "A: Barrel &lt;steep&gt;", "4 hitters, 6 swings")
	never(t, b.String())
	b.Reset()
	if err := WriteRoster(&b, Roster{}); err != nil {
		t.Fatal(err)
	}
	holds(t, b.String(), "Nobody is in the store yet")
}

// Names of files may hold anything; links stay below the page.
func TestIndexPage(t *testing.T) {
	var b bytes.Buffer
	err := WriteIndex(&b, Index{Tables: []string{"measures.csv"}, Clips: []Clip{
		{Name: "a<steep>.mp4", Folder: `javascript:a "b`, Hitter: "Al", Bats: swing.Left, View: swing.OpenSide, Swings: 2, Needs: []string{"barrel steep", ""}, Thumb: "thumb.jpg", Files: []string{"report.html", "report-2.html", "report.pdf", "overlay.mp4"}},
		{Name: "b.mp4", Folder: "#b?", Swings: 1},
		{Name: "c.mp4", Folder: "c"},
	}})
	if err != nil {
		t.Fatal(err)
	}
	html := strings.ReplaceAll(b.String(), `"./javascript:a%20%22b/`, `"./FOLDER/`)
	holds(t, html, `href="./FOLDER/report.html" aria-label="report of a&lt;steep&gt;.mp4"`, "report 2", ">sheet<", `src="./FOLDER/thumb.jpg"`, "Swing 1: barrel steep; swing 2: nothing stands out",
		"Al, left-handed, open side", "Not judged", "No swing found", "all measures (CSV)", "3 clips, 3 swings", "no picture")
	never(t, html)
}
