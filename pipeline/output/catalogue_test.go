package output_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"slices"
	"strings"
	"testing"

	"plantframe/pipeline/measure"
	"plantframe/pipeline/output"
)

// spelledOut adds what a sentence of the catalogue leaves to common sense and
// a schema must say: what zero means.
func spelledOut(d measure.Definition) string {
	switch d.ID {
	case "stride_length":
		return d.Text + ": 0 = feet together, never negative"
	case "hand_path_length", "head_travel":
		return d.Text + ": 0 = still, never negative"
	case "tempo_load_touch", "tempo_touch_plant", "tempo_plant_contact":
		return d.Text + ": 0 = at once, never negative"
	}
	return d.Text
}

// TestSchemaTellsTheCatalogue keeps the schema's definitions equal to those
// that the measures are computed by; -update copies them over.
func TestSchemaTellsTheCatalogue(t *testing.T) {
	type unit struct {
		Enum []string `json:"enum"`
	}
	type branch struct {
		Description string
		Properties  struct {
			ID   struct{ Const string }
			Unit unit
		}
	}
	read := func(b []byte) map[string]branch {
		var doc struct {
			Defs map[string]struct{ OneOf []branch } `json:"$defs"`
		}
		if err := json.Unmarshal(b, &doc); err != nil {
			t.Fatal(err)
		}
		m := map[string]branch{}
		for _, br := range doc.Defs["measure_definitions"].OneOf {
			m[br.Properties.ID.Const] = br
		}
		return m
	}
	if flag.Lookup("update").Value.String() == "true" {
		b := output.Schema()
		for id, br := range read(b) {
			for _, d := range measure.Catalogue() {
				if d.ID == id {
					b = bytes.ReplaceAll(b, quoted(t, br.Description), quoted(t, spelledOut(d)))
				}
			}
		}
		if err := os.WriteFile("schema.json", b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	b, err := os.ReadFile("schema.json")
	if err != nil {
		t.Fatal(err)
	}
	all := read(b)
	for _, d := range measure.Catalogue() {
		br, ok := all[d.ID]
		if !ok {
			t.Errorf("%s is measured but the schema does not know it", d.ID)
			continue
		}
		if !slices.Equal(br.Properties.Unit.Enum, []string{d.Unit}) {
			t.Errorf("%s is in %s, the schema says %v", d.ID, d.Unit, br.Properties.Unit.Enum)
		}
		if br.Description != spelledOut(d) {
			t.Errorf("%s: the schema says %q, the catalogue %q (copy with -update)", d.ID, br.Description, spelledOut(d))
		}
		if d.Unit == "stature" && all[d.ID+"_m"].Properties.Unit.Enum == nil {
			t.Errorf("%s_m, the same in metres, is not in the schema", d.ID)
		}
	}
}

func quoted(t *testing.T, s string) []byte {
	t.Helper()
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(s); err != nil {
		t.Fatal(err)
	}
	return []byte(strings.TrimSpace(b.String()))
}
