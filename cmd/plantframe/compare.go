package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/ui"
	"plantframe/pipeline/compare"
	"plantframe/pipeline/swing"
)

const compareHelp = `Compare swing A with swing B: a hitter with a reference, or after with before.

A and B are clips, or stored analyses (analysis.json or its folder). With
several B the pictures of all stand in one grid; the video shows the first.

The swings are put on one clock that counts from the plant, scaled to the same
body height, and B is mirrored when the hitters bat from different sides. In the
folder OUT/<name of A>, or in that of the stored analysis A, are written:
  side-by-side.mp4    both at true speed, then slowed, holding at load, plant
                      and contact with the lines drawn on both
  stills/compare.png  stance, load, touch, plant and contact of all
  comparison.json     every difference (A less B) with its uncertainty, and
                      whether it is beyond it
A difference is called one when it is more than twice its uncertainty. Swings
that are seen from different sides are refused; --any-view compares their times
and shows them all the same. A stored analysis needs its clip for pictures: it
is looked for beside the analysis and in the two folders above.

With --json standard output gets one line of JSON:
  schema       "plantframe/compared/1"
  clip         path of A as given
  status       "done", "failed" or "stopped"
  folder, files, seconds
  comparisons  [{reference, swing, reference_swing, aligned_at, same_view,
               events, measures}], the last two as in comparison.json
  warnings     [{code, text, frames}]
  left_out     [{reference, error}], B that could not be compared
  error        {kind, message, hint} when failed

Exit codes: 0 done, 1 failed, 2 wrong usage, 3 some B left out, 130 stopped.`

// comparing is one run of the command.
type comparing struct {
	align   string
	anyView bool
	swing   int // of A; 0 = the first with a plant
	with    int // of B
}

func (a *app) compare() *cobra.Command {
	var file string
	var c comparing
	d := config.Default()
	cmd := &cobra.Command{
		Use:   "compare A B...",
		Short: "Put two swings side by side and say in what they differ",
		Long:  compareHelp,
		Example: `  plantframe compare today.mov model.mov
  plantframe compare plantframe-out/today model.mov --json
  plantframe compare today.mov model-1.mov model-2.mov --out results`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) < 2 {
				return errors.New("two swings are needed\nplantframe compare CLIP REFERENCE")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := settings(cmd, file)
			if err != nil {
				return err
			}
			return a.compareSwings(cmd.Context(), s, c, args, cmd.Flags().Changed("out"))
		},
	}
	f := cmd.Flags()
	f.StringVar(&file, "config", "", "settings file (YAML)")
	f.StringP("out", "o", d.Out, "folder for results")
	f.StringVar(&c.align, "align", string(swing.Plant), "instant at which the swings are aligned: plant, touch or contact")
	f.BoolVar(&c.anyView, "any-view", false, "take swings that are seen from different sides too: times and pictures only")
	f.IntVar(&c.swing, "swing", 0, "swing of A by its number (0 = the first whose plant was found)")
	f.IntVar(&c.with, "reference-swing", 0, "swing of B by its number")
	f.String("quality", d.Quality, "full, or fast: a network five times cheaper and less exact")
	f.String("model", d.Model, "pose network by name (plantframe models list) or a manifest file of your own")
	f.Int("threads", d.Threads, "threads (0 = all cores)")
	f.Bool("no-overlay", d.NoOverlay, "leave out the video and the stills")
	f.Bool("no-cache", d.NoCache, "compute everything again and keep no results of stages")
	f.Bool("json", d.JSON, "one line of JSON instead of the table")
	f.String("log-level", d.LogLevel, "debug, info, warn or error")
	_ = cmd.RegisterFlagCompletionFunc("align", cobra.FixedCompletions([]string{"plant", "touch", "contact"}, cobra.ShellCompDirectiveNoFileComp))
	_ = cmd.MarkFlagFilename("config", "yaml", "yml")
	_ = cmd.MarkFlagDirname("out")
	return cmd
}

// compareSwings runs the whole command and sets the exit code.
func (a *app) compareSwings(ctx context.Context, s config.Settings, c comparing, paths []string, outGiven bool) error {
	o := compare.DefaultOptions()
	o.Align = swing.EventName(c.align)
	if err := o.Validate(); err != nil {
		return err
	}
	if c.swing < 0 || c.with < 0 {
		return &swing.Error{Op: "compare", Frame: -1, Kind: swing.KindUsage, Msg: "a swing has a negative number", Hint: "swings are numbered from 1"}
	}
	start := time.Now()
	r, err := a.comparison(ctx, s, c, o, paths, outGiven)
	r.Clip, r.Seconds = paths[0], float64(time.Since(start).Milliseconds())/1000
	switch {
	case ctx.Err() != nil:
		r = compareResult{Clip: paths[0], Status: ui.StatusStopped, Seconds: r.Seconds}
	case err != nil:
		r.Status, r.Error = ui.StatusFailed, explain(err)
	default:
		r.Status = ui.StatusDone
	}
	if s.JSON {
		if werr := r.write(a.stdout); werr != nil {
			return werr
		}
	}
	switch {
	case r.Status == ui.StatusStopped:
		return errStopped
	case err != nil && s.JSON:
		a.code = exitFailed
		if r.Error.Kind == swing.KindUsage {
			a.code = exitUsage
		}
	case err != nil:
		return err
	case len(r.LeftOut) > 0:
		a.code = exitIncomplete
	}
	if !s.JSON && err == nil {
		fmt.Fprint(a.stdout, r.report())
	}
	return nil
}

// comparison loads, compares, draws and stores.
func (a *app) comparison(ctx context.Context, s config.Settings, c comparing, o compare.Options, paths []string, outGiven bool) (r compareResult, err error) {
	// Nobody is helped by a stack trace.
	defer func() {
		if v := recover(); v != nil {
			err = &swing.Error{
				Op: "compare", Clip: paths[0], Frame: -1, Kind: swing.KindInternal,
				Msg:  fmt.Sprintf("the program failed on these clips (%v)", v),
				Hint: "this is a fault of the program: please report it, with the clips if you may",
			}
		}
	}()
	onTerminal, width := a.terminal(a.stderr)
	screen := ui.NewScreen(a.stderr, ui.ScreenOptions{Terminal: onTerminal, Width: width, Shares: compareShares()})
	log := newLog(screen, s.LogLevel, onTerminal)
	artifacts, prune := openArtifacts(s, log)
	defer prune()
	_, threads := s.Share(1)
	w, err := a.newWorker(s, threads, artifacts)
	if err != nil {
		return r, err
	}
	defer func() {
		if ctx.Err() == nil { // else a network may still be running: the process ends anyway
			err = errors.Join(err, w.Close())
		}
	}()
	screen.Begin(len(paths)+1, log)
	defer screen.End()

	var all []*subject
	for i, path := range paths {
		p := screen.Clip(filepath.Base(path))
		sub, err := loadSubject(ctx, w, s, path, p, log.With("clip", path))
		p.Done()
		switch {
		case err == nil:
			all = append(all, sub)
		case i == 0 || ctx.Err() != nil:
			return r, err
		default:
			r.leave(path, err)
		}
	}
	hitter := all[0]
	one, err := hitter.swing(c.swing)
	if err != nil {
		return r, err
	}
	p, out := pair(hitter, one, all[1:], c.with, c.anyView, o)
	for _, e := range out {
		r.leave(e.Clip, e)
	}
	if len(p.list) == 0 {
		// With one B its reason is all there is to say.
		if e, ok := swing.AsError(r.first); ok && len(r.LeftOut) == 1 {
			return compareResult{}, e
		}
		return r, &swing.Error{
			Op: "compare", Frame: -1, Kind: swing.KindMissing, Err: errNothing,
			Msg: fmt.Sprintf("none of the %d references can be compared; %s: %s", len(r.LeftOut), r.LeftOut[0].Reference, r.LeftOut[0].Error.Message), Hint: r.LeftOut[0].Error.Hint,
		}
	}
	p.labels = [2]string{"A", "B"}
	r.fill(p)
	if err := w.Close(); err != nil { // a quarter of a gigabyte that drawing can do without
		log.Debug("a network did not close", "error", err)
	}
	progress := screen.Clip("side by side")
	defer progress.Done()
	r.Folder, r.Files, err = a.storePair(ctx, s, w, p, &r, outGiven, progress)
	return r, err
}

// storePair writes the files of a comparison into the folder of the hitter's clip.
func (a *app) storePair(ctx context.Context, s config.Settings, w worker, p *pairing, r *compareResult, outGiven bool, progress swing.Progress) (string, []string, error) {
	dir, out := p.hitter.stored, filepath.Dir(p.hitter.stored)
	if dir == "" || outGiven {
		out = s.Out
		if err := openOut(out); err != nil {
			return "", nil, err
		}
		one := &clipFile{path: p.hitter.analysis.Clip.Path, size: -1, sum: p.hitter.analysis.Clip.SHA256}
		dir = filepath.Join(out, chooseFolders(ctx, out, []*clipFile{one}, func(string, string) {})[one])
	}
	tmp, err := os.MkdirTemp(out, tempPrefix)
	if err != nil {
		return "", nil, writing(out, err)
	}
	defer os.RemoveAll(tmp)
	if err := writeComparison(tmp, p.list); err != nil {
		return "", nil, err
	}
	var drawErr error
	if !s.NoOverlay {
		var warn []swing.Warning
		warn, drawErr = p.draw(ctx, w, tmp, pairFiles(0), progress)
		r.Warnings = append(r.Warnings, warn...)
	}
	if ctx.Err() != nil {
		return "", nil, errStopped
	}
	files, err := publish(tmp, dir)
	if err != nil {
		return "", nil, errors.Join(err, drawErr)
	}
	removeComparison(dir, files)
	return dir, files, drawErr
}

// compareShares is what the stages of a comparison take of its time, for the bar.
func compareShares() []ui.Share {
	return append(stageShares(), ui.Share{Stage: "compare", Part: 0.3})
}

// differing lists the measures that differ in a comparison, the clearest first.
func differing(c *swing.Comparison) []swing.MeasureDifference {
	var out []swing.MeasureDifference
	for _, m := range c.Measures {
		if m.Verdict == swing.Differs && !strings.HasSuffix(m.ID, "_m") {
			out = append(out, m)
		}
	}
	slices.SortStableFunc(out, func(a, b swing.MeasureDifference) int {
		ra, rb := *a.Value / *a.Sigma, *b.Value / *b.Sigma
		switch {
		case ra*ra > rb*rb:
			return -1
		case ra*ra < rb*rb:
			return 1
		}
		return 0
	})
	return out
}
