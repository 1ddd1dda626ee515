package output

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"plantframe/pipeline/swing"
)

// WriteJSON writes a as one analysis.json document that Schema describes.
// Equal analyses give equal bytes. Of the track, Points leave the program;
// Fast, Raw, noise and camera motion do not. The error is a *swing.Error of
// KindInternal when a holds something that must not leave (a number that is
// not finite, a value without uncertainty), of KindOutput when w fails.
func WriteJSON(w io.Writer, a swing.Analysis) error {
	const op = "output.WriteJSON"
	var b builder
	doc := b.document(a)
	if b.err != nil {
		return internal(op, a.Clip.Path, b.err)
	}
	var compact bytes.Buffer
	enc := json.NewEncoder(&compact)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(doc); err != nil {
		return internal(op, a.Clip.Path, err)
	}
	if _, err := w.Write(layout(compact.Bytes())); err != nil {
		return &swing.Error{
			Op: op, Clip: a.Clip.Path, Frame: -1, Kind: swing.KindOutput,
			Msg:  "the result cannot be written",
			Hint: "check that the output folder is writable and the disk is not full",
			Err:  err,
		}
	}
	return nil
}

func internal(op, clip string, err error) error {
	return &swing.Error{
		Op: op, Clip: clip, Frame: -1, Kind: swing.KindInternal,
		Msg:  "the result is not fit to be written",
		Hint: "this is a fault of the program: please report it with the clip",
		Err:  err,
	}
}

// ReadJSON reads a document that WriteJSON wrote. Unknown keys are passed
// over, so documents of later, larger versions of the same schema can be
// read. What the document does not carry stays zero; a point with a place
// comes back as Seen. The clip's path is the bare file name. The error is a
// *swing.Error of KindUnreadable.
func ReadJSON(r io.Reader) (swing.Analysis, error) {
	var d document
	err := json.NewDecoder(r).Decode(&d)
	if err == nil && d.Schema != SchemaID {
		err = fmt.Errorf("its schema is %q, not %q", d.Schema, SchemaID)
	}
	var a swing.Analysis
	if err == nil {
		a, err = d.analysis()
	}
	if err != nil {
		return swing.Analysis{}, &swing.Error{
			Op: "output.ReadJSON", Frame: -1, Kind: swing.KindUnreadable,
			Msg:  "this is not an analysis that can be read",
			Hint: "run analyze again to write a new analysis.json",
			Err:  err,
		}
	}
	return a, nil
}

func (d document) analysis() (swing.Analysis, error) {
	name := d.Clip.File
	a := swing.Analysis{
		ToolVersion: d.Tool.Version,
		Models:      d.Tool.Models,
		Options:     d.Tool.Options,
		Clip: swing.Clip{
			Path:     name,
			Name:     strings.TrimSuffix(name, filepath.Ext(name)),
			SHA256:   d.Clip.SHA256,
			Width:    d.Clip.Width,
			Height:   d.Clip.Height,
			Frames:   d.Clip.Frames,
			Duration: d.Clip.DurationS,
			Variable: d.Clip.VariableRate,
		},
		FramesRead: d.Clip.Frames,
		Warnings:   readWarnings(d.Clip.Warnings),
	}
	for _, s := range d.Swings {
		t, err := s.Track.read()
		if err != nil {
			return a, fmt.Errorf("swing %d: %w", s.Index, err)
		}
		club, err := s.Bat.read(len(t.Times))
		if err != nil {
			return a, fmt.Errorf("swing %d: %w", s.Index, err)
		}
		turned, err := s.Turns.read()
		if err != nil {
			return a, fmt.Errorf("swing %d: %w", s.Index, err)
		}
		views, err := s.TwoViews.read()
		if err != nil {
			return a, fmt.Errorf("swing %d: %w", s.Index, err)
		}
		a.Swings = append(a.Swings, swing.Swing{
			Index:          s.Index,
			Window:         s.WindowS,
			Bats:           s.Bats,
			BatsSource:     s.BatsSource,
			BatsConfidence: s.BatsConfidence,
			View:           s.View,
			ViewSource:     s.ViewSource,
			ViewConfidence: s.ViewConfidence,
			Events:         s.Events,
			Track:          t,
			Bat:            club,
			Turns:          turned,
			Views:          views,
			Measures:       s.Measures,
			Findings:       s.Findings,
			Warnings:       readWarnings(s.Warnings),
		})
	}
	return a, nil
}

func (t track) read() (swing.Track, error) {
	o := swing.Track{Frames: t.Frames, Times: t.TimesS}
	if len(t.Frames) != len(t.TimesS) || len(t.Points) != len(t.TimesS) {
		return o, fmt.Errorf("track has %d times, %d frame numbers and %d poses", len(t.TimesS), len(t.Frames), len(t.Points))
	}
	// Points are found by name: a document with more or other points, in
	// another order, still reads right.
	where := make(map[string]swing.Joint, swing.NumJoints)
	for j := range swing.Joint(swing.NumJoints) {
		where[j.String()] = j
	}
	o.Points = make([][swing.NumPoints]swing.TrackPoint, len(t.Points))
	for i, row := range t.Points {
		if len(row) != len(t.KeypointNames) {
			return o, fmt.Errorf("pose %d has %d points for %d names", i, len(row), len(t.KeypointNames))
		}
		for k, p := range row {
			j, ok := where[t.KeypointNames[k]]
			if !ok || p == nil {
				continue
			}
			o.Points[i][j] = swing.TrackPoint{X: p[0], Y: p[1], Score: p[2], State: swing.Seen}
		}
	}
	return o, nil
}

func readWarnings(in []warning) []swing.Warning {
	var out []swing.Warning
	for _, w := range in {
		out = append(out, swing.Warning{Code: w.Code, Text: w.Text, Frames: w.Frames})
	}
	return out
}
