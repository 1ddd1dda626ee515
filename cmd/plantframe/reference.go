package main

import (
	"context"
	"fmt"
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
// same side, and writes the files into dir. What could not be compared is a warning;
// the error is that of the drawing or the disk.
func (b *batch) besides(ctx context.Context, w worker, a swing.Analysis, dir string, p swing.Progress) ([]swing.Warning, error) {
	var warn []swing.Warning
	var refs []*subject
	for _, r := range b.references {
		if r.analysis.Clip.SHA256 == a.Clip.SHA256 {
			warn = append(warn, swing.Warning{Code: "is-reference", Text: "this clip is the reference itself and is not compared with it"})
			continue
		}
		refs = append(refs, r)
	}
	if len(refs) == 0 || len(a.Swings) == 0 {
		return warn, nil
	}
	hitter := &subject{path: a.Clip.Path, analysis: a, film: true}
	var all []swing.Comparison
	for i := range a.Swings {
		s := &a.Swings[i]
		pairs, out := pair(hitter, s, refs, 0, false, compare.DefaultOptions())
		if len(pairs.list) == 0 {
			for _, e := range out {
				warn = append(warn, swing.Warning{
					Code: "not-compared",
					Text: fmt.Sprintf("swing %d was not compared with the reference %s: %s", s.Index, filepath.Base(e.Clip), e.Msg),
				})
			}
			continue
		}
		for _, c := range pairs.list {
			warn = append(warn, c.Warnings...)
		}
		all = append(all, pairs.list...)
		if b.settings.NoOverlay {
			continue
		}
		pairs.labels = [2]string{"hitter", "reference"}
		more, err := pairs.draw(ctx, w, dir, pairFiles(i), p)
		warn = append(warn, more...)
		if err != nil {
			return warn, err
		}
	}
	if len(all) == 0 {
		return warn, nil
	}
	return warn, writeComparison(dir, all)
}
