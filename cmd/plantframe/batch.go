package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/ui"
	page "plantframe/pipeline/output/report"
	"plantframe/pipeline/swing"
)

// patience is how long a stopped run waits for its clips to end in good order
// before the process ends with them still at work.
const patience = 600 * time.Millisecond

// batch is one run over several clips.
type batch struct {
	app      *app
	settings config.Settings
	screen   *ui.Screen
	log      *slog.Logger
	folders  map[*clipFile]string
	emit     func(ui.Result) // called for each clip as it ends, one at a time
	queue    chan *clipFile
	held     bool   // networks stay open after a clip: there may be more
	tempName string // begins the names of unfinished folders; "" = tempPrefix
	// keepOld puts the results of a folder aside before new ones take their place;
	// nil keeps nothing.
	keepOld func(dir string) error

	twins          *twins     // finds clips of one swing from two sides; nil looks for none
	keeper         *keeper    // puts results into the store
	referencePaths []string   // what every clip is compared with
	references     []*subject // read only once the clips are begun

	mu      sync.Mutex
	results map[*clipFile]ui.Result
	temps   map[string]bool // unfinished folders
	closed  bool            // the run was given up: nothing more is published
}

// run analyses the clips, settings.Jobs at once, and returns their results.
// A clip that fails is a result; an error means that no clip could be tried.
func (b *batch) run(ctx context.Context, clips []*clipFile) (map[*clipFile]ui.Result, error) {
	b.results, b.temps = map[*clipFile]ui.Result{}, map[string]bool{}
	jobs, threads := b.settings.Share(len(clips))
	workers := make([]worker, 0, jobs)
	defer func() {
		if ctx.Err() != nil {
			return // a network may still be running: the process ends anyway
		}
		for _, w := range workers {
			if err := w.Close(); err != nil {
				b.log.Debug("a network did not close", "error", err)
			}
		}
	}()
	artifacts, prune := openArtifacts(b.settings, b.log)
	defer prune()
	for range jobs {
		w, err := b.app.newWorker(b.settings, threads, artifacts)
		if err != nil {
			return nil, err
		}
		workers = append(workers, w)
	}
	b.log.Debug("run", "clips", len(clips), "at_once", jobs, "threads", threads)

	b.screen.Begin(len(clips)+len(b.referencePaths), b.log)
	defer b.screen.End()
	if err := b.loadReferences(ctx, workers[0]); err != nil {
		return nil, err
	}
	b.queue = make(chan *clipFile, len(clips))
	for _, c := range clips {
		b.queue <- c
	}
	close(b.queue)
	var group sync.WaitGroup
	for _, w := range workers {
		group.Go(func() {
			for c := range b.queue {
				b.finish(c, b.one(ctx, w, c))
			}
		})
	}
	all := make(chan struct{})
	go func() {
		group.Wait()
		b.joinViews(ctx, workers[0])
		close(all)
	}()
	select {
	case <-all:
	case <-ctx.Done():
		select {
		case <-all:
		case <-time.After(patience):
		}
	}
	return b.giveUp(clips), nil
}

// finish keeps and tells the result of a clip.
func (b *batch) finish(c *clipFile, r ui.Result) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.closed {
		return
	}
	b.results[c] = r
	b.emit(r)
}

// giveUp ends the run: unfinished folders are removed, clips without a result
// count as stopped. After a run that was not stopped there is neither.
func (b *batch) giveUp(clips []*clipFile) map[*clipFile]ui.Result {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.closed = true
	for dir := range b.temps {
		_ = os.RemoveAll(dir)
	}
	for _, c := range clips {
		if _, ok := b.results[c]; !ok {
			b.results[c] = ui.Result{Clip: c.path, Status: ui.StatusStopped}
			b.emit(b.results[c])
		}
	}
	return b.results
}

// one analyses, draws and stores one clip.
func (b *batch) one(ctx context.Context, w worker, c *clipFile) ui.Result {
	start := time.Now()
	r := ui.Result{Clip: c.path, Status: ui.StatusDone}
	log := b.log.With("clip", c.path)
	progress := b.screen.Clip(filepath.Base(c.path))
	defer progress.Done()

	err := ctx.Err()
	if err == nil {
		err = b.try(ctx, w, c, &r, progress, log)
	}
	r.Seconds = float64(time.Since(start).Milliseconds()) / 1000
	switch {
	case err == nil:
	case ctx.Err() != nil:
		r = ui.Result{Clip: c.path, Status: ui.StatusStopped, Seconds: r.Seconds}
	default:
		r.Status, r.Error = ui.StatusFailed, explain(err)
		log.Debug("clip failed", "error", err)
	}
	return r
}

func (b *batch) try(ctx context.Context, w worker, c *clipFile, r *ui.Result, p swing.Progress, log *slog.Logger) (err error) {
	// A fault of the program in one clip must not take the others with it.
	defer func() {
		if v := recover(); v != nil {
			err = &swing.Error{
				Op: "analyze", Clip: c.path, Frame: -1, Kind: swing.KindInternal,
				Msg:  fmt.Sprintf("the program failed on this clip (%v)", v),
				Hint: "this is a fault of the program: please report it, with the clip if you may",
			}
		}
	}()
	a, err := w.Analyse(ctx, c.path, p, log)
	if err != nil {
		return err
	}
	hitter := b.keeper.hitter(c.path)
	if hitter != "" && a.Options != nil {
		a.Options["hitter"] = hitter // of the folders, when no setting says one
	}
	b.twins.keep(c, a, hitter)
	return b.deliver(ctx, w, c, a, hitter, r, p, log)
}

// deliver draws an analysis, writes its files and fills the result.
func (b *batch) deliver(ctx context.Context, w worker, c *clipFile, a swing.Analysis, hitter string, r *ui.Result, p swing.Progress, log *slog.Logger) error {
	tmp, err := b.temp()
	if err != nil {
		return err
	}
	defer b.drop(tmp)
	if err := writeAnalysis(tmp, a); err != nil {
		return err
	}
	keys, err := w.Keys(a.Clip)
	if err == nil {
		err = writeStages(tmp, withDraw(keys, b.settings))
	}
	if err != nil {
		return err
	}
	if len(b.queue) == 0 && !b.held {
		// No clip waits for the networks: a quarter of a gigabyte that the
		// drawing can do without. A second Close does nothing.
		if err := w.Close(); err != nil {
			log.Debug("a network did not close", "error", err)
		}
	}
	var drawErr error
	if !b.settings.NoOverlay {
		// Numbers without pictures are worth keeping: a failed drawing is
		// said, and the rest is stored.
		if drawErr = b.draw(ctx, w, c, a, tmp, p); exists(filepath.Join(tmp, stillsFolder)) {
			drawErr = errors.Join(drawErr, b.drawPlans(tmp, &a))
		}
	}
	var beside []swing.Warning
	h := handout{hitter: hitter, drills: b.pageDrills(), paper: page.Paper(b.settings.Paper)}
	if len(b.references) > 0 {
		var err error
		h.rows, h.names, beside, err = b.besides(ctx, w, a, tmp, filepath.Join(b.settings.Out, b.folders[c]), p)
		drawErr = errors.Join(drawErr, err)
	}
	if err := writePages(tmp, a, h); err != nil {
		drawErr = errors.Join(drawErr, err)
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	dir := filepath.Join(b.settings.Out, b.folders[c])
	b.mu.Lock()
	if b.closed {
		b.mu.Unlock()
		return errStopped
	}
	if b.keepOld != nil {
		err = b.keepOld(dir)
	}
	var files []string
	if err == nil {
		files, err = publish(tmp, dir)
	}
	b.mu.Unlock()
	if err != nil {
		return errors.Join(err, drawErr)
	}
	r.Folder, r.Files = dir, files
	if len(b.references) > 0 {
		removeComparison(dir, files)
	}
	r.Summarise(a)
	r.Warnings = append(r.Warnings, beside...)
	r.Warnings = append(r.Warnings, b.keeper.keep(ctx, a, dir)...)
	return drawErr
}

// temp makes a folder for unfinished files beside the result folders.
func (b *batch) temp() (string, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.closed {
		return "", errStopped
	}
	tmp, err := os.MkdirTemp(b.settings.Out, cmp.Or(b.tempName, tempPrefix))
	if err != nil {
		return "", writing(b.settings.Out, err)
	}
	b.temps[tmp] = true
	return tmp, nil
}

// drop removes a folder that temp made.
func (b *batch) drop(tmp string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	_ = os.RemoveAll(tmp)
	delete(b.temps, tmp)
}

// sweep removes unfinished folders of tempName: whoever made them is dead.
func (b *batch) sweep() {
	entries, err := os.ReadDir(b.settings.Out)
	if err != nil {
		return // making a new one will say why
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), b.tempName) {
			_ = os.RemoveAll(filepath.Join(b.settings.Out, e.Name()))
		}
	}
}
