package main

import (
	"bytes"
	"errors"
	"fmt"
	"image/jpeg"
	"image/png"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	page "plantframe/pipeline/output/report"
	"plantframe/pipeline/swing"
)

// reportFile is the page of a clip's first swing; further swings have their
// number in the name.
const reportFile = "report.html"

// notesLimit is how much of the instructor's notes is read, bytes.
const notesLimit = 64 << 10

// writePages writes a report for every swing of a into dir, with the stills
// and the videos that lie there. The instructor's words are taken from the file
// <clip without extension>.notes.md beside the clip, when there is one.
func writePages(dir string, a swing.Analysis, hitter string, drills map[string]page.Drill) error {
	notes, err := readNotes(a.Clip.Path)
	if err != nil {
		return err
	}
	for i, s := range a.Swings {
		pg := page.Page{Analysis: a, Swing: i, Hitter: hitter, Notes: notes, Drills: drills}
		for _, e := range []swing.EventName{swing.Plant, swing.Stance, swing.Load, swing.Touch, swing.Contact} {
			pic, err := still(filepath.Join(dir, stillsFolder, fmt.Sprintf("%d-%s.png", s.Index, e)))
			if err != nil {
				return err
			}
			if pic != nil {
				pg.Stills = append(pg.Stills, page.Picture{Event: e, Type: "image/jpeg", Data: pic})
			}
		}
		if exists(filepath.Join(dir, overlayFile)) {
			pg.Overlay = overlayFile
		}
		if exists(filepath.Join(dir, besideFile)) {
			pg.Beside = besideFile
		}
		name := reportFile
		if s.Index > 1 {
			name = fmt.Sprintf("report-%d.html", s.Index)
		}
		if err := writeWhole(filepath.Join(dir, name), func(f *os.File) error { return page.Write(f, pg) }); err != nil {
			return err
		}
	}
	return nil
}

// besideFile is the side-by-side video of a clip and its reference.
const besideFile = "side-by-side.mp4"

// still returns a still as a JPEG picture, a fifth of its size as PNG; nil
// when there is none.
func still(path string) ([]byte, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, writing(path, err)
	}
	defer f.Close()
	m, err := png.Decode(f)
	if err != nil {
		return nil, writing(path, err)
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 86}); err != nil {
		return nil, writing(path, err)
	}
	return b.Bytes(), nil
}

// readNotes returns the notes beside a clip, "" when there are none.
func readNotes(clip string) (string, error) {
	path := strings.TrimSuffix(clip, filepath.Ext(clip)) + ".notes.md"
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	var b []byte
	if err == nil {
		defer f.Close()
		b, err = io.ReadAll(io.LimitReader(f, notesLimit))
	}
	if err != nil {
		return "", &swing.Error{
			Op: "report", Clip: clip, Frame: -1, Kind: swing.KindUnreadable, Msg: "the notes " + path + " cannot be read",
			Hint: "check the file, or move it away", Err: err,
		}
	}
	return strings.ToValidUTF8(string(b), "\uFFFD"), nil
}
