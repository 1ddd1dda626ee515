package pipeline

import (
	"context"
	"fmt"
	"slices"

	"plantframe/pipeline/bat"
	"plantframe/pipeline/event"
	"plantframe/pipeline/ingest"
	"plantframe/pipeline/judge"
	"plantframe/pipeline/lift"
	"plantframe/pipeline/measure"
	"plantframe/pipeline/swing"
	"plantframe/pipeline/track"
)

// Versions of the stages' answers: raise one when its stage answers
// differently for the same input and options, so that stored results of
// older code are not taken.
const (
	bodiesVersion  = 4
	trackVersion   = 3
	batVersion     = 3
	soundVersion   = 1
	eventVersion   = 7
	liftVersion    = 3
	measureVersion = 8
	judgeVersion   = 2
)

// tracked is the artifact of the track stage for one part of the clip.
type tracked struct {
	Track    swing.Track     `json:"track"`
	Warnings []swing.Warning `json:"warnings"`
	bat      swing.BatPath   // by the bat stage, which has its own artifact
}

// followed is the artifact of the bat stage for one part of the clip.
type followed struct {
	Bat      swing.BatPath   `json:"bat"`
	Warnings []swing.Warning `json:"warnings"`
}

// found is the artifact of the event and measure stages.
type found struct {
	Swings   []swing.Swing   `json:"swings"`
	Warnings []swing.Warning `json:"warnings"`
}

// Run analyses one clip. It blocks; ctx stops it within a frame.
//
// A clip in which nobody swings is a result (no swings and a warning that says
// what was seen), not an error. Errors are *swing.Error with the clip named,
// or the context's error.
func Run(ctx context.Context, path string, d Deps, o Options) (swing.Analysis, error) {
	if err := o.Validate(); err != nil {
		return swing.Analysis{}, &swing.Error{Op: "pipeline.Run", Clip: path, Frame: -1, Kind: swing.KindUsage, Msg: err.Error()}
	}
	r := &run{ctx: ctx, deps: d.withDefaults(), computed: map[string]int{}}

	// The file: what it is, and the checksum that all keys start from.
	clip, err := ingest.Probe(ctx, path, o.Ingest)
	if err != nil {
		return swing.Analysis{}, err
	}
	r.key = clip.SHA256
	a := swing.Analysis{Models: d.Models, Clip: clip}

	// Frames -> the hitter's body points, and how the camera moved.
	b, err := step(r, "bodies", bodiesVersion, bodiesKey{o, d.Models}.parts(), func() (bodies, error) {
		return r.findBodies(clip, o)
	})
	if err != nil {
		return a, named(err, clip)
	}
	a.FramesRead = b.FramesRead
	a.Warnings = append(a.Warnings, b.Warnings...) // the file's own stay with the clip

	// Body points -> a clean track of each part.
	tracks, err := step(r, "track", trackVersion, o.Track, func() ([]tracked, error) { return buildTracks(b, o.Track) })
	if err != nil {
		return a, named(err, clip)
	}

	// What single frames show of the bat -> the bat over time.
	bats, err := step(r, "bat", batVersion, o.Bat, func() ([]followed, error) { return followBats(tracks, b, o.Bat) })
	if err != nil {
		return a, named(err, clip)
	}
	for i := range bats {
		tracks[i].bat = bats[i].Bat
		tracks[i].Warnings = append(tracks[i].Warnings, bats[i].Warnings...)
	}

	// The clip's sound -> sharp sounds that can be a hit.
	var h hearing
	if clip.Audio {
		h, err = step(r, "sound", soundVersion, hearingKey{o.Sound, o.Measure.HeightM}, func() (hearing, error) { return r.listen(clip, tracks, o) })
		if err != nil {
			return a, named(err, clip)
		}
		a.Warnings = append(a.Warnings, h.Warnings...)
	}

	// Track, bat and sound -> swings with their instants.
	f, err := step(r, "event", eventVersion, o.Event, func() (found, error) { return findSwings(tracks, h, b, o.Event) })
	if err != nil {
		return a, named(err, clip)
	}

	// Swing -> how the body turned in space.
	f, err = step(r, "lift", liftVersion, liftKey{o.Lift, r.deps.LiftModel}, func() (found, error) { return f, r.liftSwings(f.Swings, clip) })
	if err != nil {
		return a, named(err, clip)
	}

	if d.LiftModel.ID != "" {
		a.Models = append(slices.Clip(a.Models), d.LiftModel)
	}

	// Swing -> measures.
	f, err = step(r, "measure", measureVersion, o.Measure, func() (found, error) { return f, takeMeasures(f.Swings, clip, o.Measure) })
	if err != nil {
		return a, named(err, clip)
	}

	// Measures and target bands -> findings.
	if !d.Targets.Empty() {
		f, err = step(r, "judge", judgeVersion, judgeKey{o.Judge, d.Targets}, func() (found, error) { return f, judgeSwings(f.Swings, d.Targets, o.Judge) })
		if err != nil {
			return a, named(err, clip)
		}
	}
	a.Swings = f.Swings
	if b.thinned() {
		for i := range a.Swings {
			fillBetween(&a.Swings[i], clip.List)
		}
	}
	a.Warnings = append(a.Warnings, f.Warnings...)
	return a, nil
}

// bodiesKey is what the answers of the network and camera stages depend on.
type bodiesKey struct {
	o      Options
	models []swing.ModelRef
}

// parts leaves out limits and program paths: they change no answer.
func (k bodiesKey) parts() any {
	return map[string]any{
		"camera": k.o.Camera, "pose": k.o.Pose, "models": k.models,
		"bat_reach": k.o.Bat.Reach, "decode_side": k.o.DecodeSide, "scan_side": k.o.ScanSide, "pose_rate": k.o.PoseRate,
	}
}

// judgeKey is what findings depend on: all of the targets, words included.
type judgeKey struct {
	Options judge.Options
	Targets judge.Targets
}

// judgeSwings fills the findings of every swing in place.
func judgeSwings(swings []swing.Swing, t judge.Targets, o judge.Options) error {
	for i := range swings {
		f, err := judge.Judge(swings[i], t, o)
		if err != nil {
			return fmt.Errorf("swing %d: %w", i+1, err)
		}
		swings[i].Findings = f
	}
	return nil
}

// buildTracks makes the track of each part. A part that holds too little of
// the hitter becomes a warning.
func buildTracks(b bodies, o track.Options) ([]tracked, error) {
	out := []tracked{}
	for _, p := range b.Parts {
		t, w, err := track.Build(p.Poses, p.Steady, p.Moves, o)
		if e, ok := swing.AsError(err); ok && e.Kind == swing.KindTooShort {
			w = append(w, swing.Warning{Code: "hitter-lost", Text: "no swing measured: " + e.Msg, Frames: frameRange(p.Poses)})
		} else if err != nil {
			return nil, err
		}
		out = append(out, tracked{Track: t, Warnings: append(append([]swing.Warning{}, p.Warnings...), w...)})
	}
	return out, nil
}

// followBats follows the bat of each part; a part without one has an empty
// path.
func followBats(tracks []tracked, b bodies, o bat.Options) ([]followed, error) {
	out := make([]followed, len(tracks))
	for i := range tracks {
		if tracks[i].Track.Len() == 0 || len(b.Parts[i].Bat) == 0 {
			continue
		}
		var err error
		if out[i].Bat, out[i].Warnings, err = bat.Path(&tracks[i].Track, b.Parts[i].Bat, o); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// findSwings finds the swings of all parts and numbers them through from 1. A part's
// own warnings go to its swings, or to the clip when it has none.
func findSwings(tracks []tracked, h hearing, b bodies, o event.Options) (found, error) {
	out := found{Swings: []swing.Swing{}}
	for i, t := range tracks {
		if t.Track.Len() == 0 {
			out.Warnings = append(out.Warnings, t.Warnings...)
			continue
		}
		ev := event.Evidence{Bat: t.bat}
		if len(h.Cracks) == len(tracks) {
			ev.Cracks = h.Cracks[i]
		}
		swings, w, err := event.Detect(t.Track, ev, o)
		if err != nil {
			return out, err
		}
		out.Warnings = append(out.Warnings, w...)
		if len(swings) == 0 {
			out.Warnings = append(out.Warnings, t.Warnings...)
		}
		for _, s := range swings {
			s.Index = len(out.Swings) + 1
			s.Bat = batOf(t, s.Track.Frames)
			s.Warnings = leadRear(append(within(t.Warnings, s.Track), s.Warnings...), s.Bats)
			out.Swings = append(out.Swings, s)
		}
	}
	if nobody := len(out.Swings) == 0 && (has(b.Warnings, "no-person") || has(out.Warnings, "no-person")); nobody {
		// Where nobody is, all else that was missed says the same again.
		out.Warnings = only(out.Warnings, "no-person")
		return out, nil
	}
	if len(out.Swings) == 0 && !has(out.Warnings, "no-swing") && !has(b.Warnings, "no-swing") {
		out.Warnings = append(out.Warnings, swing.Warning{Code: "no-swing", Text: "no swing found: " + b.Seen})
	}
	return out, nil
}

// liftKey is what the answers of the lift stage depend on.
type liftKey struct {
	Options lift.Options
	Model   swing.ModelRef
}

// liftSwings fills the turns of every swing in place.
func (r *run) liftSwings(swings []swing.Swing, c swing.Clip) error {
	if len(swings) == 0 {
		return nil
	}
	l, err := r.deps.Lift()
	if err != nil || l == nil {
		return err
	}
	for i := range swings {
		swings[i].Width, swings[i].Height = c.Width, c.Height
		if swings[i].Turns, err = l.Path(r.ctx, &swings[i]); err != nil {
			return err
		}
	}
	return nil
}

// batOf cuts the bat of a part to the frames of a swing, which are some of the
// part's in the same order.
func batOf(t tracked, frames []int) swing.BatPath {
	if len(t.bat.Sights) == 0 {
		return swing.BatPath{}
	}
	path := t.bat
	path.Sights = make([]swing.BatSight, 0, len(frames))
	k := 0
	for _, f := range frames {
		for k < len(t.Track.Frames) && t.Track.Frames[k] < f {
			k++
		}
		path.Sights = append(path.Sights, t.bat.Sights[k])
	}
	return path
}

// takeMeasures fills the measures of every swing in place.
func takeMeasures(swings []swing.Swing, c swing.Clip, o measure.Options) error {
	for i := range swings {
		swings[i].Width, swings[i].Height = c.Width, c.Height
		m, w, err := measure.Compute(swings[i], o)
		if err != nil {
			return fmt.Errorf("swing %d: %w", i+1, err)
		}
		swings[i].Measures = m
		swings[i].Warnings = append(swings[i].Warnings, w...)
		swings[i].CentreOfMass = centres(swings[i].Track, o)
	}
	return nil
}
