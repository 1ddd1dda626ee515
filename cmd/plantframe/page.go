package main

import (
	"errors"
	"fmt"
	"image"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"plantframe/pipeline/output/render"
	page "plantframe/pipeline/output/report"
	"plantframe/pipeline/swing"
)

// reportFile is the page of a clip's first swing; further swings have their
// number in the name.
const reportFile = "report.html"

// notesLimit is how much of the instructor's notes is read, bytes.
const notesLimit = 64 << 10

// Names of the printed report and of the picture for lists.
const (
	sheetFile = "report.pdf"
	thumbFile = "thumb.jpg"
)

// handout is what pages show besides the analysis and the files of its folder.
type handout struct {
	hitter string // "" = not told
	drills map[string]page.Drill
	paper  page.Paper
	// rows tells how many swings the sheet of stills of each swing shows, 0 = there is
	// none; it may be shorter than the list of swings. names are those of the first
	// references.
	rows  []int
	names []string
}

// writePages writes a report for every swing of a into dir, as a page and as a sheet,
// with the stills and the videos that lie there, and a small picture for lists. The
// instructor's words are taken from the file <clip without extension>.notes.md beside
// the clip, when there is one.
func writePages(dir string, a swing.Analysis, h handout) error {
	notes, err := readNotes(a.Clip.Path)
	if err != nil {
		return err
	}
	for i := range a.Swings {
		s := &a.Swings[i]
		pg := page.Page{Analysis: a, Swing: i, Hitter: h.hitter, Notes: notes, Drills: h.drills}
		near, err := addPictures(&pg, dir, s, i, h)
		if err != nil {
			return err
		}
		if m, err := readPNG(planPath(dir, s)); err != nil {
			return err
		} else if m != nil {
			b, err := asJPEG(m, max(m.Bounds().Dx(), m.Bounds().Dy()))
			if err != nil {
				return writing(dir, err)
			}
			pg.Plan = &page.Picture{Type: "image/jpeg", Data: b}
		}
		if exists(filepath.Join(dir, overlayFile)) {
			pg.Overlay = overlayFile
		}
		if beside := pairFiles(i).Video; exists(filepath.Join(dir, beside)) {
			pg.Beside = beside
		}
		if i == 0 && near != nil {
			if err := writeThumb(dir, near); err != nil {
				return err
			}
		}
		err = writeWhole(filepath.Join(dir, numbered(reportFile, s.Index)), func(f *os.File) error { return page.Write(f, pg) })
		if err == nil {
			err = writeWhole(filepath.Join(dir, numbered(sheetFile, s.Index)), func(f *os.File) error { return page.WritePDF(f, pg, h.paper) })
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// numbered is the name of a file of a swing: the first one has the plain name.
func numbered(file string, index int) string {
	if index <= 1 {
		return file
	}
	ext := filepath.Ext(file)
	return fmt.Sprintf("%s-%d%s", strings.TrimSuffix(file, ext), index, ext)
}

// addPictures puts the stills of the i-th swing that lie in dir on its page, and returns
// the hitter cut out of the plant's; nil when there is none.
func addPictures(pg *page.Page, dir string, s *swing.Swing, i int, h handout) (near image.Image, err error) {
	for _, e := range []swing.EventName{swing.Plant, swing.Stance, swing.Load, swing.Touch, swing.Contact} {
		path := stillPath(dir, s, e)
		m, err := readPNG(path)
		if err != nil {
			return nil, err
		}
		if m == nil {
			continue
		}
		b, err := asJPEG(m, max(m.Bounds().Dx(), m.Bounds().Dy()))
		if err == nil {
			pg.Stills = append(pg.Stills, page.Picture{Event: e, Type: "image/jpeg", Data: b})
			if e == swing.Plant {
				near = cut(m, hitterAt(m.Bounds(), s, e, pg.Analysis.Clip.Width))
				pg.Close, err = picture(near)
			}
		}
		if err != nil {
			return nil, writing(path, err)
		}
	}
	if i >= len(h.rows) || h.rows[i] < 2 {
		return near, nil
	}
	path := filepath.Join(dir, stillsFolder, pairFiles(i).Grid)
	sheet, err := readPNG(path)
	if err != nil || sheet == nil {
		return near, err
	}
	var both [2]*page.Picture
	for row := range both {
		cell, err := render.GridCell(sheet.Bounds().Size(), h.rows[i], row, swing.Plant)
		if err != nil {
			return nil, err
		}
		if both[row], err = picture(cut(sheet, cell)); err != nil {
			return nil, writing(path, err)
		}
	}
	pg.Pair = &page.Pair{Hitter: *both[0], Reference: *both[1], Name: h.names[i]}
	return near, nil
}

func stillPath(dir string, s *swing.Swing, e swing.EventName) string {
	return filepath.Join(dir, stillsFolder, fmt.Sprintf("%d-%s.png", s.Index, e))
}

// picture makes a picture of the plant for a page.
func picture(m image.Image) (*page.Picture, error) {
	b, err := asJPEG(m, closeSide)
	return &page.Picture{Event: swing.Plant, Type: "image/jpeg", Data: b}, err
}

// writeThumb writes the small picture for lists.
func writeThumb(dir string, near image.Image) error {
	b, err := asJPEG(near, thumbSide)
	if err != nil {
		return writing(dir, err)
	}
	return writeWhole(filepath.Join(dir, thumbFile), func(f *os.File) error {
		_, err := f.Write(b)
		return err
	})
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
