package targets

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"plantframe/pipeline/judge"
	"plantframe/pipeline/measure"
	"plantframe/pipeline/swing"
)

// All files that come with the program load, with a text and described drills for
// every band, and the six of them differ.
func TestOwnFiles(t *testing.T) {
	want := []string{"adult-baseball", "adult-softball", "high-school-baseball", "high-school-softball", "youth-baseball", "youth-softball"}
	if got := Names(); !slices.Equal(got, want) {
		t.Fatalf("names %v", got)
	}
	drills, err := Drills("")
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]string{}
	for _, level := range Levels() {
		for _, sport := range Sports() {
			tg, err := Load(Want{Level: level, Sport: sport, Texts: "en"})
			if err != nil {
				t.Fatal(err)
			}
			if tg.Level != level || tg.Sport != sport || tg.Name != level+"-"+sport || len(tg.Bands) < 20 {
				t.Errorf("%s %s: %s, %d bands", level, sport, tg.Name, len(tg.Bands))
			}
			text := ""
			for _, b := range tg.Bands {
				text += fmt.Sprintln(b.ID, value(b.Lo), value(b.Hi))
				if b.Origin != "common practice, no source" {
					t.Errorf("%s: origin %q", b.ID, b.Origin)
				}
				if b.Text.Why == "" || (b.Lo != nil && b.Text.CueLow == "") || (b.Hi != nil && b.Text.CueHigh == "") {
					t.Errorf("%s: no reason or no cue", b.ID)
				}
				if (b.Lo != nil && len(b.DrillsLow) == 0) || (b.Hi != nil && len(b.DrillsHigh) == 0) {
					t.Errorf("%s: no drill", b.ID)
				}
				for _, d := range slices.Concat(b.DrillsLow, b.DrillsHigh) {
					if drills[d].How == "" {
						t.Errorf("%s: the drill %q is not described", b.ID, d)
					}
				}
				for _, s := range []string{b.Text.Low, b.Text.High, b.Text.In} {
					if s != "" && (!strings.Contains(s, "{value}") || strings.Count(s, "{") != strings.Count(s, "}")) {
						t.Errorf("%s: %q says no number", b.ID, s)
					}
				}
			}
			if other, twice := seen[text]; twice {
				t.Errorf("%s has the bands of %s", tg.Name, other)
			}
			seen[text] = tg.Name
		}
	}
	if none, err := Load(Want{Targets: "none"}); err != nil || !none.Empty() {
		t.Errorf("none: %v", err)
	}
}

func value(v *float64) string {
	if v == nil {
		return "open"
	}
	return fmt.Sprint(*v)
}

func write(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

const head = "name: mine\norigin: instructor\nbased_on: adult-baseball\nbands:\n"

// Every slip is refused with the file, the line and what to do.
func TestWrongTargets(t *testing.T) {
	own := "  - {id: mine, measure: bat_tilt, event: plant, view: both, unit: deg, lo: 20, hi: 60, text: {title: t, low: l, high: h, in: i}}\n"
	if _, err := Load(Want{Targets: write(t, "good.yaml", head+own)}); err != nil {
		t.Fatalf("the file that the others are made from: %v", err)
	}
	for _, c := range []struct {
		name, text string
		line       int
		msg, hint  string
	}{
		{"unknown measure", head + strings.Replace(own, "bat_tilt", "bat_tild", 1), 5, `unknown measure "bat_tild"`, "did you mean bat_tilt"},
		{"lo above hi", head + "  - {id: barrel-steep,\n     hi: 60,\n     lo: 61}\n", 7, "lo 61, which is not below hi 60", "exchange them"},
		{"lo above hi of the file below", head + "  - {id: barrel-steep, lo: 90}\n", 5, "lo 90, which is not below hi 62", "exchange"},
		{"missing unit", head + strings.Replace(own, " unit: deg,", "", 1), 5, "no unit", "add unit: deg"},
		{"wrong unit", head + strings.Replace(own, "unit: deg", "unit: ms", 1), 5, `in "ms", but bat_tilt is measured in "deg"`, "write unit: deg"},
		{"unknown event", head + strings.Replace(own, "event: plant", "event: plannt", 1), 5, `unknown event "plannt"`, "plant"},
		{"event where it is not taken", head + strings.Replace(own, "event: plant", "event: finish", 1), 5, "not taken at finish", "plant"},
		{"no event", head + strings.Replace(own, " event: plant,", "", 1), 5, "no event", "one of"},
		{"event of a span", head + "  - {id: hands-close, event: plant}\n", 5, "spans the swing", "leave event out"},
		{"unknown drill", head + "  - {id: barrel-steep, drills_high: [umbrela]}\n", 5, `unknown drill "umbrela"`, "did you mean umbrella"},
		{"three drills", head + "  - {id: barrel-steep, drills_high: [umbrella, fence, no-stride]}\n", 5, "3 drills", "best two"},
		{"view that cannot carry it", head + "  - {id: stride-length, view: rear}\n", 5, "cannot carry stride_length", "leave that view out"},
		{"unknown view", head + "  - {id: stride-length, view: top}\n", 5, `view is "top"`, "open-side"},
		{"unknown key", head + "  - {id: stride-length, high: 3}\n", 5, `no key "high"`, "half_width"},
		{"unknown key of the file", "name: a\nbandz: []\n", 2, `no key "bandz"`, "bands"},
		{"text for a number", head + "  - {id: stride-length, hi: wide}\n", 5, `"hi" is "wide"`, "0.4"},
		{"not a number", head + "  - {id: stride-length, hi: .nan}\n", 5, "must be a number", ""},
		{"open and no half width", head + strings.Replace(own, " hi: 60,", "", 1), 5, "half_width", "add half_width"},
		{"neither lo nor hi", head + "  - {id: stride-length, lo: open, hi: open}\n", 5, "neither lo nor hi", "add lo"},
		{"weight", head + "  - {id: stride-length, weight: 0}\n", 5, "weight 0", "usual"},
		{"origin", head + "  - {id: stride-length, origin: a book}\n", 5, `origin is "a book"`, "instructor"},
		{"no origin", strings.Replace(head, "origin: instructor\n", "", 1) + own, 4, "does not say its origin", "origin: instructor"},
		{"no text", head + strings.Replace(own, ", text: {title: t, low: l, high: h, in: i}", "", 1), 5, `lacks the text "title"`, "checkpoints"},
		{"no id", head + "  - {lo: 3}\n", 5, "no id", "short name"},
		{"no measure", head + "  - {id: new, lo: 3}\n", 5, "no measure", "based_on"},
		{"band twice", head + "  - {id: stride-length, lo: 0.2}\n  - {id: stride-length, lo: 0.3}\n", 6, "first in line 5", "another id"},
		{"key twice", head + "  - {id: stride-length, lo: 0.2, lo: 0.3}\n", 5, `"lo" twice`, "take one"},
		{"no bands", "name: a\n", 1, "no list of bands", "adult-baseball.yaml"},
		{"nothing", "", 0, "empty", "configs"},
		{"no YAML", "name: a\nbands: [\n", 0, "not valid YAML", "indent"},
		{"a list", "- 1\n", 1, "keys with values", "configs"},
		{"unknown base", "name: a\nbased_on: adult-golf\nbands: []\n", 2, "no targets named adult-golf", "adult-baseball"},
		{"nothing left", "name: a\norigin: instructor\nbands: []\n", 0, "leaves no band", "none"},
	} {
		path := write(t, "my.yaml", c.text)
		_, err := Load(Want{Targets: path})
		e, ok := swing.AsError(err)
		if !ok || e.Kind != swing.KindUsage {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		at := path
		if c.line > 0 {
			at += fmt.Sprintf(":%d", c.line)
		}
		if (c.line > 0 && e.Clip != at) || !strings.HasPrefix(e.Clip, path) || !strings.Contains(e.Msg, c.msg) || !strings.Contains(e.Hint, c.hint) {
			t.Errorf("%s: at %q %q, hint %q; want at %q %q, hint %q", c.name, e.Clip, e.Msg, e.Hint, at, c.msg, c.hint)
		}
	}
}

func TestBasedOn(t *testing.T) {
	dir := t.TempDir()
	save := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	save("base.yaml", "name: base\norigin: instructor\nbased_on: youth-softball\nbands:\n  - {id: stride-length, hi: 0.55}\n  - {id: coil, off: true}\n")
	tg, err := Load(Want{Targets: save("mine.yaml", "name: mine\norigin: learned\nbased_on: ./base.yaml\nbands:\n  - {id: swing-time, lo: open, half_width: 50}\n")})
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range tg.Bands {
		switch b.ID {
		case "coil":
			t.Error("a band that was taken out is there")
		case "stride-length":
			if *b.Hi != 0.55 || *b.Lo != 0.25 || b.Origin != "instructor" {
				t.Errorf("%+v", b)
			}
		case "swing-time":
			if b.Lo != nil || *b.Hi != 320 || b.Origin != "learned" {
				t.Errorf("%+v", b)
			}
		}
	}
	a := save("a.yaml", "name: a\norigin: learned\nbased_on: ./b.yaml\nbands: []\n")
	save("b.yaml", "name: b\norigin: learned\nbased_on: ./a.yaml\nbands: []\n")
	if _, err := Load(Want{Targets: a}); err == nil || !strings.Contains(err.Error(), "circle") {
		t.Errorf("circle: %v", err)
	}
	if _, err := Load(Want{Targets: filepath.Join(dir, "gone.yaml")}); err == nil || !strings.Contains(err.Error(), "no file of targets") {
		t.Errorf("gone: %v", err)
	}
	if _, err := Load(Want{Targets: "mine"}); err == nil {
		t.Error("a name that is not there")
	}
}

// Texts in another language replace the program's; a unit without words is refused.
func TestTexts(t *testing.T) {
	en, err := os.ReadFile("../../../configs/texts/en.yaml")
	if err != nil {
		t.Fatal(err)
	}
	de := strings.Replace(string(en), "title: barrel steep", "title: Schläger steil", 1)
	tg, err := Load(Want{Level: "adult", Sport: "baseball", Texts: write(t, "de.yaml", de)})
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(tg.Bands, func(b judge.Band) bool { return b.ID == "barrel-steep" })
	if tg.Bands[i].Text.Title != "Schläger steil" {
		t.Error("the text is not taken")
	}
	for name, text := range map[string]string{
		"phrase missing":  strings.Replace(string(en), "  begun:", "  # begun:", 1),
		"phrase unknown":  strings.Replace(string(en), "  begun:", "  begone:", 1),
		"unit missing":    strings.Replace(string(en), "  upper_arm:", "  upper_leg:", 1),
		"decimals broken": strings.Replace(string(en), "decimals: 0", "decimals: 0.5", 1),
	} {
		if _, err := Load(Want{Level: "adult", Sport: "baseball", Texts: write(t, "en.yaml", text)}); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
	if _, err := Load(Want{Level: "adult", Sport: "baseball", Drills: write(t, "d.yaml", "drills:\n  umbrella: {name: Umbrella}\n")}); err == nil || !strings.Contains(err.Error(), `lacks "how"`) {
		t.Errorf("drill without a description: %v", err)
	}
}

func swings(values ...float64) []Good {
	var out []Good
	for i, v := range values {
		s := 0.5
		out = append(out, Good{Name: fmt.Sprintf("clip %d", i), Swing: swing.Swing{
			View:     swing.OpenSide,
			Events:   map[swing.EventName]swing.Event{swing.Plant: {Time: 1, Sigma: 0.01}, swing.SwingStart: {Time: 1.02, Sigma: 0.01}},
			Measures: []swing.Measure{{ID: "bat_tilt", Event: swing.Plant, Unit: "deg", Value: &v, Sigma: &s, Status: swing.Measured}},
		}})
	}
	return out
}

// Median 41 and median absolute deviation 2 of 37, 39, 41, 43, 90: spread 2.97,
// band 35 to 47 whatever the outlier says.
func TestLearn(t *testing.T) {
	l, err := Learn(swings(39, 41, 37, 43, 90), "adult-baseball", "academy", judge.DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	b := l.Bands[0]
	if len(l.Bands) != 1 || b.ID != "barrel-steep" || b.N != 5 || b.Median != 41 || math.Abs(b.Spread-2*1.4826) > 1e-9 || *b.Lo != 35 || *b.Hi != 47 {
		t.Errorf("%+v", l.Bands)
	}
	if len(l.Outliers) != 1 || !strings.HasPrefix(l.Outliers[0], "clip 4: barrel-steep is 90") {
		t.Errorf("outliers %v", l.Outliers)
	}
	if len(l.Kept) < 15 {
		t.Errorf("kept %v", l.Kept)
	}
	tg, err := Load(Want{Targets: write(t, "academy.yaml", string(l.YAML))})
	if err != nil {
		t.Fatalf("the file does not load: %v\n%s", err, l.YAML)
	}
	for _, b := range tg.Bands {
		if learned := b.Origin == "learned"; learned != (b.ID == "barrel-steep") {
			t.Errorf("%s is %s", b.ID, b.Origin)
		}
	}
	// A swing that had begun before plant shows no launch position.
	begun := swings(39, 41, 37, 43, 90)
	begun[4].Swing.Events[swing.SwingStart] = swing.Event{Time: 0.9, Sigma: 0.01}
	if _, err := Learn(begun, "adult-baseball", "x", judge.DefaultOptions()); err == nil || !strings.Contains(err.Error(), "no measure could be read") {
		t.Errorf("four launch positions: %v", err)
	}
	if _, err := Learn(swings(1, 2, 3, 4), "adult-baseball", "x", judge.DefaultOptions()); err == nil || !strings.Contains(err.Error(), "too few") {
		t.Errorf("four swings: %v", err)
	}
	// Equal swings: the band is as wide as the measurement's own error.
	if l, err = Learn(swings(40, 40, 40, 40, 40), "adult-baseball", "x", judge.DefaultOptions()); err != nil || l.Bands[0].Spread != 0.5 {
		t.Errorf("equal swings: %v %+v", err, l.Bands)
	}
}

// Every measure that hitters are judged by is in the catalogue with that unit, and
// the rules of causes speak of measures that exist.
func TestMeasuresAreKnown(t *testing.T) {
	if len(measureIDs()) != len(measure.Catalogue()) {
		t.Error("measures are missing")
	}
	if d, ok := known("barrel_distance_m"); !ok || d.Unit != "m" {
		t.Errorf("metres: %+v", d)
	}
	if _, ok := known("bat_tilt_m"); ok {
		t.Error("degrees in metres")
	}
}
