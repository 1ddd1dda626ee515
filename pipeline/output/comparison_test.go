package output

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"plantframe/pipeline/swing"
)

// comparedExample is a comparison with one of everything.
func comparedExample() swing.Comparison {
	a := example()
	b := swing.Swing{Index: 2, Bats: swing.Left, View: swing.OpenSide}
	return swing.Comparison{
		A:     swing.Party{Clip: swing.Clip{Path: "folder/today.mp4", SHA256: "ab12"}, Swing: &a.Swings[0], Zero: 1.55277777, Stature: 512.345678},
		B:     swing.Party{Clip: swing.Clip{Path: `model "good".mov`, SHA256: "cd34"}, Swing: &b, Zero: 2.25, Stature: 380, Mirrored: true},
		Align: swing.Plant, SameView: true,
		Events: []swing.EventDifference{
			{Event: swing.Lift, A: ptr(-455.123456), Verdict: swing.NotComparable, Reason: "lift was not found in the reference"},
			{Event: swing.Contact, A: ptr(180.1), B: ptr(210.22222), Value: ptr(-30.12222), Sigma: ptr(9.87654), Verdict: swing.Differs},
		},
		Measures: []swing.MeasureDifference{
			{ID: "bat_tilt", Event: swing.Plant, Unit: "deg", A: ptr(40.128), SigmaA: ptr(3), B: ptr(42), SigmaB: ptr(4), Value: ptr(-1.872), Sigma: ptr(5), Verdict: swing.NoClearDifference, Weak: true, Reason: "blurred"},
			{ID: "hand_drift", Unit: "stature", A: ptr(0.04321987), SigmaA: ptr(0.01), B: ptr(0.1), SigmaB: ptr(0.01), Value: ptr(-0.05678013), Sigma: ptr(0.0141421), Verdict: swing.Differs},
			{ID: "lead_arm_gap", Event: swing.Plant, Unit: "shoulder_width", B: ptr(1), SigmaB: ptr(0.1), Verdict: swing.NotComparable, Reason: "not measurable in the hitter's swing: wrong view"},
		},
		Warnings: []swing.Warning{{Code: "aligned-elsewhere", Text: "aligned at touch"}},
	}
}

func comparisonSchemaOf(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(ComparisonSchema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("comparison.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("comparison.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestComparisonGoldenFitsItsSchema(t *testing.T) {
	s := comparisonSchemaOf(t)
	for name, list := range map[string][]swing.Comparison{"one": {comparedExample()}, "none": nil} {
		var b bytes.Buffer
		if err := WriteComparisons(&b, "1.2.3", list); err != nil {
			t.Fatal(err)
		}
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(b.Bytes()))
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Validate(v); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if name != "one" {
			continue
		}
		path := filepath.Join("testdata", "comparison.json")
		if *update {
			if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(b.Bytes(), want) {
			t.Errorf("differs from %s (run with -update if that is meant):\n%s", path, b.Bytes())
		}
	}
}

func TestComparisonSchemaRefusesWrongDocuments(t *testing.T) {
	s := comparisonSchemaOf(t)
	var b bytes.Buffer
	if err := WriteComparisons(&b, "1", []swing.Comparison{comparedExample()}); err != nil {
		t.Fatal(err)
	}
	first := func(d map[string]any) map[string]any { return d["comparisons"].([]any)[0].(map[string]any) }
	event := func(d map[string]any, i int) map[string]any { return first(d)["events"].([]any)[i].(map[string]any) }
	measure := func(d map[string]any, i int) map[string]any { return first(d)["measures"].([]any)[i].(map[string]any) }
	for name, spoil := range map[string]func(d map[string]any){
		"no schema":                   func(d map[string]any) { delete(d, "schema") },
		"unknown instant":             func(d map[string]any) { first(d)["aligned_at"] = "stance" },
		"no party":                    func(d map[string]any) { delete(first(d), "b") },
		"a size of nothing":           func(d map[string]any) { first(d)["a"].(map[string]any)["stature_px"] = 0.0 },
		"a number, not comparable":    func(d map[string]any) { event(d, 0)["difference_ms"] = 1.0 },
		"no reason":                   func(d map[string]any) { event(d, 0)["reason"] = "" },
		"a verdict without a number":  func(d map[string]any) { event(d, 1)["difference_ms"] = nil },
		"a number without an error":   func(d map[string]any) { measure(d, 1)["sigma"] = nil },
		"a negative error":            func(d map[string]any) { measure(d, 1)["sigma"] = -1.0 },
		"another verdict":             func(d map[string]any) { measure(d, 0)["verdict"] = "better" },
		"a verdict without a measure": func(d map[string]any) { measure(d, 0)["a"] = nil },
	} {
		var d map[string]any
		if err := json.Unmarshal(b.Bytes(), &d); err != nil {
			t.Fatal(err)
		}
		if err := s.Validate(d); err != nil {
			t.Fatal(err)
		}
		spoil(d)
		if s.Validate(d) == nil {
			t.Errorf("%s is accepted", name)
		}
	}
}

func TestComparisonKeepsOutWhatIsNoNumber(t *testing.T) {
	c := comparedExample()
	c.Measures[0].Value = ptr(math.NaN())
	var b bytes.Buffer
	err := WriteComparisons(&b, "1", []swing.Comparison{c})
	if e, ok := swing.AsError(err); !ok || e.Kind != swing.KindInternal || b.Len() != 0 {
		t.Errorf("%v, %d bytes", err, b.Len())
	}
	err = WriteComparisons(refusing{}, "1", nil)
	if e, ok := swing.AsError(err); !ok || e.Kind != swing.KindOutput || !strings.Contains(err.Error(), "no room") {
		t.Errorf("%v", err)
	}
}

// refusing is a full disk.
type refusing struct{}

func (refusing) Write([]byte) (int, error) { return 0, errors.New("no room") }
