package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"plantframe/cmd/internal/store"
	"plantframe/pipeline/swing"
)

// fillStore stores days of three swings each whose bat tilt is given.
func fillStore(t *testing.T, file, hitter string, tilts ...float64) {
	t.Helper()
	r, err := store.Open(t.Context(), file)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for d, tilt := range tilts {
		for k := range 3 {
			v, sigma, lo, hi := tilt+float64(k)-1, 2.0, 10.0, 60.0
			f := swing.Finding{ID: "steep", Title: "barrel steep", Measure: "bat_tilt", Event: swing.Plant, Status: swing.InBand, Text: "Steep.", Lo: &lo, Hi: &hi, Drills: []string{}}
			if v > hi {
				f.Status, f.Priority, f.Text, f.Cue = swing.OutOfBand, 1, fmt.Sprintf("The barrel lies flat: %.0f ± 2°.", v), "Up."
			}
			a := swing.Analysis{
				Clip: swing.Clip{Path: "c.mp4", SHA256: fmt.Sprintf("%s-%d-%d", hitter, d, k)},
				Swings: []swing.Swing{{
					Index: 1, Bats: swing.Right, View: swing.OpenSide, Events: map[swing.EventName]swing.Event{swing.Plant: {Time: 1}},
					Measures: []swing.Measure{{ID: "bat_tilt", Event: swing.Plant, Value: &v, Sigma: &sigma, Unit: "deg", Status: swing.Measured}},
					Findings: []swing.Finding{f},
				}},
			}
			_, err := r.Save(t.Context(), nil, store.Entry{
				Hitter: store.Hitter{Name: hitter}, Analysis: a, Shot: time.Date(2026, 3, 4+7*d, 0, 0, 0, 0, time.Local), ShotSource: "name",
				Stills: []store.Still{{Swing: 1, Event: swing.Plant, Type: "image/jpeg", Data: []byte(fmt.Sprintf("picture of day %d, %d", d, k))}},
			})
			if err != nil {
				t.Fatal(err)
			}
		}
	}
}

func TestProgress(t *testing.T) {
	dir := t.TempDir()
	file, out := filepath.Join(dir, "records.db"), filepath.Join(dir, "out")
	fillStore(t, file, "Sam/<b> Reed", 85, 70, 40)
	code, stdout, stderr := try(t, "progress", "sam/<b>", "REED", "--store", file, "--out", out)
	if code != exitDone {
		t.Fatalf("exit code %d\n%s", code, stderr)
	}
	mustContain(t, stdout, "9 swings on 3 days, 2026-03-04 to 2026-03-18", "barrel steep", "changed, toward the band", "-45 ±", "10 to 60°")
	b, err := os.ReadFile(filepath.Join(out, "progress", "Sam_<b> Reed.html"))
	if err != nil {
		t.Fatal(err)
	}
	html := string(b)
	// The first picture of the first day, the last one of the latest.
	mustContain(t, html, "Sam/&lt;b&gt; Reed: progress", "changed, toward the band", "First: 4 Mar 2026", "Latest: 18 Mar 2026",
		"data:image/jpeg;base64,cGljdHVyZSBvZiBkYXkgMCwgM", "data:image/jpeg;base64,cGljdHVyZSBvZiBkYXkgMiwgM", "not medical advice")
	for _, never := range []string{"<script", "http:", "https:", "<b> Reed", "NaN", "ZgotmplZ"} {
		if strings.Contains(html, never) {
			t.Errorf("the page holds %q", never)
		}
	}
	code, stdout, _ = try(t, "progress", "Sam/<b> Reed", "--store", file, "--out", out, "--json")
	var line progressLine
	if err := json.Unmarshal([]byte(stdout), &line); err != nil || code != exitDone {
		t.Fatalf("exit code %d, %v\n%s", code, err, stdout)
	}
	if line.Schema != progressSchema || line.Days != 3 || len(line.Trends) != 1 || line.Trends[0].Heading != swing.Toward || line.First != nil || !exists(line.Page) {
		t.Errorf("%+v", line)
	}
	for name, c := range map[string]struct {
		args []string
		code int
		text string
	}{
		"nobody":     {[]string{"progress", "Reed", "--store", file, "--out", out}, exitFailed, "did you mean Sam/<b> Reed?"},
		"no name":    {[]string{"progress", "--store", file}, exitUsage, "no hitter was named"},
		"no store":   {[]string{"progress", "Sam", "--store", "none"}, exitUsage, "switched off"},
		"no targets": {[]string{"progress", "Sam", "--store", file, "--targets", "nowhere"}, exitUsage, "no targets named nowhere"},
	} {
		code, _, stderr := try(t, c.args...)
		if code != c.code || !strings.Contains(stderr, c.text) {
			t.Errorf("%s: exit code %d\n%s", name, code, stderr)
		}
	}
}

func TestRoster(t *testing.T) {
	dir := t.TempDir()
	file, out := filepath.Join(dir, "records.db"), filepath.Join(dir, "out")
	code, stdout, stderr := try(t, "roster", "--store", file, "--out", out)
	if code != exitDone {
		t.Fatalf("exit code %d\n%s", code, stderr)
	}
	mustContain(t, stdout, "Nobody is in the store yet")
	fillStore(t, file, "=Ann", 30, 80)
	fillStore(t, file, "Bo", 50)
	code, stdout, stderr = try(t, "roster", "--store", file, "--out", out)
	if code != exitDone {
		t.Fatalf("exit code %d\n%s", code, stderr)
	}
	mustContain(t, stdout, "=Ann 6 2 2026-03-11 barrel steep (3 of 3)", "Bo 3 1 2026-03-04 nothing stands out", "Biggest movers", "away from the band")
	f, err := os.Open(filepath.Join(out, rosterTable))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) != 3 {
		t.Fatalf("%v: %v", err, rows)
	}
	ann := map[string]string{}
	for i, name := range rows[0] {
		ann[name] = rows[1][i]
	}
	for key, want := range map[string]string{
		"hitter": "'=Ann", "bats": "R", "swings": "6", "days": "2", "first_id": "steep", "first_swings": "3", "judged_swings": "3",
		"cue": "Up.", "better": "", "worse": "steep", "worse_change": "50", "worse_unit": "deg", "last_day": "2026-03-11",
	} {
		if ann[key] != want {
			t.Errorf("%s is %q, want %q", key, ann[key], want)
		}
	}
	html, err := os.ReadFile(filepath.Join(out, rosterPage))
	if err != nil {
		t.Fatal(err)
	}
	mustContain(t, string(html), `href="./progress/=Ann.html"`, "in 3 of 3 swings", "=Ann: Barrel steep")
	if !exists(filepath.Join(out, "progress", "=Ann.html")) || !exists(filepath.Join(out, "progress", "Bo.html")) {
		t.Error("pages of hitters are missing")
	}
	code, stdout, _ = try(t, "roster", "--store", file, "--out", out, "--json")
	var line rosterLine
	if err := json.Unmarshal([]byte(stdout), &line); err != nil || code != exitDone || len(line.Hitters) != 2 || len(line.Movers) != 1 || line.Hitters[1].First != nil {
		t.Errorf("exit code %d, %v\n%s", code, err, stdout)
	}
}

func TestPageNames(t *testing.T) {
	got := pageNames([]store.Hitter{{ID: "0123456789abcdef", Name: "A/B"}, {ID: "fedcba9876543210", Name: "a_b"}, {ID: "1", Name: "..."}, {ID: "2", Name: "J. R."}})
	if want := "[A_B.html a_b-fedcba98.html clip.html J. R.html]"; fmt.Sprint(got) != want {
		t.Errorf("%v", got)
	}
}
