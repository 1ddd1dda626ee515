package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"

	"plantframe/pipeline/compare"
	"plantframe/pipeline/swing"
)

// loadReferences analyses or reads what --reference names. A reference that cannot
// be used ends the run before any clip is tried: every result would lack it.
func (b *batch) loadReferences(ctx context.Context, w worker) error {
	for _, path := range b.referencePaths {
		p := b.screen.Clip(filepath.Base(path))
		sub, err := loadSubject(ctx, w, b.settings, path, p, b.log.With("reference", path))
		p.Done()
		if err != nil {
			return err
		}
		b.references = append(b.references, sub)
	}
	return nil
}

// besides puts every swing of a clip beside the references that are seen from the
// same side, and writes the files into dir. Pictures of an earlier run that show the
// same, in the folder old, are taken over. It tells how many swings the sheet of stills
// of each swing shows, 0 where there is none, and the name of the first reference on it.
// What could not be compared is a warning; the error is that of the drawing or the disk.
func (b *batch) besides(ctx context.Context, w worker, a swing.Analysis, dir, old string, p swing.Progress) (rows []int, names []string, warn []swing.Warning, err error) {
	var refs []*subject
	for _, r := range b.references {
		if r.analysis.Clip.SHA256 == a.Clip.SHA256 {
			warn = append(warn, swing.Warning{Code: "is-reference", Text: "this clip is the reference itself and is not compared with it"})
			continue
		}
		refs = append(refs, r)
	}
	if len(refs) == 0 || len(a.Swings) == 0 {
		return nil, nil, warn, nil
	}
	hitter := &subject{path: a.Clip.Path, analysis: a, film: true}
	var all []swing.Comparison
	var pairs []*pairing // one per swing, nil where there is none
	for i := range a.Swings {
		s := &a.Swings[i]
		one, out := pair(hitter, s, refs, 0, false, compare.DefaultOptions())
		rows, names, pairs = append(rows, 0), append(names, ""), append(pairs, nil)
		if len(one.list) == 0 {
			for _, e := range out {
				warn = append(warn, swing.Warning{
					Code: "not-compared",
					Text: fmt.Sprintf("swing %d was not compared with the reference %s: %s", s.Index, filepath.Base(e.Clip), e.Msg),
				})
			}
			continue
		}
		for _, c := range one.list {
			warn = append(warn, c.Warnings...)
		}
		all = append(all, one.list...)
		one.labels = [2]string{"hitter", "reference"}
		if shown, _, _ := one.filmed(); len(shown) > 0 && !b.settings.NoOverlay {
			rows[i], names[i] = 1+len(shown), shown[0].Name
		}
		pairs[i] = one
	}
	if len(all) == 0 {
		return nil, nil, warn, nil
	}
	if err := writeComparison(dir, all); err != nil {
		return nil, nil, warn, err
	}
	if b.settings.NoOverlay || b.pairsTaken(a, pairs, rows, old, dir) {
		return rows, names, warn, nil
	}
	for i, one := range pairs {
		if one == nil {
			continue
		}
		more, err := one.draw(ctx, w, dir, pairFiles(i), p)
		warn = append(warn, more...)
		if err != nil {
			return nil, nil, warn, err
		}
	}
	return rows, names, warn, nil
}

// pairsTaken links the pictures of an earlier comparison into dir, when it compared
// the same swings of the same clips with the same outcome and has all of them. Nothing
// is decoded then.
func (b *batch) pairsTaken(a swing.Analysis, pairs []*pairing, rows []int, old, dir string) bool {
	if b.settings.NoCache || !sameMeasured(filepath.Join(old, analysisFile), a) {
		return false
	}
	before, err := os.ReadFile(filepath.Join(old, comparisonFile))
	if err != nil {
		return false
	}
	now, err := os.ReadFile(filepath.Join(dir, comparisonFile))
	if err != nil || !bytes.Equal(before, now) {
		return false
	}
	var files []string
	for i, one := range pairs {
		if one == nil {
			continue
		}
		if rows[i] != 1+len(one.refs) {
			return false // a clip is missing, which is said when drawing
		}
		f := pairFiles(i)
		files = append(files, f.Video, filepath.Join(stillsFolder, f.Grid))
	}
	if os.MkdirAll(filepath.Join(dir, stillsFolder), 0o755) != nil {
		return false
	}
	for k, f := range files {
		if os.Link(filepath.Join(old, f), filepath.Join(dir, f)) != nil {
			for _, done := range files[:k] {
				_ = os.Remove(filepath.Join(dir, done))
			}
			return false
		}
	}
	return true
}
