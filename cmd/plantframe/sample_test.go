package main

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"plantframe/pipeline/output"
	"plantframe/pipeline/swing"
)

// The sample clips through the whole program with the real networks: the one
// test that would notice if stages that are right by themselves did not fit
// together. The true times are those of the drawn motion, see the README in
// testdata/clips. Bounds are loose on purpose (two frames, and three of the
// stated sigmas): accuracy is measured by scripts/validate, not here.
func TestSampleClips(t *testing.T) {
	out := t.TempDir()
	var stdout, stderr bytes.Buffer
	code := run(t.Context(), []string{"analyze", "../../testdata/clips", "--out", out, "--no-cache"}, &stdout, &stderr)
	if code != 0 {
		t.Fatalf("exit code %d\n%s\n%s", code, stdout.String(), stderr.String())
	}
	schema := compiled(t)
	for _, c := range []struct {
		name           string
		bats           swing.Bats
		view           swing.View
		plant, contact float64 // s
	}{
		{"open-right", swing.Right, swing.OpenSide, 1.742, 1.940},
		{"open-left", swing.Left, swing.OpenSide, 1.542, 1.740},
		{"rear-right", swing.Right, swing.Rear, 1.542, 1.740},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := filepath.Join(out, c.name)
			doc, err := os.ReadFile(filepath.Join(dir, "analysis.json"))
			if err != nil {
				t.Fatal(err)
			}
			checkSchema(t, schema, doc)
			a, err := output.ReadJSON(bytes.NewReader(doc))
			if err != nil {
				t.Fatal(err)
			}
			if len(a.Swings) != 1 {
				t.Fatalf("%d swings, want 1", len(a.Swings))
			}
			s := a.Swings[0]
			if s.Bats != c.bats || s.View != c.view {
				t.Errorf("bats %s, view %s; want %s, %s", s.Bats, s.View, c.bats, c.view)
			}
			near(t, "plant", s.Events[swing.Plant], c.plant)
			near(t, "contact", s.Events[swing.Contact], c.contact)
			inOrder(t, s.Events)
			for _, f := range []string{"overlay.mp4", "stills/1-plant.png", "stills/1-contact.png", "stills/1-stance.png"} {
				if st, err := os.Stat(filepath.Join(dir, f)); err != nil || st.Size() < 10_000 {
					t.Errorf("%s: missing or empty (%v)", f, err)
				}
			}
		})
	}
}

// near allows two frames of a 60 fps clip and three stated sigmas.
func near(t *testing.T, name string, e swing.Event, want float64) {
	t.Helper()
	d := math.Abs(e.Time - want)
	if e.Sigma <= 0 || d > 2.0/60+3*e.Sigma || e.Sigma > 0.1 {
		t.Errorf("%s at %.3f ± %.3f s, true %.3f s", name, e.Time, e.Sigma, want)
	}
}

// inOrder checks that the events found follow each other. Lift is left out:
// the weight is farthest back just before or just after the foot leaves. So is
// swing-start, but before contact: some bats turn before the foot is planted.
func inOrder(t *testing.T, events map[swing.EventName]swing.Event) {
	t.Helper()
	last := math.Inf(-1)
	for _, name := range swing.EventNames() {
		e, ok := events[name]
		if !ok || name == swing.Lift {
			continue
		}
		if name == swing.SwingStart {
			if c, ok := events[swing.Contact]; ok && e.Time >= c.Time {
				t.Errorf("swing-start at %.3f s comes after contact at %.3f s", e.Time, c.Time)
			}
			continue
		}
		if e.Time < last-1e-9 {
			t.Errorf("%s at %.3f s comes before its forerunner at %.3f s", name, e.Time, last)
		}
		last = e.Time
	}
}

func compiled(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(output.Schema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("analysis.schema.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("analysis.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func checkSchema(t *testing.T, s *jsonschema.Schema, doc []byte) {
	t.Helper()
	var v any
	if err := json.Unmarshal(doc, &v); err != nil {
		t.Fatal(err)
	}
	if err := s.Validate(v); err != nil {
		t.Errorf("analysis.json against its schema: %v", err)
	}
}
