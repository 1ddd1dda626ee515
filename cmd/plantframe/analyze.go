package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"

	"github.com/spf13/cobra"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/ui"
)

const analyzeHelp = `Analyse clips: files, or folders with everything below them.

For each clip a folder OUT/<name> is written:
  analysis.json   events and measures, each with its uncertainty, and the track
  overlay.mp4     the clip with the skeleton and the lines of the launch position
  stills/         pictures of stance, load, touch, plant and contact, and the
                  body from above at stance, plant and contact
  report.html     the page to hand out, for a phone and a desk; report.pdf on one
                  sheet (--paper a4 or letter)
with --reference also
  side-by-side.mp4    the swing and the reference on one clock
  stills/compare.png  the instants of both
  comparison.json     in what they differ, with uncertainties
and OUT/index.html lists all clips below OUT, OUT/measures.csv all of their
measures. Files are written under a temporary name and renamed; a stopped run
leaves no half file.

With --hitter NAME, or for clips in folders named HITTER/DATE (2026-03-04 or
20260304), results go into the store too: see plantframe progress and roster.
The day is the one of --shot, else of the folder, of a date in the file's name,
of the clip's own clock, or of the file. Nothing else is stored.

Two clips of one swing, one from the open side and one from behind, are put
together: turns of shoulders and hips, bends of elbows and knees and the barrel's
distance are then measured in space by both. In a run such clips are found by
their motion, within a folder and hitter; --pairs FILE names them instead:
  pairs:
    - [side.mov, behind.mov]
Clips of different swings are not put together, and it is said why.

A clip that cannot be read is named and the others go on. The same clip twice
is analysed once. Results of the stages are kept in the cache, so that a second
run is quick.

With --json standard output gets one line of JSON per clip, as it ends:
  schema    "plantframe/result/1"
  clip      path as given
  status    "done", "failed", "same" (content of the clip same_as) or "stopped"
  folder, files, seconds
  swings    [{index, bats, view, plant {time_s, frame, sigma_s, method} or null,
            measures [{id, event, value, unit, sigma, status, reason, frames}],
            findings (to work on first, then good) [{id, measure, event, status,
            severity, priority, text, why, cue, drills, lo, hi, good, title}],
            judged (how many checkpoints), warnings (how many)}]
  warnings  [{code, text, frames}]
  error     {kind, message, hint} when failed
and one line per two clips that were put together, or should have been:
  schema    "plantframe/pair/1"
  clips, swings   paths as given and numbers of the swings
  status    "fused", or "refused" with a reason
  offset_s, sigma_s   the second clip's clock less the first's
  measures  by both views, as above

Every setting can also be given as a variable, such as PLANTFRAME_QUALITY=fast,
or in a settings file (--config, else plantframe/config.yaml in your
configuration folder); configs/default.yaml lists all of them.

Exit codes: 0 all clips done, 1 none done, 2 wrong usage, 3 some clips failed,
130 stopped.`

func (a *app) analyze() *cobra.Command {
	var file, fallback, shot string
	var references []string
	d := config.Default()
	cmd := &cobra.Command{
		Use:   "analyze PATH...",
		Short: "Analyse clips and write results, pictures and video",
		Long:  analyzeHelp,
		Example: `  plantframe analyze swing.mov
  plantframe analyze clips/ --out results --height 1.78
  plantframe analyze clips/ --reference model.mov
  plantframe analyze clips/ --quality fast --json`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 && fallback == "" {
				return errors.New("no clip was named\nplantframe analyze CLIP-OR-FOLDER")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				args = []string{fallback}
			}
			s, err := settings(cmd, file)
			if err != nil {
				return err
			}
			k, err := newKeeper(s, shot, cmd.Flags().Changed)
			if err != nil {
				return err
			}
			defer k.close()
			return a.analyzeClips(cmd.Context(), s, args, references, k)
		},
	}
	f := cmd.Flags()
	f.StringVar(&file, "config", "", "settings file (YAML)")
	f.StringVar(&fallback, "if-no-path", "", "what to analyse when no path is given")
	_ = f.MarkHidden("if-no-path")
	f.StringP("out", "o", d.Out, "folder for results")
	f.String("hitter", d.Hitter, "whose clips these are; results go into the store under this name")
	f.StringVar(&shot, "shot", "", "day on which the clips were filmed, such as 2026-03-04, when they do not tell")
	f.StringArrayVar(&references, "reference", nil, "clip or stored analysis of a good swing to compare with; repeatable")
	f.String("pairs", d.Pairs, "clips of one swing from two sides: auto, none, or a file that names them")
	resultFlags(cmd, d)
	f.Lookup("json").Usage = "one line of JSON per clip instead of the table"
	_ = cmd.MarkFlagFilename("config", "yaml", "yml")
	_ = cmd.MarkFlagDirname("out")
	return cmd
}

// analyzeClips runs the whole command and sets the exit code.
func (a *app) analyzeClips(ctx context.Context, s config.Settings, paths, references []string, k *keeper) error {
	onTerminal, width := a.terminal(a.stderr)
	screen := ui.NewScreen(a.stderr, ui.ScreenOptions{Terminal: onTerminal, Width: width, Shares: stageShares()})
	log := newLog(screen, s.LogLevel, onTerminal)

	clips := findClips(ctx, paths)
	if ctx.Err() != nil {
		return errStopped
	}
	todo := fresh(clips)
	pairs, err := newTwins(s.Pairs, todo)
	if err != nil {
		return err
	}
	folders := map[*clipFile]string{}
	if len(todo) > 0 {
		if err := openOut(s.Out); err != nil {
			return err
		}
		folders = chooseFolders(ctx, s.Out, todo, func(clip, folder string) { log.Warn(folderNote(clip, folder)) })
	}
	emit := func(ui.Result) {}
	if s.JSON {
		emit = func(r ui.Result) {
			if err := ui.WriteResult(a.stdout, r); err != nil {
				log.Error("a result line cannot be written", "error", err)
			}
		}
	}
	var done map[*clipFile]ui.Result
	if len(todo) > 0 {
		b := &batch{app: a, settings: s, screen: screen, log: log, folders: folders, emit: emit, referencePaths: references, keeper: k, twins: pairs}
		var err error
		if done, err = b.run(ctx, todo); err != nil {
			return err
		}
	}
	results := make([]ui.Result, 0, len(clips))
	for _, c := range clips {
		r, ok := done[c]
		if !ok {
			r = c.outcome()
			emit(r)
		}
		results = append(results, r)
	}
	var tableErr error
	if count(results, ui.StatusDone) > 0 {
		tableErr = writeMeasures(s.Out)
	}
	if !s.JSON {
		tty, w := a.terminal(a.stdout)
		if !tty {
			w = 0
		}
		fmt.Fprint(a.stdout, report(results, s.Out, w), pairs.said())
	}
	a.code = exitCode(results, ctx.Err() != nil)
	if tableErr != nil {
		a.complain(explain(tableErr))
		if a.code == exitDone {
			a.code = exitIncomplete
		}
	}
	return nil
}

// exitCode follows from what became of the clips.
func exitCode(results []ui.Result, stopped bool) int {
	failed := count(results, ui.StatusFailed)
	switch {
	case stopped:
		return exitStopped
	case failed == 0:
		return exitDone
	case count(results, ui.StatusDone) == 0:
		return exitFailed
	}
	return exitIncomplete
}

func count(results []ui.Result, status string) int {
	n := 0
	for _, r := range results {
		if r.Status == status {
			n++
		}
	}
	return n
}

// newLog returns the log of a run. On a terminal the time is left out: people
// know it.
func newLog(w *ui.Screen, level string, onTerminal bool) *slog.Logger {
	var l slog.Level
	_ = l.UnmarshalText([]byte(level)) // checked by the settings
	o := &slog.HandlerOptions{Level: l}
	if onTerminal {
		o.ReplaceAttr = func(groups []string, a slog.Attr) slog.Attr {
			if len(groups) == 0 && a.Key == slog.TimeKey {
				return slog.Attr{}
			}
			return a
		}
	}
	return slog.New(slog.NewTextHandler(w, o))
}
