package pipeline

import (
	"log/slog"

	"plantframe/pipeline/bat"
	"plantframe/pipeline/judge"
	"plantframe/pipeline/lift"
	"plantframe/pipeline/pose"
	"plantframe/pipeline/swing"
)

// Deps are the things Run is handed: everything that is not a setting.
type Deps struct {
	// Artifacts keeps stage results between runs; nil keeps nothing.
	Artifacts Artifacts
	// Progress is told how far the clip is; nil tells nobody.
	Progress swing.Progress
	// Log receives what a developer wants to know; nil discards.
	Log *slog.Logger
	// Estimator returns the pose stage's networks, opened at the first call:
	// a clip whose poses are stored opens none. Run uses it from one
	// goroutine; two Runs at once need two estimators.
	Estimator func() (*pose.Estimator, error)
	// Bat returns the network that looks for the bat, opened at the first
	// call; nil, or a call that returns nil, looks for none.
	Bat func() (*bat.Finder, error)
	// Lift returns the network that lifts tracks into space, opened at the first
	// call; nil, or a call that returns nil, lifts nothing.
	Lift func() (*lift.Lifter, error)
	// Models names the network files behind the pose stage's networks; their
	// checksums are part of the artifact keys.
	Models []swing.ModelRef
	// LiftModel is the network file behind Lift; its checksum is part of that
	// stage's key alone.
	LiftModel swing.ModelRef
	// Targets are the bands that swings are judged by; empty judges nothing.
	Targets judge.Targets
}

// withDefaults fills the parts that may be nil.
func (d Deps) withDefaults() Deps {
	if d.Progress == nil {
		d.Progress = swing.NoProgress{}
	}
	if d.Log == nil {
		d.Log = slog.New(slog.DiscardHandler)
	}
	if d.Bat == nil {
		d.Bat = func() (*bat.Finder, error) { return nil, nil }
	}
	if d.Lift == nil {
		d.Lift = func() (*lift.Lifter, error) { return nil, nil }
	}
	return d
}
