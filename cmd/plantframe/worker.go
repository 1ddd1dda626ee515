package main

import (
	"context"
	"log/slog"

	"plantframe/pipeline"
	"plantframe/pipeline/output/render"
	"plantframe/pipeline/swing"
)

// worker analyses and draws clips, one after the other. It holds the networks
// of one goroutine.
type worker interface {
	// Analyse returns what was found in the clip at path.
	Analyse(ctx context.Context, path string, p swing.Progress, log *slog.Logger) (swing.Analysis, error)
	// Keys returns the keys of the stages of Analyse for a clip.
	Keys(c swing.Clip) ([]pipeline.StageKey, error)
	// Draw makes overlay.mp4 and stills of the analysis in the folder dir.
	Draw(ctx context.Context, a swing.Analysis, dir string, p swing.Progress) error
	// Compare draws a pairing into the folder dir: its swing beside those of refs,
	// whose clips sources holds.
	Compare(ctx context.Context, p *pairing, refs []render.Reference, sources []*subject, dir string, files render.PairFiles, progress swing.Progress) error
	// Close gives the networks back. Analyse opens them again.
	Close() error
}
