package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/queue"
	"plantframe/cmd/internal/store"
	"plantframe/cmd/internal/ui"
	"plantframe/cmd/internal/watch"
	"plantframe/pipeline/ingest"
	"plantframe/pipeline/swing"
)

const watchHelp = `Analyse every clip that arrives in a folder, or in a folder below it.

A clip is taken when its file has been still for some seconds and no program has
it open any more. Names that programs give to unfinished files (a dot in front,
.part, .tmp and the like) are waited for. Links that lead out of the folder are
refused. The same content twice is analysed once.

In folders named HITTER/DATE, such as ann/2026-03-04, clips belong to that hitter
and day: results go into the store too (plantframe progress, roster).

Results go to DIR-results, in the same folders as the clips; to another folder
with --out; or into plantframe-out beside the clips with --beside. The files are
those of plantframe analyze.

Clips are kept in a queue in the store. A worker process analyses them; when it
dies it is started again and goes on. A clip that fails is tried again later,
three times in all, and then given up with the reason (plantframe jobs). After a
restart nothing is done twice. Other settings or networks change nothing by
themselves: see plantframe rerun.

With --json each line of output is a JSON object with schema plantframe/job/1:
event (found, began, done, failed, given-up, waits, cancelled, same, refused),
time, clip, job, attempt, attempts, text, due, and the result as analyze prints
it.

Exit codes: 0 all clips done, 1 none done, 2 wrong usage, 3 some clips failed,
130 stopped.`

func (a *app) watch() *cobra.Command {
	var file string
	var once, beside, poll bool
	d := config.Default()
	cmd := &cobra.Command{
		Use:   "watch DIR",
		Short: "Analyse every clip that arrives in a folder",
		Long:  watchHelp,
		Example: `  plantframe watch /srv/clips
  plantframe watch /srv/clips --out /srv/results --level youth
  plantframe watch camera/ --once`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := settings(cmd, file)
			if err != nil {
				return err
			}
			s.Watch.Beside = s.Watch.Beside || beside
			s.Watch.Poll = s.Watch.Poll || poll
			return a.watchFolder(cmd.Context(), s, args[0], once)
		},
	}
	f := cmd.Flags()
	f.StringVar(&file, "config", "", "settings file (YAML)")
	f.StringP("out", "o", "", "folder for results (default DIR-results)")
	f.BoolVar(&beside, "beside", false, "write results into a folder "+config.BesideFolder+" beside the clips")
	f.BoolVar(&poll, "poll", false, "only look into the folder, as on network shares")
	f.BoolVar(&once, "once", false, "analyse what is there and end")
	resultFlags(cmd, d)
	_ = cmd.MarkFlagFilename("config", "yaml", "yml")
	_ = cmd.MarkFlagDirname("out")
	cmd.ValidArgsFunction = cobra.FixedCompletions(nil, cobra.ShellCompDirectiveFilterDirs)
	return cmd
}

// inboxKeeper turns files that arrive into jobs.
type inboxKeeper struct {
	orders *orders
	queue  *queue.Queue
	probe  func(ctx context.Context, path string, o ingest.Options) (swing.Clip, error)
	root   string // absolute, without links
	out    string // tree of results; "" = beside the clips
	known  map[string]queue.Seen
	// refusals counts how often a file could not be described.
	refusals map[watch.File]int
	print    func(jobLine)
	warn     func(msg string, args ...any)
	added    func()
}

// refuseAfter is how often a file is looked at, a moment apart, before it counts as
// no video.
const refuseAfter = 3

// watchFolder runs the whole command.
func (a *app) watchFolder(ctx context.Context, s config.Settings, dir string, once bool) error {
	root, err := realFolder(dir)
	if err != nil {
		return err
	}
	log := newLog(a.stderrScreen(), s.LogLevel, false)
	o, err := a.newOrders(s)
	if err != nil {
		return err
	}
	k := &inboxKeeper{orders: o, root: root, probe: a.probe, warn: log.Warn, refusals: map[watch.File]int{}}
	if !s.Watch.Beside {
		if k.out, err = resultTree(s, root); err != nil {
			return err
		}
		if err := openOut(k.out); err != nil {
			return err
		}
	}
	locks, err := workerFolder()
	if err != nil {
		return err
	}
	unlock, err := queue.Lock(locks, workerNameOf("watcher", root))
	if errors.Is(err, queue.ErrBusy) {
		return &swing.Error{
			Op: "watch", Clip: dir, Frame: -1, Kind: swing.KindUsage, Msg: "another process watches this folder already",
			Hint: "stop it first, such as the service of that name",
		}
	}
	if err != nil {
		return err
	}
	defer unlock()
	qo, err := a.openQueue(s)
	if err != nil {
		return err
	}
	qo.Log = log
	if k.queue, err = queue.Open(ctx, qo); err != nil {
		return err
	}
	defer k.queue.Close()
	if k.known, err = k.queue.Inbox(ctx, root); err != nil {
		return err
	}

	lines := newLinePrinter(a.stdout, s.JSON, root)
	k.print = lines.print
	if once {
		s.Queue.MaxIdle = min(s.Queue.MaxIdle, time.Second)
	}
	super := &supervisor{
		app: a, settings: s, queue: k.queue, name: workerNameOf("watch", root), tell: lines.print, log: log, wake: make(chan struct{}, 1),
	}
	k.added = super.poke
	if !s.JSON {
		where := "beside the clips, in folders " + config.BesideFolder
		if k.out != "" {
			where = "in " + k.out
		}
		fmt.Fprintf(a.stderr, "watching %s, results %s; Ctrl-C ends\n", root, where)
	}
	found := make(chan struct{})
	group, gctx := errgroup.WithContext(ctx)
	group.Go(func() error {
		defer close(found)
		return watch.Run(gctx, watch.Options{
			Root: root, Extensions: ingest.Extensions(), Quiet: s.Watch.Quiet, QuietShare: s.Watch.QuietShare,
			Rescan: s.Watch.Rescan, Stall: s.Watch.Stall, Poll: s.Watch.Poll, Once: once,
			Skip: k.skip, Known: k.isKnown, Log: log,
		}, watch.Handler{Ready: k.ready, Note: k.note})
	})
	group.Go(func() error { return super.run(gctx, found) })
	err = group.Wait()
	stopped := ctx.Err() != nil
	if err != nil && !stopped {
		return err
	}
	a.code = lines.code(stopped && once)
	if stopped && !once { // a watcher is ended this way
		a.code = exitDone
	}
	return nil
}

// realFolder returns a folder's absolute path without links.
func realFolder(dir string) (string, error) {
	abs, err := filepath.Abs(dir)
	if err == nil {
		abs, err = filepath.EvalSymlinks(abs)
	}
	st, serr := os.Stat(abs)
	if err != nil || serr != nil || !st.IsDir() {
		return "", &swing.Error{
			Op: "watch", Clip: dir, Frame: -1, Kind: swing.KindUsage, Msg: "there is no such folder",
			Hint: "name a folder that clips are put into",
		}
	}
	return abs, nil
}

// resultTree returns the folder for the results of a watched folder.
func resultTree(s config.Settings, root string) (string, error) {
	out := s.Out
	if out == "" || out == config.Default().Out {
		out = root + "-results"
	}
	out, err := filepath.Abs(out)
	if err != nil {
		return "", writing(s.Out, err)
	}
	if real, err := filepath.EvalSymlinks(out); err == nil {
		out = real
	}
	if rel, err := filepath.Rel(out, root); err == nil && filepath.IsLocal(rel) {
		return "", &swing.Error{
			Op: "watch", Frame: -1, Kind: swing.KindUsage, Msg: "the results cannot go to " + out + ": the watched folder lies in it",
			Hint: "choose another folder with --out",
		}
	}
	return out, nil
}

// skip leaves out folders of results: films made from clips are no clips.
func (k *inboxKeeper) skip(dir string) bool {
	return dir == k.out || filepath.Base(dir) == config.BesideFolder || filepath.Base(dir) == rerunFolder || exists(filepath.Join(dir, analysisFile))
}

// isKnown tells whether a file was dealt with as it is now.
func (k *inboxKeeper) isKnown(f watch.File) bool {
	s, ok := k.known[f.Path]
	// What was refused is looked at again at every start: the reason may have been
	// another one than the file.
	return ok && s.Job > 0 && s.Size == f.Size && s.Time == f.Time
}

// note tells why a file is not taken.
func (k *inboxKeeper) note(f watch.File, text string) {
	k.print(jobLine{Event: eventRefused, Clip: filepath.Join(k.root, filepath.FromSlash(f.Path)), Text: text})
}

// remember keeps what became of a file, in the database and here.
func (k *inboxKeeper) remember(ctx context.Context, f watch.File, sha string, job int64, note string) error {
	s := queue.Seen{Root: k.root, Path: f.Path, Size: f.Size, Time: f.Time, SHA256: sha, Job: job, Note: note}
	if err := k.queue.Remember(ctx, s); err != nil {
		return err
	}
	k.known[f.Path] = s
	return nil
}

// ready takes a file that is whole.
func (k *inboxKeeper) ready(ctx context.Context, f watch.File) error {
	err := k.take(ctx, f)
	if err != nil && ctx.Err() == nil && !errors.Is(err, watch.ErrLater) {
		// The database is away for a moment, or the disk is full: the file
		// stays where it is and is taken later.
		k.warn("a clip cannot be put into the queue yet", "clip", f.Abs, "error", err)
		return watch.ErrLater
	}
	return err
}

func (k *inboxKeeper) take(ctx context.Context, f watch.File) error {
	line := jobLine{Clip: f.Abs}
	clip, err := k.probe(ctx, f.Abs, k.orders.settings.Ingest)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if k.refusals[f]++; err != nil && k.refusals[f] < refuseAfter {
		return watch.ErrLater // a program that was killed says no more of a clip than a broken one
	}
	delete(k.refusals, f)
	if err != nil {
		line.Event, line.Text = eventRefused, sentence(explain(err))
		if err := k.remember(ctx, f, "", 0, line.Text); err != nil {
			return err
		}
		k.print(line)
		return nil
	}
	before, err := k.queue.SameContent(ctx, clip.SHA256)
	if err != nil {
		return err
	}
	if len(before) == 0 {
		return k.enqueue(ctx, f, clip, line)
	}
	s := before[0]
	for _, b := range before {
		if filepath.Join(b.Root, filepath.FromSlash(b.Path)) == f.Abs {
			s = b
		}
	}
	j, err := k.queue.Get(ctx, s.Job)
	if err == nil && j.State == queue.Done && !exists(filepath.Join(j.Clip.Out, j.Clip.Folder, analysisFile)) {
		return k.enqueue(ctx, f, clip, line) // its results were removed: they are wanted again
	}
	path := filepath.Join(s.Root, filepath.FromSlash(s.Path))
	if err := k.remember(ctx, f, clip.SHA256, s.Job, ""); err != nil || path == f.Abs { // only its time has changed
		return err
	}
	line.Event, line.Job, line.Text = eventSame, s.Job, "the content of "+path+", which is analysed once"
	if !exists(path) {
		line.Text = "it was " + path + " before"
	}
	k.print(line)
	return nil
}

// enqueue adds the job for a clip.
func (k *inboxKeeper) enqueue(ctx context.Context, f watch.File, clip swing.Clip, line jobLine) error {
	out := filepath.Join(filepath.Dir(f.Abs), config.BesideFolder)
	if k.out != "" {
		out = filepath.Join(k.out, filepath.Dir(filepath.FromSlash(f.Path)))
	}
	name, cut := stem(f.Abs)
	names := []string{name + "-" + clip.SHA256[:8], name + "-" + clip.SHA256}
	if !cut && ours(ctx, filepath.Join(out, name), &clipFile{path: f.Abs, sum: clip.SHA256}) {
		names = append([]string{name}, names...)
	}
	folder, err := k.queue.Folder(ctx, out, clip.SHA256, names...)
	if err != nil {
		return err
	}
	hitter, day, session := store.CleanName(k.orders.settings.Hitter), time.Time{}, ""
	if hitter == "" {
		hitter, day, _ = store.FromFolders(f.Abs)
	}
	if !day.IsZero() {
		session = day.Format(time.DateOnly)
	}
	clip.Path = f.Abs
	job, added, err := k.queue.Add(ctx, k.orders.order(clip, out, folder, hitter, session, "watch"), queue.Usual)
	if err != nil {
		return err
	}
	line.Event, line.Job = eventFound, job.ID
	if !added {
		switch {
		case job.State == queue.Done && !exists(filepath.Join(job.Clip.Out, job.Clip.Folder, analysisFile)):
			if _, err := k.queue.Retry(ctx, job.ID); err != nil {
				return err
			}
			line.Text = "its results were removed and are made again"
		case job.State == queue.GivenUp:
			line.Event, line.Text = eventRefused, fmt.Sprintf("it was given up before: %s; plantframe jobs --retry %d tries again", job.Reason(), job.ID)
		case job.Clip.Path != f.Abs:
			line.Event, line.Text = eventSame, "the content of "+job.Clip.Path+", which is analysed once"
		case job.Over():
			line.Event = "" // done, and only not remembered: the process died in between
		}
	}
	if err := k.remember(ctx, f, clip.SHA256, job.ID, ""); err != nil {
		return err
	}
	if line.Event != "" {
		k.print(line)
	}
	k.added()
	return nil
}

// stderrScreen is where log lines go when there is no bar.
func (a *app) stderrScreen() *ui.Screen { return ui.NewScreen(a.stderr, ui.ScreenOptions{}) }
