package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

const (
	truthSchema    = "hitclip-truth/1"
	analysisSchema = "plantframe/analysis/1"
	truthSuffix    = ".truth.json"
)

// analysis is the part of analysis.json that is scored.
type analysis struct {
	path   string
	Schema string `json:"schema"`
	Clip   struct {
		File string `json:"file"`
	} `json:"clip"`
	Swings []analysedSwing `json:"swings"`
}

type analysedSwing struct {
	Bats   string                   `json:"bats"`
	View   string                   `json:"view"`
	Window [2]float64               `json:"window_s"`
	Events map[string]analysedEvent `json:"events"`
	Track  struct {
		Names  []string       `json:"keypoint_names"`
		Times  []float64      `json:"times_s"`
		Points [][][]*float64 `json:"points"`
	} `json:"track"`
	Bat      *seenBat          `json:"bat"`
	Measures []analysedMeasure `json:"measures"`
}

type analysedEvent struct {
	Time  float64 `json:"time_s"`
	Sigma float64 `json:"sigma_s"`
}

type analysedMeasure struct {
	ID     string   `json:"id"`
	Event  string   `json:"event"`
	Value  *float64 `json:"value"`
	Unit   string   `json:"unit"`
	Sigma  *float64 `json:"sigma"`
	Status string   `json:"status"`
}

// truth is one truth file.
type truth struct {
	path    string
	Schema  string   `json:"schema"`
	Video   string   `json:"video"`
	Bats    string   `json:"bats"`
	View    string   `json:"view"` // open or rear
	FPS     float64  `json:"fps"`
	Width   int      `json:"width"`
	Height  int      `json:"height"`
	Stature float64  `json:"height_m"`
	Names   []string `json:"keypoint_names"`
	Events  map[string]struct {
		S float64 `json:"s"`
	} `json:"events"`
	Frames []truthFrame `json:"frame_truth"`
	index  map[string]int
}

type truthFrame struct {
	T   float64      `json:"t"`
	KP  [][3]float64 `json:"kp"`
	KP3 [][3]float64 `json:"kp3"`
	// The bat's ends in the picture and in space; nil where there is none.
	BatPx *batEnds `json:"bat_px"`
	Bat3  *batEnds `json:"bat3"`
}

// stem is the clip's name without folders and extension.
func stem(name string) string {
	name = filepath.Base(filepath.ToSlash(name))
	return strings.TrimSuffix(name, filepath.Ext(name))
}

// loadTruths reads all truth files below dir, by clip stem. A broken file is
// complained about and left out.
func loadTruths(dir string, complain func(error)) (map[string]*truth, error) {
	out := map[string]*truth{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() || !strings.HasSuffix(path, truthSuffix) {
			return nil
		}
		t, err := loadTruth(path)
		if err != nil {
			complain(err)
			return nil
		}
		out[strings.TrimSuffix(filepath.Base(path), truthSuffix)] = t
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("truth folder: %w", err)
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("no readable *%s in %s", truthSuffix, dir)
	}
	return out, nil
}

func loadTruth(path string) (*truth, error) {
	t := &truth{path: path}
	if err := readJSON(path, t); err != nil {
		return nil, err
	}
	bad := func(format string, a ...any) error {
		return fmt.Errorf("%s: %s", path, fmt.Sprintf(format, a...))
	}
	switch {
	case t.Schema != truthSchema:
		return nil, bad("schema is %q, not %q", t.Schema, truthSchema)
	case len(t.Frames) < 2:
		return nil, bad("holds %d frames", len(t.Frames))
	case !(t.Stature > 0):
		return nil, bad("height_m is missing")
	case t.Bats != "R" && t.Bats != "L":
		return nil, bad("bats is %q", t.Bats)
	case t.View != "open" && t.View != "rear":
		return nil, bad("view is %q", t.View)
	}
	t.index = map[string]int{}
	for i, n := range t.Names {
		t.index[n] = i
	}
	for _, n := range neededPoints {
		for _, side := range []string{"left_", "right_"} {
			if _, ok := t.index[side+n]; !ok {
				return nil, bad("keypoint_names has no %s%s", side, n)
			}
		}
	}
	for i, f := range t.Frames {
		if len(f.KP) != len(t.Names) || len(f.KP3) != len(t.Names) {
			return nil, bad("frame %d holds %d and %d points for %d names", i, len(f.KP), len(f.KP3), len(t.Names))
		}
		if (f.BatPx == nil) != (t.Frames[0].BatPx == nil) || (f.Bat3 == nil) != (t.Frames[0].Bat3 == nil) {
			return nil, bad("frame %d and the first differ in whether they hold a bat", i)
		}
		if i > 0 && f.T <= t.Frames[i-1].T {
			return nil, bad("time does not grow at frame %d", i)
		}
	}
	return t, nil
}

// loadAnalyses reads the files named and the analysis.json files below the
// folders named. What cannot be read is complained about and left out.
func loadAnalyses(args []string, complain func(error)) []*analysis {
	var paths []string
	for _, a := range args {
		info, err := os.Stat(a)
		switch {
		case err != nil:
			complain(err)
		case !info.IsDir():
			paths = append(paths, a)
		default:
			n := len(paths)
			err := filepath.WalkDir(a, func(path string, d fs.DirEntry, err error) error {
				if err == nil && !d.IsDir() && d.Name() == "analysis.json" {
					paths = append(paths, path)
				}
				return err
			})
			if err != nil {
				complain(err)
			} else if len(paths) == n {
				complain(fmt.Errorf("no analysis.json below %s", a))
			}
		}
	}
	slices.Sort(paths)
	var out []*analysis
	for _, p := range slices.Compact(paths) {
		a, err := loadAnalysis(p)
		if err != nil {
			complain(err)
			continue
		}
		out = append(out, a)
	}
	return out
}

func loadAnalysis(path string) (*analysis, error) {
	a := &analysis{path: path}
	if err := readJSON(path, a); err != nil {
		return nil, err
	}
	if a.Schema != analysisSchema {
		return nil, fmt.Errorf("%s: schema is %q, not %q", path, a.Schema, analysisSchema)
	}
	if a.Clip.File == "" {
		return nil, fmt.Errorf("%s: clip.file is missing", path)
	}
	for i, s := range a.Swings {
		if len(s.Track.Points) != len(s.Track.Times) {
			return nil, fmt.Errorf("%s: swing %d has %d times and %d point sets", path, i, len(s.Track.Times), len(s.Track.Points))
		}
		if s.Bat != nil && !s.Bat.fits() {
			return nil, fmt.Errorf("%s: swing %d: the lists of the bat do not fit together", path, i)
		}
		for k, p := range s.Track.Points {
			if len(p) != len(s.Track.Names) {
				return nil, fmt.Errorf("%s: swing %d frame %d has %d points for %d names", path, i, k, len(p), len(s.Track.Names))
			}
		}
	}
	return a, nil
}

func readJSON(path string, v any) error {
	b, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	if err := json.Unmarshal(b, v); err != nil {
		var syntax *json.SyntaxError
		if errors.As(err, &syntax) {
			return fmt.Errorf("%s: not valid JSON at byte %d: %w", path, syntax.Offset, err)
		}
		return fmt.Errorf("%s: %w", path, err)
	}
	return nil
}
