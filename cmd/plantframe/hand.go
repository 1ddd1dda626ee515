package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"time"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/queue"
	"plantframe/cmd/internal/store"
	"plantframe/cmd/internal/ui"
	"plantframe/pipeline"
	"plantframe/pipeline/swing"
)

// hand does jobs: for each it runs what analyze runs for a clip, so that the
// files are the same whichever way a clip came.
type hand struct {
	app       *app
	base      config.Settings // of this machine
	log       *slog.Logger
	artifacts pipeline.Artifacts
	records   *store.Records // nil = results go into files alone
	threads   int
	slots     chan *slot

	mu      sync.Mutex
	results map[int64]ui.Result // of the last attempt at each job, until it is told
	stale   map[string]bool     // folders for results whose overview is to be written
}

// slot holds the networks for one clip at a time.
type slot struct {
	worker worker
	key    string // of the order that they were opened for
}

// newHand makes what does jobs, n clips at once.
func (a *app) newHand(s config.Settings, records *store.Records, artifacts pipeline.Artifacts, log *slog.Logger) (h *hand, n int) {
	n, threads := s.Share(1 << 10)
	h = &hand{
		app: a, base: s, log: log, artifacts: artifacts, records: records, threads: threads,
		slots: make(chan *slot, n), results: map[int64]ui.Result{}, stale: map[string]bool{},
	}
	for range n {
		h.slots <- &slot{}
	}
	return h, n
}

// do is one attempt at a job.
func (h *hand) do(ctx context.Context, t queue.Task) (queue.Result, error) {
	c := t.Clip
	if err := h.room(c.Out); err != nil {
		return queue.Result{}, err
	}
	start := time.Now()
	w, err := h.clip(ctx, t)
	r := w.result
	r.Seconds = float64(time.Since(start).Milliseconds()) / 1000
	if err != nil {
		r.Status, r.Error = ui.StatusFailed, explain(err)
	}
	h.mu.Lock()
	h.results[t.ID] = r
	h.mu.Unlock()
	if err != nil {
		h.log.Debug("attempt failed", "clip", c.Path, "attempt", t.Attempt, "error", err)
		return queue.Result{}, errors.New(sentence(r.Error))
	}
	return queue.Result{
		Note: outcomeText(r),
		Save: func(ctx context.Context, tx queue.Tx) error { return h.save(ctx, tx, c, w.analysis, r) },
	}, nil
}

// sentence is an error with its hint in one line.
func sentence(e *ui.ErrorResult) string {
	if e.Hint == "" {
		return e.Message
	}
	return e.Message + "; " + e.Hint
}

// room refuses to begin when the disk of the results is nearly full.
func (h *hand) room(out string) error {
	free, err := freeBytes(out)
	if err != nil || free >= int64(h.base.Queue.MinFreeMb)<<20 {
		return nil //nolint:nilerr // a disk that tells nothing is tried
	}
	return &queue.Later{
		After: time.Minute,
		Why:   fmt.Sprintf("the disk of %s has %d MB left, %d are wanted: free some space", out, free>>20, h.base.Queue.MinFreeMb),
	}
}

// attempt is what one attempt at a clip gave.
type attempt struct {
	worker
	want     string // checksum of the clip that was ordered
	analysis swing.Analysis
	result   ui.Result
}

// Analyse analyses the clip and makes sure that it is the one that was ordered.
func (w *attempt) Analyse(ctx context.Context, path string, p swing.Progress, log *slog.Logger) (swing.Analysis, error) {
	a, err := w.worker.Analyse(ctx, path, p, log)
	if err == nil && a.Clip.SHA256 != w.want {
		err = &swing.Error{
			Op: "work", Clip: path, Frame: -1, Kind: swing.KindUnreadable,
			Msg: "the file is not the one that was put into the queue: it has been changed since", Hint: "nothing has to be done when it is watched: it is taken again",
		}
	}
	w.analysis = a
	return a, err
}

// clip runs the analysis of one clip as a batch of its own.
func (h *hand) clip(ctx context.Context, t queue.Task) (*attempt, error) {
	c := t.Clip
	w := &attempt{want: c.SHA256, result: ui.Result{Clip: c.Path, Status: ui.StatusDone}}
	s, err := h.base.Take(c.Settings)
	if err != nil {
		return w, err
	}
	s.Out, s.Store = c.Out, config.NoStore // the result is stored with the end of the job
	if !exists(c.Path) {
		return w, &swing.Error{
			Op: "work", Clip: c.Path, Frame: -1, Kind: swing.KindMissing, Msg: "the clip is not there any more",
			Hint: "put it back, or cancel the job",
		}
	}
	if err := openOut(s.Out); err != nil {
		return w, err
	}
	slot := <-h.slots
	defer func() { h.slots <- slot }()
	if slot.key != c.Key || slot.worker == nil {
		if slot.worker != nil {
			_ = slot.worker.Close()
		}
		slot.worker = nil
		nobody := s
		nobody.Hitter = "" // the networks serve clips of all hitters; try says whose this one is
		if slot.worker, err = h.app.newWorker(nobody, h.threads, h.artifacts); err != nil {
			return w, err
		}
		slot.key = c.Key
	}
	w.worker = slot.worker
	file := &clipFile{path: c.Path, size: -1, sum: c.SHA256}
	b := &batch{
		app: h.app, settings: s, log: h.log, folders: map[*clipFile]string{file: c.Folder},
		results: map[*clipFile]ui.Result{}, temps: map[string]bool{}, keeper: &keeper{settings: s},
		held: true, tempName: jobTemp(t.ID),
	}
	if c.Keep != "" {
		b.keepOld = func(dir string) error { return keepVersion(dir, c.Keep) }
	}
	b.sweep()
	err = b.try(ctx, w, file, &w.result, &teller{tell: t.Tell, shares: stageShares()}, h.log.With("clip", c.Path))
	if err == nil {
		h.mu.Lock()
		h.stale[c.Out] = true
		h.mu.Unlock()
	}
	return w, err
}

// jobTemp begins the names of unfinished folders of a job: the next attempt
// removes what a killed one left.
func jobTemp(id int64) string { return fmt.Sprintf("%sjob%d-", tempPrefix, id) }

// save stores a result in the transaction that ends its job. Clips without a
// hitter are not stored, as with analyze.
func (h *hand) save(ctx context.Context, tx queue.Tx, c queue.Clip, a swing.Analysis, r ui.Result) error {
	if h.records == nil || c.Hitter == "" {
		return nil
	}
	s, err := h.base.Take(c.Settings)
	if err != nil {
		return err
	}
	k, err := newKeeper(s, "", func(string) bool { return false })
	if err != nil {
		return err
	}
	e, err := newEntry(a, r.Folder)
	if err != nil {
		return err
	}
	e.Hitter = k.told
	e.Hitter.Name = c.Hitter
	if tx.File != nil {
		_, err = h.records.Save(ctx, store.SQL(tx.File), e)
	} else {
		_, err = h.records.Save(ctx, store.Pgx(tx.Server), e)
	}
	return err
}

// writeOverview writes what covers all results below a folder.
func writeOverview(out string) error { return writeMeasures(out) }

// overviews writes the files that cover all results of a folder, for the
// folders with new ones.
func (h *hand) overviews() {
	h.mu.Lock()
	stale := h.stale
	h.stale = map[string]bool{}
	h.mu.Unlock()
	for out := range stale {
		if err := writeOverview(out); err != nil {
			h.log.Warn("the overview of the results could not be written", "folder", out, "error", explain(err).Message)
		}
	}
}

// overviewDue marks the folders whose overview is older than their results: a
// killed worker leaves them so.
func (h *hand) overviewDue(outs []string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, out := range outs {
		made, err := os.Stat(filepath.Join(out, measuresFile))
		results, gerr := filepath.Glob(filepath.Join(escapeGlob(out), "*", analysisFile))
		for _, p := range results {
			if st, serr := os.Stat(p); gerr == nil && serr == nil && (err != nil || st.ModTime().After(made.ModTime())) {
				h.stale[out] = true
			}
		}
	}
}

// take returns the result of the last attempt at a job and forgets it.
func (h *hand) take(id int64) (ui.Result, bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	r, ok := h.results[id]
	delete(h.results, id)
	return r, ok
}

// close gives the networks back.
func (h *hand) close() {
	for range cap(h.slots) {
		select {
		case s := <-h.slots:
			if s.worker != nil {
				_ = s.worker.Close()
			}
		default: // still in use: the process ends anyway
		}
	}
}

// teller is the progress of one job.
type teller struct {
	tell   func(queue.Progress)
	shares []ui.Share

	mu    sync.Mutex
	stage string
	at    int
	of    int
	best  float64
}

// Stage begins a stage; the same one again adds to its units.
func (t *teller) Stage(name string, total int) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if name == t.stage {
		t.of += total
	} else {
		t.stage, t.at, t.of = name, 0, total
	}
	t.show()
}

// Add reports n more units done.
func (t *teller) Add(n int) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.at += n
	t.show()
}

func (t *teller) show() {
	before := 0.0
	for _, s := range t.shares {
		if s.Stage == t.stage {
			if t.of > 0 {
				before += s.Part * min(1, float64(t.at)/float64(t.of))
			}
			t.best = max(t.best, before)
			break
		}
		before += s.Part
	}
	t.tell(queue.Progress{Stage: t.stage, At: t.at, Of: t.of, Part: float64(int(t.best*1000)) / 1000})
}
