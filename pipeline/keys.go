package pipeline

import "plantframe/pipeline/swing"

// StageKey is the key under which a stage's answer is kept: a hash of all that
// the answer depends on, the stages before it included.
type StageKey struct {
	Stage string `json:"stage"`
	Key   string `json:"key"`
}

// Keys returns the keys of the stages of Run for a clip, in order, without
// running anything. c needs SHA256 and Audio alone. Two runs whose keys are equal
// up to a stage give the same answer up to there: from the first that differs on,
// stages run again.
func Keys(c swing.Clip, d Deps, o Options) ([]StageKey, error) {
	type part struct {
		name    string
		version int
		opts    any
		left    bool // out: the clip has nothing for it
	}
	parts := []part{
		{"bodies", bodiesVersion, bodiesKey{o, d.Models}.parts(), false},
		{"track", trackVersion, o.Track, false},
		{"bat", batVersion, o.Bat, false},
		{"sound", soundVersion, hearingKey{o.Sound, o.Measure.HeightM}, !c.Audio},
		{"event", eventVersion, o.Event, false},
		{"lift", liftVersion, liftKey{o.Lift, d.LiftModel}, false},
		{"measure", measureVersion, o.Measure, false},
		{"judge", judgeVersion, judgeKey{o.Judge, d.Targets}, d.Targets.Empty()},
	}
	var out []StageKey
	key := c.SHA256
	for _, p := range parts {
		if p.left {
			continue
		}
		var err error
		if key, err = chain(key, p.name, p.version, p.opts); err != nil {
			return nil, err
		}
		out = append(out, StageKey{p.name, key})
	}
	return out, nil
}
