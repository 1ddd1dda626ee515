package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"plantframe/cmd/internal/ui"
	"plantframe/pipeline"
	"plantframe/pipeline/fuse"
	"plantframe/pipeline/output/render"
	"plantframe/pipeline/swing"
)

// fuser is a worker that puts two views of one swing together.
type fuser interface {
	// Fuse writes what the i-th swing of a and the j-th of b show together into
	// both; nothing when they are not one swing.
	Fuse(ctx context.Context, a, b *swing.Analysis, i, j int) (fuse.Match, error)
}

var _ fuser = (*analyst)(nil)

// Fuse is pipeline.Fuse with the worker's settings, targets and store of results.
func (w *analyst) Fuse(ctx context.Context, a, b *swing.Analysis, i, j int) (fuse.Match, error) {
	return pipeline.Fuse(ctx, a, b, i, j, pipeline.Deps{Artifacts: w.artifacts, Targets: w.targets}, w.settings.Stages())
}

// twins finds the clips of a run that show one swing from two sides.
type twins struct {
	named [][2]*clipFile // by the user; nil = found by their motion
	auto  bool

	mu   sync.Mutex
	kept map[*clipFile]*keptClip
	told []string // sentences about what was put together
}

// said are the sentences for people, "" when there is nothing to say.
func (t *twins) said() string {
	if t == nil || len(t.told) == 0 {
		return ""
	}
	return strings.Join(t.told, "\n") + "\n"
}

// keptClip is what is kept of a clip until all are through.
type keptClip struct {
	clip     *clipFile
	analysis swing.Analysis
	hitter   string
	changed  bool // was put together with another one
}

// newTwins returns nil when nothing is to be put together.
func newTwins(pairs string, clips []*clipFile) (*twins, error) {
	t := &twins{kept: map[*clipFile]*keptClip{}}
	switch pairs {
	case "none":
		return nil, nil
	case "auto":
		t.auto = true
		if len(clips) < 2 {
			return nil, nil
		}
		return t, nil
	}
	var err error
	t.named, err = readPairs(pairs, clips)
	return t, err
}

// keep remembers an analysis, less what putting together does not need.
func (t *twins) keep(c *clipFile, a swing.Analysis, hitter string) {
	if t == nil || len(a.Swings) == 0 {
		return
	}
	a.Swings = slices.Clone(a.Swings)
	for i := range a.Swings {
		a.Swings[i].Track.Raw = nil
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.kept[c] = &keptClip{clip: c, analysis: a, hitter: hitter}
}

// pairSchema names the form of a PairResult in JSON.
const pairSchema = "plantframe/pair/1"

// Statuses of a pair.
const (
	pairFused   = "fused"
	pairRefused = "refused"
)

// pairResult is one line of --json output for two clips.
type pairResult struct {
	Schema  string          `json:"schema"`
	Clips   [2]string       `json:"clips"`  // paths as given
	Swings  [2]int          `json:"swings"` // numbers of the swings
	Status  string          `json:"status"`
	Reason  string          `json:"reason,omitempty"` // why refused
	OffsetS *float64        `json:"offset_s"`         // clock of the second less that of the first; null when refused
	SigmaS  *float64        `json:"sigma_s"`
	Seconds float64         `json:"seconds"`
	Measure []swing.Measure `json:"measures"` // by both views
}

// candidate is two swings that may be one.
type candidate struct {
	a, b  *keptClip
	i, j  int
	match fuse.Match
}

// mostCombinations bounds how many combinations of swings are looked at, 50 to 100 ms each: with
// more clips in one run the user names the pairs.
const mostCombinations = 400

// joinViews puts the clips of one swing together, writes their files again and says what
// was not put together, and why.
func (b *batch) joinViews(ctx context.Context, w worker) {
	t := b.twins
	f, ok := w.(fuser)
	if t == nil || !ok || ctx.Err() != nil {
		return
	}
	var chosen []candidate
	if t.auto {
		chosen = b.findTwins(ctx)
	} else {
		chosen = b.namedTwins(ctx)
	}
	for _, c := range chosen {
		b.join(ctx, f, c)
	}
	for _, k := range t.sorted() {
		if k.changed && ctx.Err() == nil {
			b.again(ctx, w, k)
		}
	}
}

// sorted lists what was kept by path.
func (t *twins) sorted() []*keptClip {
	t.mu.Lock()
	defer t.mu.Unlock()
	var all []*keptClip
	for _, k := range t.kept {
		all = append(all, k)
	}
	slices.SortFunc(all, func(a, b *keptClip) int { return strings.Compare(a.clip.path, b.clip.path) })
	return all
}

// findTwins compares all swings of one hitter and folder that are seen from different
// sides. A swing that fits several is left alone: only its user knows which it is.
func (b *batch) findTwins(ctx context.Context) []candidate {
	o := b.settings.Stages().Fuse
	var all []candidate
	list := b.twins.sorted()
	for n, x := range list {
		for _, y := range list[n+1:] {
			if x.hitter != y.hitter || filepath.Dir(x.clip.path) != filepath.Dir(y.clip.path) {
				continue
			}
			for i := range x.analysis.Swings {
				for j := range y.analysis.Swings {
					p, q := &x.analysis.Swings[i], &y.analysis.Swings[j]
					if p.View != q.View && p.Bats == q.Bats {
						all = append(all, candidate{a: x, b: y, i: i, j: j})
					}
				}
			}
		}
	}
	all = slices.DeleteFunc(all, candidate.apart)
	if len(all) > mostCombinations {
		b.log.Info(fmt.Sprintf("clips of one swing from two sides are not looked for: %d combinations are too many; name them with --pairs", len(all)))
		return nil
	}
	var fits, near []candidate
	for _, c := range all {
		if ctx.Err() != nil {
			return nil
		}
		m, err := fuse.Views(&c.a.analysis.Swings[c.i], &c.b.analysis.Swings[c.j], o)
		if err != nil {
			b.log.Warn("two views could not be compared", "error", err)
			return nil
		}
		switch c.match = m; {
		case m.Same:
			fits = append(fits, c)
		case m.Close:
			near = append(near, c)
		}
	}
	var out []candidate
	for _, c := range fits {
		if rivals := c.rivals(fits); len(rivals) > 0 {
			b.sayOnce(c, rivals)
			continue
		}
		out = append(out, c)
	}
	// Where one clip of each side is all there is, its user meant a pair.
	if len(all) == 1 && len(near) == 1 {
		b.refuse(near[0], near[0].match, 0)
	}
	return out
}

// clockSlack is how far the clocks of two phones may be apart, s: they are set by the
// network, and one may write when it began and the other when it ended, which is their
// clip's length more.
const clockSlack = 10.0

// apart reports whether the containers tell that the swings were not at one time.
func (c candidate) apart() bool {
	x, y := &c.a.analysis, &c.b.analysis
	if x.Clip.Made.IsZero() || y.Clip.Made.IsZero() {
		return false
	}
	at := func(a *swing.Analysis, i int) float64 { return a.Swings[i].Events[swing.Plant].Time }
	d := y.Clip.Made.Sub(x.Clip.Made).Seconds() + at(y, c.j) - at(x, c.i)
	return math.Abs(d) > clockSlack+max(x.Clip.Duration, y.Clip.Duration)
}

// rivals lists the other candidates that claim one of its two swings.
func (c candidate) rivals(all []candidate) (out []candidate) {
	for _, d := range all {
		same := d.a == c.a && d.b == c.b && d.i == c.i && d.j == c.j
		shares := (d.a == c.a && d.i == c.i) || (d.b == c.b && d.j == c.j) || (d.a == c.b && d.i == c.j) || (d.b == c.a && d.j == c.i)
		if !same && shares {
			out = append(out, d)
		}
	}
	return out
}

// sayOnce warns both clips of an ambiguous candidate.
func (b *batch) sayOnce(c candidate, rivals []candidate) {
	for _, k := range []*keptClip{c.a, c.b} {
		b.warn(k, swing.Warning{
			Code: "views-ambiguous",
			Text: fmt.Sprintf("not put together with a clip from the other side: %d of this run fit; name the right one with --pairs", 1+len(rivals)),
		})
	}
}

// namedTwins looks for the swings of the pairs that the user named: in each the two
// that fit best.
func (b *batch) namedTwins(ctx context.Context) []candidate {
	o := b.settings.Stages().Fuse
	var out []candidate
	for _, p := range b.twins.named {
		x, y := b.twins.kept[p[0]], b.twins.kept[p[1]]
		if x == nil || y == nil || ctx.Err() != nil {
			continue // no swing was found in one of them, which is said already
		}
		var fits []candidate
		best := candidate{a: x, b: y, match: fuse.Match{Alike: -1e9}}
		for i := range x.analysis.Swings {
			for j := range y.analysis.Swings {
				m, err := fuse.Views(&x.analysis.Swings[i], &y.analysis.Swings[j], o)
				if err != nil {
					b.log.Warn("two views could not be compared", "error", err)
					return out
				}
				c := candidate{x, y, i, j, m}
				if m.Same {
					fits = append(fits, c)
				}
				if m.Alike > best.match.Alike {
					best = c
				}
			}
		}
		if len(fits) == 0 {
			b.refuse(best, best.match, 0)
		}
		// Of several swings each is taken once, the best fit first.
		slices.SortStableFunc(fits, func(a, b candidate) int { return cmpFloat(a.match.Misfit, b.match.Misfit) })
		usedI, usedJ := map[int]bool{}, map[int]bool{}
		for _, c := range fits {
			if !usedI[c.i] && !usedJ[c.j] {
				usedI[c.i], usedJ[c.j] = true, true
				out = append(out, c)
			}
		}
	}
	return out
}

func cmpFloat(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// join puts two swings together and tells it.
func (b *batch) join(ctx context.Context, f fuser, c candidate) {
	start := time.Now()
	m, err := f.Fuse(ctx, &c.a.analysis, &c.b.analysis, c.i, c.j)
	seconds := time.Since(start).Seconds()
	switch {
	case ctx.Err() != nil:
	case err != nil:
		b.refuse(c, fuse.Match{Reason: ui.Explain(err).Message}, seconds)
	case !m.Same:
		b.refuse(c, m, seconds)
	default:
		c.a.changed, c.b.changed = true, true
		v := c.a.analysis.Swings[c.i].Views
		r := c.result(pairFused, seconds)
		r.OffsetS, r.SigmaS, r.Measure = &v.Offset, &v.OffsetSigma, v.Measures
		b.tellPair(r)
		text := fmt.Sprintf("Two views: %s and %s show one swing and were put together, on one clock to %.0f ms.",
			ui.Plain(filepath.Base(c.a.clip.path)), ui.Plain(filepath.Base(c.b.clip.path)), math.Ceil(1000*v.OffsetSigma))
		b.twins.told = append(b.twins.told, text)
	}
}

// refuse tells why two clips were not put together.
func (b *batch) refuse(c candidate, m fuse.Match, seconds float64) {
	r := c.result(pairRefused, seconds)
	r.Reason = m.Reason
	b.tellPair(r)
	for k, one := range []*keptClip{c.a, c.b} {
		other := []*keptClip{c.b, c.a}[k]
		b.warn(one, swing.Warning{
			Code: "views-differ",
			Text: fmt.Sprintf("not put together with %s: they do not show the same swing from two sides, %s", filepath.Base(other.clip.path), m.Reason),
		})
	}
}

func (c candidate) result(status string, seconds float64) pairResult {
	return pairResult{
		Schema: pairSchema, Clips: [2]string{c.a.clip.path, c.b.clip.path}, Status: status, Seconds: float64(int(1000*seconds)) / 1000,
		Swings: [2]int{c.a.analysis.Swings[c.i].Index, c.b.analysis.Swings[c.j].Index}, Measure: []swing.Measure{},
	}
}

// tellPair prints a pair's line.
func (b *batch) tellPair(r pairResult) {
	if !b.settings.JSON {
		return
	}
	enc := json.NewEncoder(b.app.stdout)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(r); err != nil {
		b.log.Error("a result line cannot be written", "error", err)
	}
}

// warn adds a warning to a clip, its result and its file, once.
func (b *batch) warn(k *keptClip, w swing.Warning) {
	has := func(l []swing.Warning) bool {
		return slices.ContainsFunc(l, func(o swing.Warning) bool { return o.Code == w.Code && o.Text == w.Text })
	}
	if has(k.analysis.Warnings) {
		return
	}
	k.analysis.Warnings = append(slices.Clip(k.analysis.Warnings), w)
	b.mu.Lock()
	defer b.mu.Unlock()
	r, ok := b.results[k.clip]
	if !ok || r.Folder == "" || b.closed {
		return
	}
	r.Warnings = append(slices.Clip(r.Warnings), w)
	b.results[k.clip] = r
	if err := writeAnalysis(r.Folder, k.analysis); err != nil {
		b.log.Warn("a warning could not be added to the results", "clip", k.clip.path, "error", err)
	}
}

// again writes the files of a clip that was put together with another one.
func (b *batch) again(ctx context.Context, w worker, k *keptClip) {
	b.mu.Lock()
	old, ok := b.results[k.clip]
	b.mu.Unlock()
	if !ok || old.Folder == "" {
		return
	}
	r := ui.Result{Clip: k.clip.path, Status: ui.StatusDone, Seconds: old.Seconds}
	err := b.deliver(ctx, w, k.clip, k.analysis, k.hitter, &r, swing.NoProgress{}, b.log.With("clip", k.clip.path))
	if err != nil {
		b.log.Warn("the results of two views could not be written", "clip", k.clip.path, "error", err)
		if r.Folder == "" {
			return // the results of the one view stand
		}
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if !b.closed {
		b.results[k.clip] = r
	}
}

// drawPlans draws every swing from above into the stills of dir, beside the first
// reference that is there.
func (b *batch) drawPlans(dir string, a *swing.Analysis) error {
	var ref *swing.Swing
	for _, r := range b.references {
		if r.analysis.Clip.SHA256 == a.Clip.SHA256 {
			continue
		}
		if s, err := r.swing(0); err == nil && s.Turns.Known() {
			ref = s
			break
		}
	}
	for i := range a.Swings {
		s := &a.Swings[i]
		if !s.Turns.Known() && s.Views == nil {
			continue
		}
		rows := []render.PlanRow{{Swing: s}}
		if ref != nil {
			rows = []render.PlanRow{{Label: "hitter", Swing: s}, {Label: "reference", Swing: ref}}
		}
		if _, err := render.PlanView(planPath(dir, s), rows); err != nil {
			return err
		}
	}
	return nil
}

// planPath is the view from above of a swing.
func planPath(dir string, s *swing.Swing) string {
	return filepath.Join(dir, stillsFolder, fmt.Sprintf("%d-plan.png", s.Index))
}
