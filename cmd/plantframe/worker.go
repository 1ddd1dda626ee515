package main

import (
	"context"
	"log/slog"

	"plantframe/pipeline/swing"
)

// worker analyses and draws clips, one after the other. It holds the networks
// of one goroutine.
type worker interface {
	// Analyse returns what was found in the clip at path.
	Analyse(ctx context.Context, path string, p swing.Progress, log *slog.Logger) (swing.Analysis, error)
	// Draw makes overlay.mp4 and stills of the analysis in the folder dir.
	Draw(ctx context.Context, a swing.Analysis, dir string, p swing.Progress) error
	// Close gives the networks back. Analyse opens them again.
	Close() error
}
