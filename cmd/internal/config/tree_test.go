package config

import (
	"math"
	"reflect"
	"testing"
	"time"
)

func TestSnake(t *testing.T) {
	for in, want := range map[string]string{
		"Out": "out", "MaxPixels": "max_pixels", "HeightM": "height_m", "FFmpeg": "ffmpeg", "JSON": "json",
		"JSONLines": "json_lines", "CacheLimitMb": "cache_limit_mb", "From2To": "from2_to", "ROI": "roi",
	} {
		if got := snake(in); got != want {
			t.Errorf("snake(%s) = %s, want %s", in, got, want)
		}
	}
}

type inner struct {
	Cutoff float64
	Wait   time.Duration
	Call   func() // no setting
}

type outer struct {
	Name  string
	Count int
	Seed  uint64
	On    bool
	Three [3]float64
	Words []string
	Track inner
	Base
}

// Base is embedded: its settings stand beside those of outer.
type Base struct{ Side word }

type word string

func TestLeavesAndAssign(t *testing.T) {
	var o outer
	all := map[string]leaf{}
	var order []string
	for _, l := range leaves(reflect.ValueOf(&o).Elem(), "") {
		all[l.key] = l
		order = append(order, l.key)
	}
	if want := []string{"name", "count", "seed", "on", "three", "words", "track.cutoff", "track.wait", "side"}; !reflect.DeepEqual(order, want) {
		t.Fatalf("settings %v, want %v", order, want)
	}
	for key, raw := range map[string]any{
		"name": 1.5, "count": "12", "seed": 7, "on": "true", "three": []any{1, 2.5, "3"}, "words": "a, b",
		"track.cutoff": 8, "track.wait": "90s", "side": "R",
	} {
		if err := assign(all[key].value, raw); err != nil {
			t.Errorf("%s: %v", key, err)
		}
	}
	want := outer{
		Name: "1.5", Count: 12, Seed: 7, On: true, Three: [3]float64{1, 2.5, 3}, Words: []string{"a", "b"},
		Track: inner{Cutoff: 8, Wait: 90 * time.Second}, Base: Base{"R"},
	}
	if !reflect.DeepEqual(o, want) {
		t.Errorf("got %+v, want %+v", o, want)
	}
	for key, wantText := range map[string]string{"track.wait": "1m30s", "side": "R"} {
		if got := plain(all[key].value); got != wantText {
			t.Errorf("plain %s is %v", key, got)
		}
	}
	for _, c := range []struct {
		key string
		raw any
	}{
		{"count", "many"},
		{"count", 1.5},
		{"count", "99999999999999999999"},
		{"seed", -1},
		{"on", "perhaps"},
		{"track.cutoff", "8 Hz"},
		{"track.cutoff", "NaN"},
		{"track.cutoff", math.Inf(1)},
		{"track.wait", 60},
		{"three", []any{1, 2}},
		{"three", "1,2,x"},
		{"name", []any{"a"}},
		{"name", map[string]any{"a": 1}},
	} {
		if err := assign(all[c.key].value, c.raw); err == nil {
			t.Errorf("%s took %v", c.key, c.raw)
		}
	}
}
