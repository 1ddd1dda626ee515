package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/queue"
	"plantframe/pipeline/swing"
)

const rerunHelp = `Bring results up to date after an update of the program, of a network or of
targets, or with other settings.

Every result below RESULTS keeps the settings that it was made with; what a flag, a
variable or the settings file says now comes on top. Which results are affected
follows from the keys of their stages: only the stages that changed run again. A
band that was moved decodes no video. --dry-run only tells.

The results that are replaced stay in RESULTS/plantframe-reruns, and a summary says
what moved: per measure the median change, and the clips whose first priority is
another one now. --undo puts the old results back, byte by byte.

A rerun that was stopped goes on where it was when it is started again. Clips are
found where they were analysed by plantframe watch; else name their folders with
--clips. New clips of a watched folder go first.

Exit codes: 0 all results up to date, 1 none done, 2 wrong usage, 3 some failed, 130
stopped.`

// rerunFolder holds the reruns of a tree of results.
const rerunFolder = "plantframe-reruns"

func (a *app) rerun() *cobra.Command {
	var file string
	var clips []string
	var undo, dry bool
	d := config.Default()
	cmd := &cobra.Command{
		Use:   "rerun RESULTS",
		Short: "Bring results up to date after an update or with other settings",
		Long:  rerunHelp,
		Example: `  plantframe rerun /srv/clips-results --dry-run
  plantframe rerun results --level youth --clips clips/
  plantframe rerun results --undo`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := settings(cmd, file)
			if err != nil {
				return err
			}
			root, err := realFolder(args[0])
			if err != nil {
				return err
			}
			if undo {
				return a.undoRerun(cmd.Context(), s, root)
			}
			r := &rerun{app: a, settings: s, root: root, clips: clips, dry: dry, given: func(old config.Settings) (config.Settings, error) {
				return old, config.Load(&old, cmd.Flags(), settingsFile(file))
			}}
			return r.run(cmd.Context())
		},
	}
	f := cmd.Flags()
	f.StringVar(&file, "config", "", "settings file (YAML)")
	f.StringArrayVar(&clips, "clips", nil, "folder that the clips lie in; repeatable")
	f.BoolVar(&dry, "dry-run", false, "only tell which results are affected")
	f.BoolVar(&undo, "undo", false, "put the results back that the last rerun replaced")
	cmd.MarkFlagsMutuallyExclusive("dry-run", "undo")
	resultFlags(cmd, d)
	_ = cmd.MarkFlagFilename("config", "yaml", "yml")
	cmd.ValidArgsFunction = cobra.FixedCompletions(nil, cobra.ShellCompDirectiveFilterDirs)
	return cmd
}

// rerun is one run of the command.
type rerun struct {
	app      *app
	settings config.Settings // of this machine and of jobs
	// given adds what flags, variables and the file say to old settings.
	given func(old config.Settings) (config.Settings, error)
	root  string
	clips []string // where to look for clips
	dry   bool

	queue *queue.Queue
}

// run plans, carries out and sums up.
func (r *rerun) run(ctx context.Context) error {
	o, err := r.app.openQueue(r.settings)
	if err != nil {
		return err
	}
	o.Log = newLog(r.app.stderrScreen(), r.settings.LogLevel, false)
	if r.queue, err = queue.Open(ctx, o); err != nil {
		return err
	}
	defer r.queue.Close()
	p, err := r.plan(ctx)
	if err != nil {
		return err
	}
	r.tell(p)
	if r.dry || len(p.todo()) == 0 && p.id == "" {
		r.app.code = exitDone
		if len(p.lost) > 0 {
			r.app.code = exitIncomplete
		}
		return nil
	}
	if err := p.begin(r.root); err != nil {
		return err
	}
	unlock, err := r.lock()
	if err != nil {
		return err
	}
	defer unlock()
	began := time.Now()
	if err := r.carryOut(ctx, p); err != nil {
		return err
	}
	if ctx.Err() != nil {
		fmt.Fprintln(r.app.stderr, "stopped; the same command goes on")
		r.app.code = exitStopped
		return nil
	}
	done, failed := p.outcome()
	r.app.code = exitDone
	switch {
	case failed+len(p.lost) > 0 && done == 0:
		r.app.code = exitFailed
	case failed+len(p.lost) > 0:
		r.app.code = exitIncomplete
	}
	m, err := p.moved()
	if err == nil {
		err = p.finish(m)
	}
	if err != nil {
		return err
	}
	if !r.settings.JSON {
		fmt.Fprintf(r.app.stdout, "\n%d of %d results are new, %.0f s\n", done, done+failed, time.Since(began).Seconds())
		fmt.Fprint(r.app.stdout, m.text())
		fmt.Fprintf(r.app.stdout, "\nThe old results: %s\nplantframe rerun --undo %s puts them back.\n", p.dir, quoted(r.root))
	}
	return nil
}

// lock makes sure that one rerun works on a tree.
func (r *rerun) lock() (func(), error) {
	locks, err := workerFolder()
	if err != nil {
		return nil, err
	}
	unlock, err := queue.Lock(locks, workerNameOf("rerunner", r.root))
	if errors.Is(err, queue.ErrBusy) {
		return nil, &swing.Error{Op: "rerun", Frame: -1, Kind: swing.KindUsage, Msg: "a rerun of these results is at work already", Hint: "wait for it, or stop it"}
	}
	return unlock, err
}

// tell says what is affected.
func (r *rerun) tell(p *plan) {
	if r.settings.JSON {
		return
	}
	w := r.app.stdout
	fmt.Fprintf(w, "%d results in %s: %d affected, %d as they would be today\n", len(p.Items)+len(p.lost)+p.same, r.root, len(p.Items)+len(p.lost), p.same)
	for _, stage := range append([]string{unknown}, stagesInOrder()...) {
		n := 0
		for _, it := range p.Items {
			if it.From == stage {
				n++
			}
		}
		switch {
		case n > 0 && stage == unknown:
			fmt.Fprintf(w, "  %d: not known how they were made, every stage is looked at\n", n)
		case n > 0:
			fmt.Fprintf(w, "  %d from %s on\n", n, stage)
		}
	}
	for i, l := range p.lost {
		if i == 5 {
			fmt.Fprintf(w, "  ... and %d more\n", len(p.lost)-5)
			break
		}
		fmt.Fprintf(w, "  %s: %s\n", l.Folder, l.Failed)
	}
	if p.id != "" {
		fmt.Fprintf(w, "an earlier rerun goes on: %d of %d are done\n", len(p.Items)-len(p.todo()), len(p.Items))
	}
}

// stagesInOrder lists the stages as they run.
func stagesInOrder() []string {
	return []string{"bodies", "track", "bat", "sound", "event", "lift", "measure", "judge", "draw"}
}

// carryOut puts what is to be done into the queue and waits for it.
func (r *rerun) carryOut(ctx context.Context, p *plan) error {
	lines := newLinePrinter(r.app.stdout, r.settings.JSON, r.root)
	mine := map[int64]*item{}
	for _, it := range p.todo() {
		job, err := r.add(ctx, p, it)
		if err != nil {
			return err
		}
		mine[job.ID] = it
	}
	s := r.settings
	s.Queue.MaxIdle = min(s.Queue.MaxIdle, time.Second)
	super := &supervisor{
		app: r.app, settings: s, queue: r.queue, name: workerNameOf("rerun", r.root), log: newLog(r.app.stderrScreen(), s.LogLevel, false), wake: make(chan struct{}, 1),
		tell: func(l jobLine) {
			if l.Event != eventBegan || r.settings.JSON {
				lines.print(l)
			}
		},
	}
	if len(mine) == 0 {
		return nil
	}
	end := make(chan struct{})
	close(end)
	if err := super.run(ctx, end); err != nil && ctx.Err() == nil {
		return err
	}
	if ctx.Err() != nil {
		return nil
	}
	for id, it := range mine {
		j, err := r.queue.Get(ctx, id)
		if err != nil {
			return err
		}
		it.Done = j.State == queue.Done
		if it.Failed = ""; !it.Done {
			it.Failed = fmt.Sprintf("%s: %s", j.State, j.Reason())
		}
	}
	return p.write()
}

// add puts the order for an item into the queue. A job for the same clip and
// settings that is over, from a rerun that was undone, makes room.
func (r *rerun) add(ctx context.Context, p *plan, it *item) (queue.Job, error) {
	for {
		j, added, err := r.queue.Add(ctx, it.order, queue.Background)
		if err != nil || added || !j.Over() && j.Clip.Keep == it.order.Keep {
			return j, err
		}
		if !j.Over() {
			return j, &swing.Error{
				Op: "rerun", Clip: it.order.Path, Frame: -1, Kind: swing.KindUsage, Msg: "this clip is in the queue already",
				Hint: "wait until it is done: plantframe jobs",
			}
		}
		if err := r.queue.Delete(ctx, j.ID); err != nil && !errors.Is(err, queue.ErrNoJob) {
			return j, err
		}
	}
}

// undoRerun puts back what the last rerun replaced.
func (a *app) undoRerun(ctx context.Context, s config.Settings, root string) error {
	r := &rerun{app: a, settings: s, root: root}
	unlock, err := r.lock()
	if err != nil {
		return err
	}
	defer unlock()
	p, err := lastPlan(root, func(p *plan) bool { return p.Undone == "" })
	if err != nil {
		return err
	}
	if p == nil {
		return &swing.Error{Op: "rerun", Frame: -1, Kind: swing.KindUsage, Msg: "there is no rerun of these results to undo", Hint: "name the folder that was given to rerun"}
	}
	o, err := a.openQueue(s)
	if err != nil {
		return err
	}
	q, err := queue.Open(ctx, o)
	if err != nil {
		return err
	}
	defer q.Close()
	if err := p.stopJobs(ctx, q); err != nil {
		return err
	}
	records, err := openRecords(ctx, s)
	if err != nil {
		return err
	}
	if records != nil {
		defer records.Close()
	}
	n := 0
	outs := map[string]bool{}
	for _, it := range p.Items {
		keep := p.old(it)
		if !exists(keep) {
			continue // was not reached
		}
		dir := filepath.Join(root, it.Folder)
		if err := restoreVersion(keep, dir); err != nil {
			return err
		}
		if records != nil {
			if err := chooseAgain(ctx, records, keep); err != nil {
				return err
			}
		}
		outs[filepath.Dir(dir)] = true
		n++
	}
	for out := range outs {
		if err := writeOverview(out); err != nil {
			return err
		}
	}
	p.Undone = time.Now().UTC().Format(time.RFC3339)
	if err := p.write(); err != nil {
		return err
	}
	fmt.Fprintf(a.stdout, "%d results are again what they were before %s, byte by byte\n", n, p.Began)
	return nil
}

// settingsFile is the settings file that a command reads.
func settingsFile(named string) string {
	if named == "" {
		named = os.Getenv(config.EnvConfig)
	}
	if named == "" {
		named = config.UserFile()
	}
	return named
}

// quoted is a path as a shell takes it.
func quoted(path string) string {
	if strings.ContainsAny(path, " '\"$`\\*?;&|<>()") {
		return "'" + strings.ReplaceAll(path, "'", `'\''`) + "'"
	}
	return path
}
