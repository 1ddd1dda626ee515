package pipeline

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"path/filepath"
	"slices"

	"plantframe/pipeline/fuse"
	"plantframe/pipeline/judge"
	"plantframe/pipeline/swing"
)

// fuseVersion is that of the answers of Fuse, as the versions of the stages.
const fuseVersion = 2

// Fused is the artifact of two views: whether they show one swing, and what both show
// together, for each of them on its own clock; nil when they do not.
type Fused struct {
	Match fuse.Match
	Views [2]*swing.TwoViews
}

// Fuse puts two swings of two clips together and writes what came of it into both:
// Views, the measures that both views know better, and the findings that follow. It
// changes nothing when they are not one swing; Match.Reason says why. Errors are
// *swing.Error, or the context's.
func Fuse(ctx context.Context, a, b *swing.Analysis, i, j int, d Deps, o Options) (fuse.Match, error) {
	x, y := &a.Swings[i], &b.Swings[j]
	r := &run{ctx: ctx, deps: d.withDefaults(), computed: map[string]int{}}
	if err := r.begin(x, y); err != nil {
		return fuse.Match{}, err
	}
	f, err := step(r, "fuse", fuseVersion, o.Fuse, func() (Fused, error) {
		m, va, vb, err := fuse.Swings(ctx, x, y, o.Fuse)
		return Fused{Match: m, Views: [2]*swing.TwoViews{va, vb}}, err
	})
	if err != nil || !f.Match.Same {
		return f.Match, err
	}
	f.Views[0].Partner, f.Views[1].Partner = refOf(b, j), refOf(a, i)
	for k, s := range []*swing.Swing{x, y} {
		s.Views = f.Views[k]
		s.Measures = adopt(s.Measures, s.Views.Measures, o.Measure.HeightM)
		if d.Targets.Empty() {
			continue
		}
		if s.Findings, err = judge.Judge(*s, d.Targets, o.Judge); err != nil {
			return f.Match, err
		}
	}
	return f.Match, nil
}

// begin makes the key of two swings from all that fusing reads.
func (r *run) begin(swings ...*swing.Swing) error {
	h := sha256.New()
	for _, s := range swings {
		err := json.NewEncoder(h).Encode([]any{s.Bats, s.View, s.Events, s.Track.Times, s.Track.Points, s.Track.Sigma, s.Track.Steady, s.Track.Stature, s.Bat, s.Turns, s.Width, s.Height})
		if err != nil {
			return &swing.Error{Op: "pipeline.Fuse", Frame: -1, Kind: swing.KindInternal, Msg: "a swing cannot be written down", Err: err}
		}
	}
	r.key = hex.EncodeToString(h.Sum(nil))
	return nil
}

func refOf(a *swing.Analysis, i int) swing.ViewRef {
	s := &a.Swings[i]
	return swing.ViewRef{File: filepath.Base(filepath.ToSlash(a.Clip.Path)), SHA256: a.Clip.SHA256, Swing: s.Index, View: s.View}
}

// adopt returns the measures of one view with those of both views in place of them,
// where these are no less sure in words: one view has to guess what both see. Those
// that the one view lacks come behind the others of their name.
func adopt(own, both []swing.Measure, heightM float64) []swing.Measure {
	out := append([]swing.Measure(nil), own...)
	for _, m := range both {
		out = place(out, m)
		if m.Unit == "stature" && heightM > 0 && m.Value != nil {
			v, s := heightM**m.Value, heightM**m.Sigma
			m.ID, m.Unit, m.Value, m.Sigma = m.ID+"_m", "m", &v, &s
			out = place(out, m)
		}
	}
	return out
}

// place puts a measure among those of its name, in the order of events.
func place(list []swing.Measure, m swing.Measure) []swing.Measure {
	if m.Value == nil {
		return list
	}
	rank := map[swing.Status]int{swing.Measured: 2, swing.Weak: 1}
	order := swing.EventNames()
	at := len(list)
	for i := range list {
		o := &list[i]
		if o.ID != m.ID || o.Unit != m.Unit {
			continue
		}
		if o.Event == m.Event {
			if rank[m.Status] >= rank[o.Status] {
				*o = m
			}
			return list
		}
		if slices.Index(order, o.Event) < slices.Index(order, m.Event) {
			at = i + 1 // behind the earlier ones
		} else {
			at = min(at, i)
		}
	}
	return slices.Insert(list, at, m)
}
