package pipeline

import (
	"errors"
	"iter"

	"plantframe/pipeline/bat"
	"plantframe/pipeline/camera"
	"plantframe/pipeline/ingest"
	"plantframe/pipeline/pose"
	"plantframe/pipeline/swing"
)

// bodies is the artifact of the pose and camera stages, in px of the full
// upright picture.
type bodies struct {
	Parts      []part          `json:"parts"`
	FramesRead int             `json:"frames_read"`
	Seen       string          `json:"seen"` // who is in the clip, in words
	Warnings   []swing.Warning `json:"warnings"`
}

// part is one stretch of the clip in which the hitter was followed.
type part struct {
	Poses    []swing.Pose       `json:"poses"`
	Steady   []swing.Similarity `json:"steady"`
	Moves    bool               `json:"moves"`
	Bat      []bat.Sighting     `json:"bat"`     // one per pose; empty when no bat was looked for
	Thinned  bool               `json:"thinned"` // frames between the poses were passed over
	Warnings []swing.Warning    `json:"warnings"`
}

// findBodies runs the networks. A short clip is followed as a whole, and
// again if somebody else turns out to swing; a long one is first scanned by
// the cheap network and followed only around its swings.
func (r *run) findBodies(clip swing.Clip, o Options) (bodies, error) {
	est, err := r.deps.Estimator()
	if err != nil {
		return bodies{}, err
	}
	if clip.Duration > 0 && clip.Duration <= o.Pose.ShortClip {
		return r.followWhole(est, clip, o)
	}
	var b bodies
	scan, scale, err := r.scan(est, clip, o, &b)
	if err != nil {
		return b, err
	}
	b.Seen = scan.Describe()
	b.Warnings = append(b.Warnings, scan.Warnings...)
	for _, w := range scan.Windows {
		p, size, err := r.follow(est, clip, o, w, scan.Seed.Scaled(scale), nil)
		if err != nil {
			return b, err
		}
		if p.Thinned && len(p.Poses) > 0 {
			if err := r.refine(est, clip, o, &p, size); err != nil {
				return b, err
			}
		}
		b.Parts = append(b.Parts, p)
	}
	return b, nil
}

// followWhole follows the likeliest hitter through the whole clip and, if
// another person is the one who swings, that person.
func (r *run) followWhole(est *pose.Estimator, clip swing.Clip, o Options) (bodies, error) {
	var b bodies
	p, scale, err := r.follow(est, clip, o, [2]float64{}, pose.Seed{}, &b)
	if err != nil {
		return b, err
	}
	seen := est.Seen()
	if seen.OtherSwings() {
		b = bodies{}
		if p, _, err = r.follow(est, clip, o, [2]float64{}, seen.Seed.Scaled(scale), &b); err != nil {
			return b, err
		}
	}
	b.Seen = seen.Describe()
	if p.Thinned && len(p.Poses) > 0 {
		if err := r.refine(est, clip, o, &p, scale); err != nil {
			return b, err
		}
	}
	b.Parts = []part{p}
	return b, nil
}

// scan makes the coarse pass. The returned scale turns its px into those of
// the full picture.
func (r *run) scan(est *pose.Estimator, clip swing.Clip, o Options, b *bodies) (pose.Scan, float64, error) {
	rd, err := ingest.Open(r.ctx, clip, ingest.OpenOptions{MaxSide: o.ScanSide, Threads: o.DecodeThreads, Options: o.Ingest})
	if err != nil {
		return pose.Scan{}, 1, err
	}
	r.deps.Progress.Stage("scan", clip.Frames)
	s, err := est.Scan(r.ctx, counted(rd.Frames(), &b.FramesRead), r.deps.Progress)
	err = errors.Join(err, rd.Close())
	b.Warnings = append(b.Warnings, rd.Warnings()...)
	return s, rd.Scale(), err
}

// follow runs the large network and the camera stage over a window of the
// clip ([2]float64{} = all of it). seed is in px of the full picture, the
// result too. The returned scale is that of the decoded pictures. b, which
// may be nil, learns what the reader says of the file.
func (r *run) follow(est *pose.Estimator, clip swing.Clip, o Options, window [2]float64, seed pose.Seed, b *bodies) (part, float64, error) {
	pace := newPace(clip, window, o.PoseRate)
	rd, err := ingest.Open(r.ctx, clip, ingest.OpenOptions{
		MaxSide: o.DecodeSide, From: window[0], To: window[1],
		Threads: o.DecodeThreads, Options: o.Ingest, Want: pace.want(),
	})
	if err != nil {
		return part{}, 1, err
	}
	scale := rd.Scale()
	cam, err := camera.New(o.Camera)
	if err != nil {
		return part{}, scale, errors.Join(err, rd.Close())
	}
	defer cam.Close()
	total := clip.Frames
	if window[1] > window[0] && clip.FPS > 0 {
		total = int((window[1] - window[0]) * clip.FPS)
	}
	if pace != nil && pace.base != nil {
		total = len(pace.base)
	}
	r.deps.Progress.Stage("pose", total)
	finder, err := r.deps.Bat()
	if err != nil {
		return part{}, scale, errors.Join(err, rd.Close())
	}
	if finder != nil {
		finder.Reset()
	}
	read := 0
	side := newSideline(cam)
	looked := sightings{finder: finder}
	poses, warnings, err := est.Follow(r.ctx, pace.thin(counted(rd.Frames(), &read)), seed.Scaled(1/scale), pose.Each{
		Beside: looked.look,
		InOrder: func(f swing.Frame, p swing.Pose, others []swing.Box) error {
			r.deps.Progress.Add(1)
			looked.take(p)
			return side.add(f, p, others)
		},
	})
	err = errors.Join(err, side.end())
	bats := looked.all
	if err = errors.Join(err, rd.Close()); err != nil {
		return part{}, scale, err
	}
	p := part{Poses: poses, Warnings: warnings, Bat: bats, Thinned: pace != nil}
	var shaken []swing.Warning
	p.Steady, p.Moves, shaken = cam.Steady()
	p.Warnings = append(p.Warnings, shaken...)
	enlarge(&p, scale)
	if b != nil {
		b.FramesRead = read
		if pace != nil && read <= len(pace.base) {
			b.FramesRead += pace.left // the container has them
		}
		b.Warnings = append(b.Warnings, rd.Warnings()...)
	}
	return p, scale, nil
}

// counted passes frames on and counts them for the result.
func counted(frames iter.Seq2[swing.Frame, error], n *int) iter.Seq2[swing.Frame, error] {
	return func(yield func(swing.Frame, error) bool) {
		for f, err := range frames {
			if err == nil {
				*n++
			}
			if !yield(f, err) {
				return
			}
		}
	}
}

// enlarge turns px of the decoded pictures into px of the full picture.
func enlarge(p *part, scale float64) {
	if scale == 1 {
		return
	}
	for i := range p.Poses {
		for j := range p.Poses[i].Points {
			p.Poses[i].Points[j].X *= scale
			p.Poses[i].Points[j].Y *= scale
		}
	}
	for i := range p.Bat {
		p.Bat[i].Enlarge(scale)
	}
	for i := range p.Steady {
		p.Steady[i].TX *= scale
		p.Steady[i].TY *= scale
	}
}
