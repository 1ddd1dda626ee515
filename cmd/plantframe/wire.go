package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"

	"golang.org/x/sync/errgroup"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/store"
	"plantframe/cmd/internal/targets"
	"plantframe/cmd/internal/ui"
	"plantframe/models"
	"plantframe/pipeline"
	"plantframe/pipeline/bat"
	"plantframe/pipeline/ingest"
	"plantframe/pipeline/judge"
	"plantframe/pipeline/lift"
	"plantframe/pipeline/output/render"
	"plantframe/pipeline/pixel"
	"plantframe/pipeline/pose"
	"plantframe/pipeline/spot"
	"plantframe/pipeline/swing"
)

// This file is the one place that names concrete things: which networks take
// which part, where they and the results of stages lie.

var (
	_ pose.Session       = (*models.Session)(nil)
	_ lift.Session       = (*models.Session)(nil)
	_ pipeline.Artifacts = (*store.Disk)(nil)
	_ swing.Progress     = (*ui.Clip)(nil)
)

// Networks besides the pose network of the settings.
const (
	detectorModel = "pose-detector"  // finds people
	scanModel     = "pose-full"      // looks through long clips
	objectModel   = "object-nanodet" // tells who holds a bat
	batModel      = "bat-points"     // the bat's ends
	feetModel     = "feet-points"    // the parts of the feet
	liftModel     = "lift"           // turns in space
)

// stageShares is what the stages of a clip take of its time, for the bar: seen
// on clips of a few seconds; on long clips the scan takes more.
func stageShares() []ui.Share {
	return []ui.Share{{Stage: "scan", Part: 0.15}, {Stage: "pose", Part: 0.7}, {Stage: "draw", Part: 0.15}}
}

// cacheDir is the folder of networks and stage results.
func cacheDir() (string, error) {
	dir, err := models.DefaultDir()
	return filepath.Dir(dir), err
}

// openArtifacts returns the store of stage results; nil keeps nothing. prune
// brings it back under its limit.
func openArtifacts(s config.Settings, log *slog.Logger) (_ pipeline.Artifacts, prune func()) {
	if s.NoCache {
		return nil, func() {}
	}
	dir, err := cacheDir()
	if err == nil {
		var d *store.Disk
		if d, err = store.OpenDisk(filepath.Join(dir, "stages")); err == nil {
			return d, func() {
				if _, err := d.Prune(int64(s.CacheLimitMb) << 20); err != nil {
					log.Warn("the cache could not be tidied", "error", err)
				}
			}
		}
	}
	log.Warn("results of stages are not kept: the cache folder cannot be used", "error", err)
	return nil, func() {}
}

// cast is the set of networks of an analysis.
type cast struct {
	detector, landmarks models.Manifest
	scan, objects       *models.Manifest // nil: not used
	bat, feet, lift     models.Manifest
}

// chooseModels finds the networks that the settings ask for and checks that
// their files are there.
func chooseModels(st models.Store, s config.Settings) (cast, error) {
	var c cast
	var err error
	if c.detector, err = models.Lookup(detectorModel); err != nil {
		return c, err
	}
	if c.landmarks, err = models.Find(s.PoseModel()); err != nil {
		return c, err
	}
	if c.landmarks.Purpose != "landmarks" {
		return c, &swing.Error{
			Op: "wire", Frame: -1, Kind: swing.KindUsage,
			Msg:  fmt.Sprintf("the model %s finds no body points, it is for: %s", c.landmarks.ID, c.landmarks.Purpose),
			Hint: "plantframe models list shows the networks for landmarks",
		}
	}
	// A network of another family has its hips elsewhere, which does not
	// matter to the coarse pass.
	if c.landmarks.ID != scanModel {
		m, err := models.Lookup(scanModel)
		if err != nil {
			return c, err
		}
		c.scan = &m
	}
	if m, err := models.Lookup(objectModel); err == nil {
		c.objects = &m
	}
	if c.bat, err = models.Lookup(batModel); err != nil {
		return c, err
	}
	if c.feet, err = models.Lookup(feetModel); err != nil {
		return c, err
	}
	if c.lift, err = models.Lookup(liftModel); err != nil {
		return c, err
	}
	for _, state := range st.List(append(c.all(), c.lift)) {
		if state.Problem != "" {
			return c, &models.Error{Op: "wire", Msg: state.ID + ": " + state.Problem, Hint: state.Hint}
		}
	}
	return c, nil
}

// all lists the networks of the cast that look at pictures.
func (c cast) all() []models.Manifest {
	out := []models.Manifest{c.detector, c.landmarks, c.bat, c.feet}
	for _, m := range []*models.Manifest{c.scan, c.objects} {
		if m != nil {
			out = append(out, *m)
		}
	}
	return out
}

// refs names the networks in results and in the keys of stored stages.
func (c cast) refs() []swing.ModelRef {
	var out []swing.ModelRef
	for _, m := range c.all() {
		out = append(out, swing.ModelRef{ID: m.ID, SHA256: m.SHA256})
	}
	return out
}

// analyst is the worker of real runs.
type analyst struct {
	settings  config.Settings
	threads   int
	artifacts pipeline.Artifacts
	store     models.Store
	cast      cast
	targets   judge.Targets

	estimator *pose.Estimator // opened when first needed
	bat       *bat.Finder
	sessions  map[string][]*models.Session // of the networks that look at pictures, one a lane
	lifter    *lift.Lifter
	lifting   *models.Session
}

// openWorker makes a worker. Networks are opened when a clip needs them.
func openWorker(s config.Settings, threads int, artifacts pipeline.Artifacts) (worker, error) {
	dir, err := models.DefaultDir()
	if err != nil {
		return nil, err
	}
	w := &analyst{settings: s, threads: threads, artifacts: artifacts, store: models.NewStore(dir)}
	if w.targets, err = targets.Load(s.Judging()); err != nil {
		return nil, err
	}
	w.cast, err = chooseModels(w.store, s)
	return w, err
}

// open returns the estimator with its networks, which are opened side by side:
// one takes 50 to 300 ms of one core.
//
// The networks that look at every frame work on two frames at once where there
// are two threads: one thread for each of two runs takes a sixth less processor
// time than two threads for one run, and what lies between the runs no longer
// leaves a core idle.
func (w *analyst) open() (*pose.Estimator, error) {
	if w.estimator != nil {
		return w.estimator, nil
	}
	lanes := min(w.threads, pose.AtOnce)
	nets := pose.Networks{More: make([]pose.Lane, lanes-1)}
	bats := make([]*spot.Network, lanes)
	marks, feet := []**pose.Network{&nets.Landmarks}, []**spot.Network{&nets.Feet}
	clubs := []**spot.Network{&bats[0]}
	for i := range nets.More {
		marks, feet, clubs = append(marks, &nets.More[i].Landmarks), append(feet, &nets.More[i].Feet), append(clubs, &bats[i+1])
	}
	parts := []struct {
		networks []**pose.Network // one of both
		points   []**spot.Network
		manifest *models.Manifest
		threads  int
	}{
		{[]**pose.Network{&nets.Detector}, nil, &w.cast.detector, w.threads},
		{marks, nil, &w.cast.landmarks, w.threads / lanes},
		{[]**pose.Network{&nets.Scan}, nil, w.cast.scan, w.threads},
		{[]**pose.Network{&nets.Objects}, nil, w.cast.objects, w.threads},
		{nil, feet, &w.cast.feet, w.threads / lanes},
		{nil, clubs, &w.cast.bat, w.threads / lanes},
	}
	sessions := make([][]*models.Session, len(parts))
	var group errgroup.Group
	for i, part := range parts {
		if part.manifest == nil {
			continue
		}
		group.Go(func() (err error) {
			sessions[i], err = w.openTwins(*part.manifest, part.threads, max(len(part.networks), len(part.points)))
			if err != nil {
				return err
			}
			for k, to := range part.points {
				if *to, err = spotOf(*part.manifest, sessions[i][k]); err != nil {
					return err
				}
			}
			for k, to := range part.networks {
				spec, err := specOf(*part.manifest)
				if err != nil {
					return err
				}
				*to = &pose.Network{Session: sessions[i][k], Spec: spec}
			}
			return nil
		})
	}
	err := group.Wait()
	w.sessions = map[string][]*models.Session{}
	for i, part := range parts {
		if part.manifest != nil {
			w.sessions[part.manifest.ID] = append(w.sessions[part.manifest.ID], sessions[i]...)
		}
	}
	if err == nil {
		w.bat, err = bat.New(bats, w.settings.Stages().Bat)
	}
	if err == nil {
		w.estimator, err = pose.New(nets, w.settings.Stages().Pose)
	}
	if err != nil {
		return nil, errors.Join(err, w.Close())
	}
	return w.estimator, nil
}

// openTwins opens a network n times on the same weights. What it returns with an
// error is open as well.
func (w *analyst) openTwins(m models.Manifest, threads, n int) ([]*models.Session, error) {
	first, err := w.store.Open(m, models.SessionOptions{Threads: threads})
	if err != nil {
		return nil, err
	}
	all := []*models.Session{first}
	for len(all) < n {
		t, err := first.Twin()
		if err != nil {
			return all, err
		}
		all = append(all, t)
	}
	return all, nil
}

// openBat returns the bat's network, opened with the others.
func (w *analyst) openBat() (*bat.Finder, error) {
	_, err := w.open()
	return w.bat, err
}

// openLift returns the lifting network, opened by itself: a clip whose poses are
// stored needs no other.
func (w *analyst) openLift() (*lift.Lifter, error) {
	if w.lifter != nil {
		return w.lifter, nil
	}
	m := w.cast.lift
	if m.Decoder != lift.Decoder || m.Input.Steps != lift.Steps || m.Input.Channels != lift.Channels {
		return nil, &swing.Error{
			Op: "wire", Frame: -1, Kind: swing.KindModel,
			Msg: fmt.Sprintf("the manifest of %s does not describe a network for turns", m.ID),
		}
	}
	s, err := w.store.Open(m, models.SessionOptions{Threads: w.threads})
	if err != nil {
		return nil, err
	}
	if w.lifter, err = lift.New(s, w.settings.Stages().Lift); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	w.lifting = s
	return w.lifter, nil
}

// Analyse runs the pipeline on one clip.
func (w *analyst) Analyse(ctx context.Context, path string, p swing.Progress, log *slog.Logger) (swing.Analysis, error) {
	a, err := pipeline.Run(ctx, path, pipeline.Deps{
		Artifacts: w.artifacts, Progress: p, Log: log, Estimator: w.open, Bat: w.openBat, Models: w.cast.refs(),
		Targets: w.targets,
		Lift:    w.openLift, LiftModel: swing.ModelRef{ID: w.cast.lift.ID, SHA256: w.cast.lift.SHA256},
	}, w.settings.Stages())
	a.ToolVersion, a.Options = version(), w.settings.Effective()
	maps.Copy(a.Options, targetsUsed(w.targets))
	return a, err
}

// Keys foretells the keys of the stages of Analyse.
func (w *analyst) Keys(c swing.Clip) ([]pipeline.StageKey, error) {
	return pipeline.Keys(c, pipeline.Deps{
		Models: w.cast.refs(), Targets: w.targets,
		LiftModel: swing.ModelRef{ID: w.cast.lift.ID, SHA256: w.cast.lift.SHA256},
	}, w.settings.Stages())
}

// Draw decodes the swings of the clip again and draws them.
func (w *analyst) Draw(ctx context.Context, a swing.Analysis, dir string, p swing.Progress) error {
	if len(a.Swings) == 0 {
		return nil
	}
	o := w.settings.Drawing(w.threads)
	var want func(int) bool
	if wanted := render.Wanted(&a, o); wanted != nil && !damaged(a.Warnings) {
		want = func(i int) bool { return wanted[i] }
	}
	from, to := math.Inf(1), 0.0
	for _, s := range a.Swings {
		from, to = min(from, s.Window[0]), max(to, s.Window[1])
		for _, e := range s.Events {
			from, to = min(from, e.Time), max(to, e.Time)
		}
	}
	rd, err := ingest.Open(ctx, a.Clip, ingest.OpenOptions{
		MaxSide: w.settings.DecodeSide, From: max(0, from-o.LeadIn), To: to + o.LeadOut,
		Threads: w.settings.DecodeThreads, Want: want, Options: w.settings.Ingest,
	})
	if err != nil {
		return err
	}
	o.Scale = rd.Scale()
	err = render.Draw(ctx, rd.Frames(), a, dir, o, p)
	return errors.Join(err, rd.Close())
}

// Compare decodes the clips of a pairing again, once per pass, and draws them
// beside each other.
func (w *analyst) Compare(ctx context.Context, p *pairing, refs []render.Reference, sources []*subject, dir string, files render.PairFiles, progress swing.Progress) error {
	for i := range refs {
		refs[i].Open = w.opener(sources[i].analysis)
	}
	hitter := render.Shown{Label: p.labels[0], Name: p.hitter.name(), Open: w.opener(p.hitter.analysis)}
	return render.DrawPair(ctx, hitter, refs, dir, files, w.settings.Drawing(w.threads), progress)
}

// opener returns what decodes stretches of a clip for the drawing.
func (w *analyst) opener(a swing.Analysis) render.OpenFrames {
	return func(ctx context.Context, r render.FrameRequest) (render.Footage, error) {
		o := ingest.OpenOptions{
			MaxSide: r.MaxSide, From: r.From, To: r.To, Want: r.Want,
			Threads: w.settings.DecodeThreads, Options: w.settings.Ingest,
		}
		if damaged(a.Warnings) || damaged(a.Clip.Warnings) {
			o.Want = nil
		}
		rd, err := ingest.Open(ctx, a.Clip, o)
		if err != nil {
			return render.Footage{}, err
		}
		return render.Footage{Frames: rd.Frames(), Scale: rd.Scale(), Close: rd.Close}, nil
	}
}

// damaged tells whether frames of the clip did not come as its list says.
func damaged(ws []swing.Warning) bool {
	return slices.ContainsFunc(ws, func(w swing.Warning) bool {
		return slices.Contains([]string{"damaged", "frames-missing", "frame-cut", "times-repaired"}, w.Code)
	})
}

// Close gives the networks back.
func (w *analyst) Close() error {
	var all error
	for _, twins := range w.sessions {
		for _, s := range twins {
			all = errors.Join(all, s.Close())
		}
	}
	if w.lifting != nil {
		all = errors.Join(all, w.lifting.Close())
	}
	w.sessions, w.estimator, w.bat, w.lifter, w.lifting = nil, nil, nil, nil, nil
	return all
}

// specOf turns a manifest into what the pose stage wants to know.
func specOf(m models.Manifest) (pose.Spec, error) {
	in := m.Input
	s := pose.Spec{
		Name: m.ID, Decoder: pose.Decoder(m.Decoder), Width: in.Width, Height: in.Height,
		Layout: pixel.Layout(in.Layout), Colour: pixel.Order(in.Colour), Keypoints: m.Keypoints,
		Names: m.Points, Refine: pose.Refine(m.Refine),
		Outputs: map[string]string{},
	}
	for i := range in.Mean {
		s.Mean[i], s.Std[i] = float64(in.Mean[i]), float64(in.Std[i])
	}
	for _, o := range m.Outputs {
		s.Outputs[o.Name] = o.Name
		if m.Decoder == string(pose.Heatmap) && len(o.Shape) == 4 {
			s.MapHeight, s.MapWidth = int(o.Shape[2]), int(o.Shape[3])
		}
	}
	for name, v := range m.Params {
		switch name {
		case "split":
			s.Split = v
		case "logits":
			s.Logits = v != 0
		case "min_score":
			s.MinScore = v
		default:
			return s, &swing.Error{
				Op: "wire", Frame: -1, Kind: swing.KindModel,
				Msg:  fmt.Sprintf("the manifest of %s has a parameter %q that no decoder knows", m.ID, name),
				Hint: "known are split, logits and min_score",
			}
		}
	}
	return s, nil
}

// spotOf makes the network of a manifest that gives a few points.
func spotOf(m models.Manifest, session spot.Session) (*spot.Network, error) {
	in := m.Input
	n := &spot.Network{Session: session, Name: m.ID, Points: m.Points, Format: pixel.Format{
		Width: in.Width, Height: in.Height, Layout: pixel.Layout(in.Layout), Order: pixel.Order(in.Colour), Centre: 0.5,
	}}
	for i := range in.Mean {
		n.Format.Mean[i], n.Format.Std[i] = float64(in.Mean[i]), float64(in.Std[i])
	}
	for _, o := range m.Outputs {
		if o.Name == "heat" && len(o.Shape) == 4 {
			n.Rows, n.Columns = int(o.Shape[2]), int(o.Shape[3])
		}
	}
	if m.Decoder != spot.Decoder || n.Rows == 0 {
		return nil, &swing.Error{
			Op: "wire", Frame: -1, Kind: swing.KindModel,
			Msg:  fmt.Sprintf("the manifest of %s does not describe a network for points", m.ID),
			Hint: "its decoder must be " + spot.Decoder + ", with an output heat of shape [1, points, rows, columns]",
		}
	}
	return n, nil
}

// exists tells whether a path is there.
func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}
