package pipeline

import (
	"math"

	"plantframe/pipeline/ingest"
	"plantframe/pipeline/sound"
	"plantframe/pipeline/swing"
)

// hearing is the artifact of the sound stage.
type hearing struct {
	Cracks   [][]swing.Crack `json:"cracks"` // of each part
	Warnings []swing.Warning `json:"warnings"`
}

// hearMargin is how much longer than a part of the film its sound is read at
// both ends, s: what else the clip sounds like tells how much a crack means.
const hearMargin = 2.0

// hearingKey is what the answer of the sound stage depends on besides the
// tracks.
type hearingKey struct {
	Sound  sound.Options
	Height float64
}

// listen finds the cracks in the sound of each part. A clip whose sound cannot
// be read is a clip without sound, with a warning.
func (r *run) listen(clip swing.Clip, tracks []tracked, o Options) (hearing, error) {
	out := hearing{Cracks: make([][]swing.Crack, len(tracks))}
	for i, t := range tracks {
		n := t.Track.Len()
		if n == 0 {
			continue
		}
		s, w, err := ingest.ReadSound(r.ctx, clip, ingest.SoundOptions{
			From: math.Max(0, t.Track.Times[0]-hearMargin), To: t.Track.Times[n-1] + hearMargin, Options: o.Ingest,
		})
		if err != nil {
			return out, err
		}
		out.Warnings = append(out.Warnings, w...)
		out.Cracks[i], err = sound.Listen(s, sound.Place{
			Stature: t.Track.Stature, LongSide: float64(max(clip.Width, clip.Height)), HeightM: o.Measure.HeightM,
		}, o.Sound)
		if err != nil {
			return out, err
		}
	}
	out.Warnings = once(out.Warnings)
	return out, nil
}

// once keeps the first of warnings with the same code and text: every part of a
// damaged track says the same.
func once(ws []swing.Warning) []swing.Warning {
	seen := map[[2]string]bool{}
	var out []swing.Warning
	for _, w := range ws {
		if k := [2]string{w.Code, w.Text}; !seen[k] {
			seen[k] = true
			out = append(out, w)
		}
	}
	return out
}
