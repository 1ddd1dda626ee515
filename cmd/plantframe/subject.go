package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	"plantframe/cmd/internal/config"
	"plantframe/pipeline"
	"plantframe/pipeline/ingest"
	"plantframe/pipeline/output"
	"plantframe/pipeline/swing"
)

// subject is an analysed clip that takes part in a comparison.
type subject struct {
	path     string // as given
	stored   string // folder of the stored analysis that it is from; "" for a clip
	analysis swing.Analysis
	film     bool // the clip can be read: pictures can be made
}

// isStored tells whether a path names a stored analysis: a JSON file, or a result
// folder with one.
func isStored(path string) (file string, ok bool) {
	if strings.EqualFold(filepath.Ext(path), ".json") {
		return path, true
	}
	file = filepath.Join(path, analysisFile)
	st, err := os.Stat(file)
	return file, err == nil && !st.IsDir()
}

// loadSubject analyses a clip, or reads a stored analysis and looks for its clip.
// The error names the path; a clip without a swing is one.
func loadSubject(ctx context.Context, w worker, s config.Settings, path string, p swing.Progress, log *slog.Logger) (*subject, error) {
	sub := &subject{path: path}
	var err error
	if file, ok := isStored(path); ok {
		sub.stored = filepath.Dir(file)
		err = sub.read(ctx, file, s)
	} else {
		sub.film = true
		if st, serr := os.Stat(path); serr == nil && st.IsDir() {
			return nil, &swing.Error{
				Op: "compare", Clip: path, Frame: -1, Kind: swing.KindUsage,
				Msg:  "this is a folder without an " + analysisFile,
				Hint: "name one clip, or one result folder",
			}
		}
		sub.analysis, err = w.Analyse(ctx, path, p, log)
	}
	if err != nil {
		return nil, named(err, path)
	}
	if len(sub.analysis.Swings) == 0 {
		msg := "no swing was found in it"
		for _, warn := range sub.analysis.Warnings {
			if warn.Code == "no-swing" || warn.Code == "no-person" {
				msg = strings.TrimSuffix(warn.Text, ".")
			}
		}
		return nil, &swing.Error{
			Op: "compare", Clip: path, Frame: -1, Kind: swing.KindMissing, Msg: msg,
			Hint: "choose a clip with one whole swing, filmed as the README says",
		}
	}
	return sub, nil
}

// named makes sure that an error says which clip it is about.
func named(err error, path string) error {
	var e *swing.Error
	if errors.As(err, &e) && e.Clip == "" {
		c := *e
		c.Clip = path
		return &c
	}
	return err
}

// read fills the subject from a stored analysis.
func (s *subject) read(ctx context.Context, file string, o config.Settings) error {
	f, err := os.Open(file)
	if err != nil {
		return &swing.Error{Op: "compare", Clip: file, Frame: -1, Kind: swing.KindMissing, Msg: "there is no such analysis", Hint: "check the path"}
	}
	defer f.Close()
	if s.analysis, err = output.ReadJSON(f); err != nil {
		return err
	}
	stages := o.Stages()
	for i := range s.analysis.Swings {
		sw := &s.analysis.Swings[i]
		sw.CentreOfMass = pipeline.Centres(sw.Track, stages.Measure)
		sw.Width, sw.Height = s.analysis.Clip.Width, s.analysis.Clip.Height
	}
	// The analysis holds the clip's name and checksum, not where it lay.
	name := filepath.Base(s.analysis.Clip.Path)
	for _, dir := range []string{s.stored, filepath.Dir(s.stored), filepath.Dir(filepath.Dir(s.stored)), "."} {
		path := filepath.Join(dir, name)
		if st, err := os.Stat(path); err != nil || st.IsDir() {
			continue
		}
		clip, err := ingest.Probe(ctx, path, stages.Ingest)
		if err == nil && clip.SHA256 == s.analysis.Clip.SHA256 {
			clip.Warnings = s.analysis.Clip.Warnings
			s.analysis.Clip, s.film = clip, true
			return nil
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
	}
	return nil
}

// name is what the subject is called: the clip's file name without its ending.
func (s *subject) name() string {
	n, _ := stem(s.analysis.Clip.Path)
	return n
}

// swing returns the swing with a number, 0 standing for the first one that has a
// plant, or else the first.
func (s *subject) swing(number int) (*swing.Swing, error) {
	all := s.analysis.Swings
	if number == 0 {
		for i := range all {
			if _, ok := all[i].Events[swing.Plant]; ok {
				return &all[i], nil
			}
		}
		return &all[0], nil
	}
	for i := range all {
		if all[i].Index == number {
			return &all[i], nil
		}
	}
	return nil, &swing.Error{
		Op: "compare", Clip: s.path, Frame: -1, Kind: swing.KindUsage,
		Msg:  fmt.Sprintf("there is no swing %d in it, it holds %d", number, len(all)),
		Hint: "swings are numbered from 1",
	}
}
