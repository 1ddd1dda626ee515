package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"

	"plantframe/pipeline/compare"
	"plantframe/pipeline/output"
	"plantframe/pipeline/output/render"
	"plantframe/pipeline/swing"
)

// Names of what a comparison leaves in the folder of a clip.
const (
	comparisonFile = "comparison.json"
	sideFile       = "side-by-side.mp4"
	compareStill   = "compare.png" // in stillsFolder
)

// pairing is one swing with those it is compared with.
type pairing struct {
	hitter *subject
	swing  *swing.Swing
	list   []swing.Comparison // one per entry of refs
	refs   []*subject
	labels [2]string // what hitter and reference are called in pictures
}

// pairFiles names the pictures of the n-th swing of a clip, from 0.
func pairFiles(n int) render.PairFiles {
	if n == 0 {
		return render.PairFiles{Video: sideFile, Grid: compareStill}
	}
	return render.PairFiles{Video: fmt.Sprintf("side-by-side-%d.mp4", n+1), Grid: fmt.Sprintf("compare-%d.png", n+1)}
}

// comparisonName matches all names that pairFiles gives, and comparisonFile.
var comparisonName = regexp.MustCompile(`^(comparison\.json|side-by-side(-\d+)?\.mp4|stills/compare(-\d+)?\.png)$`)

// removeComparison removes from a result folder what an earlier comparison left and
// keep does not hold.
func removeComparison(dir string, keep []string) {
	for _, pattern := range []string{"*", filepath.Join(stillsFolder, "*")} {
		found, _ := filepath.Glob(filepath.Join(escapeGlob(dir), pattern))
		for _, path := range found {
			rel, err := filepath.Rel(dir, path)
			if rel = filepath.ToSlash(rel); err == nil && comparisonName.MatchString(rel) && !slices.Contains(keep, rel) {
				_ = os.Remove(path)
			}
		}
	}
}

// pair compares a swing with the swings of the references. A reference that
// cannot be compared is left out, and said: those that are seen from another side
// too, unless anyView. The error is that of a pairing without any reference.
func pair(hitter *subject, s *swing.Swing, refs []*subject, number int, anyView bool, o compare.Options) (*pairing, []*swing.Error) {
	p := &pairing{hitter: hitter, swing: s}
	var out []*swing.Error
	for _, r := range refs {
		with, err := r.match(s, number, anyView)
		var c swing.Comparison
		if err == nil {
			c, err = compare.Swings(compare.Subject{Clip: hitter.analysis.Clip, Swing: s}, compare.Subject{Clip: r.analysis.Clip, Swing: with}, o)
		}
		if err != nil {
			e, ok := swing.AsError(err)
			if !ok {
				e = &swing.Error{Op: "compare", Clip: r.path, Frame: -1, Kind: swing.KindInternal, Err: err}
			}
			out = append(out, e)
			continue
		}
		p.list, p.refs = append(p.list, c), append(p.refs, r)
	}
	return p, out
}

// match returns the swing of a reference to compare s with: the one asked for, or
// the first one seen from the same side.
func (s *subject) match(with *swing.Swing, number int, anyView bool) (*swing.Swing, error) {
	one, err := s.swing(number)
	if err != nil || anyView || one.View == with.View {
		return one, err
	}
	if number == 0 {
		for i := range s.analysis.Swings {
			if s.analysis.Swings[i].View == with.View {
				return &s.analysis.Swings[i], nil
			}
		}
	}
	return nil, &swing.Error{
		Op: "compare", Clip: s.path, Frame: -1, Kind: swing.KindUsage,
		Msg:  fmt.Sprintf("it is seen from %s, the swing to compare from %s: their measures do not compare", seenFrom(one.View), seenFrom(with.View)),
		Hint: "choose a reference filmed from the same side, or see plantframe compare --any-view for times and pictures alone",
	}
}

func seenFrom(v swing.View) string {
	if v == swing.Rear {
		return "behind"
	}
	return "the open side"
}

// filmed returns the part of the pairing whose clips can be read again, and the
// names of those that cannot.
func (p *pairing) filmed() (refs []render.Reference, sources []*subject, missing []string) {
	if !p.hitter.film {
		return nil, nil, []string{filepath.Base(p.hitter.analysis.Clip.Path)}
	}
	for i, r := range p.refs {
		if !r.film {
			missing = append(missing, filepath.Base(r.analysis.Clip.Path))
			continue
		}
		label := p.labels[1]
		if len(p.refs) > 1 {
			label = fmt.Sprintf("%s %d", label, i+1)
		}
		refs = append(refs, render.Reference{Comparison: p.list[i], Shown: render.Shown{Label: label, Name: r.name()}})
		sources = append(sources, r)
	}
	return refs, sources, missing
}

// draw makes the pictures of a pairing in dir, as far as the clips can be read.
func (p *pairing) draw(ctx context.Context, w worker, dir string, files render.PairFiles, progress swing.Progress) ([]swing.Warning, error) {
	refs, sources, missing := p.filmed()
	var warn []swing.Warning
	for _, m := range missing {
		warn = append(warn, swing.Warning{
			Code: "clip-missing",
			Text: fmt.Sprintf("no pictures beside each other: the clip %s of a stored analysis was not found; put it beside its %s", m, analysisFile),
		})
	}
	if len(refs) == 0 {
		return warn, nil
	}
	return warn, w.Compare(ctx, p, refs, sources, dir, files, progress)
}

// writeComparison writes comparison.json into a folder and syncs it.
func writeComparison(dir string, list []swing.Comparison) error {
	return writeWhole(filepath.Join(dir, comparisonFile), func(f *os.File) error {
		return output.WriteComparisons(f, version(), list)
	})
}

// errNothing says that a comparison came to nothing.
var errNothing = errors.New("nothing could be compared")
