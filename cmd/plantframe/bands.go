package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/targets"
	"plantframe/cmd/internal/ui"
	"plantframe/pipeline/output"
	"plantframe/pipeline/swing"
)

const learnHelp = `Learn target bands from good swings of your own, so that hitters are judged by
your model and not by ours.

FOLDER holds analysis.json files of good swings (results of analyze), or clips,
which are then analysed without pictures. At least 5 swings are wanted; swings
of both views may be mixed, each measure is learned from the views that carry it.

Each band becomes the median of its measure ± 2 robust standard deviations (from
the median absolute deviation, so that one bad swing moves nothing), never less
than what the measurement can tell. Swings that lie far off are shown. Bands
with fewer than 5 values stay as they are in the targets that the file is based
on (--targets, or --level and --sport).

Use the file with: plantframe analyze CLIP --targets FILE

Exit codes: 0 done, 1 failed, 2 wrong usage, 3 done, but some clips or files
could not be read (each is named).`

func (a *app) bands() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "bands",
		Short: "Learn target bands from good swings",
		Args:  cobra.NoArgs,
		RunE:  func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(a.bandsLearn())
	return cmd
}

func (a *app) bandsLearn() *cobra.Command {
	var file, to string
	d := config.Default()
	cmd := &cobra.Command{
		Use:     "learn FOLDER",
		Short:   "Learn target bands from a folder of good swings",
		Long:    learnHelp,
		Example: "  plantframe bands learn good-swings/ --out academy.yaml",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := settings(cmd, file)
			if err != nil {
				return err
			}
			if cmd.Flags().Changed("out") {
				to = s.Out
			}
			return a.learn(cmd.Context(), s, args[0], to)
		},
	}
	to = "learned-bands.yaml"
	f := cmd.Flags()
	f.StringVar(&file, "config", "", "settings file (YAML)")
	f.StringP("out", "o", to, "targets file to write")
	f.String("targets", d.Targets, "targets that the file is based on")
	f.String("level", d.Level, "youth, high-school or adult")
	f.String("sport", d.Sport, "baseball or softball")
	f.String("bats", d.Bats, "side the hitters bat from, for clips: auto, R or L")
	f.String("view", d.View, "where the camera stands, for clips: auto, open-side or rear")
	f.String("quality", d.Quality, "for clips: full, or fast")
	_ = cmd.MarkFlagFilename("config", "yaml", "yml")
	_ = cmd.MarkFlagFilename("out", "yaml", "yml")
	return cmd
}

// learn reads the swings of a folder and writes the targets file.
func (a *app) learn(ctx context.Context, s config.Settings, folder, to string) error {
	base := s.Targets
	if base == "" {
		base = s.Level + "-" + s.Sport
	}
	if base == "none" {
		return &swing.Error{Op: "bands", Frame: -1, Kind: swing.KindUsage, Msg: "bands cannot be based on none", Hint: "name targets, or leave --targets out"}
	}
	if strings.ContainsAny(base, "./\\") { // in the file, seen from where it lies
		abs, err := filepath.Abs(base)
		if err != nil {
			return writing(base, err)
		}
		base = abs
		if out, err := filepath.Abs(to); err == nil && out == abs {
			return &swing.Error{Op: "bands", Frame: -1, Kind: swing.KindUsage, Msg: to + " cannot be based on itself", Hint: "choose another file with --out"}
		}
	}
	good, bad, err := a.goodSwings(ctx, s, folder)
	if err != nil {
		return err
	}
	for _, err := range bad {
		e := explain(err)
		if s, ok := swing.AsError(err); ok && s.Clip != "" {
			e.Message = s.Clip + ": " + e.Message
		}
		a.complain(e)
	}
	l, err := targets.Learn(good, base, strings.TrimSuffix(filepath.Base(to), filepath.Ext(to)), s.Stages().Judge)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
		return writing(to, err)
	}
	if err := writeWhole(to, func(f *os.File) error { _, err := f.Write(l.YAML); return err }); err != nil {
		return err
	}
	a.showLearned(l, len(good), to)
	if len(bad) > 0 {
		a.code = exitIncomplete
	}
	return nil
}

// showLearned prints the bands and what was odd.
func (a *app) showLearned(l targets.Learned, n int, to string) {
	var rows [][]string
	edge := func(v *float64) string {
		if v == nil {
			return "open"
		}
		return fmt.Sprintf("%g", *v)
	}
	for _, b := range l.Bands {
		rows = append(rows, []string{b.ID, string(b.Event), fmt.Sprint(b.N), fmt.Sprintf("%.3g ± %.2g", b.Median, b.Spread), edge(b.Lo), edge(b.Hi), b.Unit})
	}
	fmt.Fprint(a.stdout, ui.Table([]string{"<checkpoint", "<event", "swings", "median", "lo", "hi", "<unit"}, rows))
	var b strings.Builder
	for _, k := range l.Kept {
		wrap(&b, "", "Not learned: "+ui.Plain(k)+".")
	}
	for _, o := range l.Outliers {
		wrap(&b, "", "Outlier: "+ui.Plain(o)+".")
	}
	wrap(&b, "", fmt.Sprintf("Bands of %d swings: %s. Use them with --targets %s", n, to, to))
	fmt.Fprint(a.stdout, "\n"+b.String())
}

// goodSwings returns the swings of the analyses below a folder, or of the clips
// there when it holds none, and what could not be read.
func (a *app) goodSwings(ctx context.Context, s config.Settings, folder string) (good []targets.Good, bad []error, err error) {
	var files []string
	walk := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && d.Name() == analysisFile {
			files = append(files, path)
		}
		return err
	})
	switch {
	case errors.Is(walk, fs.ErrNotExist):
		return nil, nil, &swing.Error{Op: "bands", Clip: folder, Frame: -1, Kind: swing.KindMissing, Msg: "there is no such folder", Hint: "check the path"}
	case walk != nil:
		return nil, nil, &swing.Error{Op: "bands", Clip: folder, Frame: -1, Kind: swing.KindUnreadable, Msg: "the folder cannot be read", Err: walk}
	}
	take := func(name string, an swing.Analysis) {
		for _, sw := range an.Swings {
			who := name
			if len(an.Swings) > 1 {
				who = fmt.Sprintf("%s, swing %d", name, sw.Index)
			}
			good = append(good, targets.Good{Name: who, Swing: sw})
		}
	}
	if len(files) == 0 {
		bad, err = a.goodClips(ctx, s, folder, take)
		return good, bad, err
	}
	for _, path := range files {
		an, err := readAnalysisFile(path)
		if err != nil {
			bad = append(bad, err)
			continue
		}
		take(filepath.Base(filepath.Dir(path)), an)
	}
	return good, bad, nil
}

// readAnalysisFile reads one analysis.json.
func readAnalysisFile(path string) (swing.Analysis, error) {
	f, err := os.Open(path)
	if err != nil {
		return swing.Analysis{}, &swing.Error{Op: "bands", Clip: path, Frame: -1, Kind: swing.KindUnreadable, Msg: "the file cannot be read", Err: err}
	}
	defer f.Close()
	an, err := output.ReadJSON(f)
	if e, ok := swing.AsError(err); ok {
		e.Clip = path
	}
	return an, err
}

// goodClips analyses the clips of a folder, one after the other.
func (a *app) goodClips(ctx context.Context, s config.Settings, folder string, take func(string, swing.Analysis)) (bad []error, err error) {
	onTerminal, width := a.terminal(a.stderr)
	screen := ui.NewScreen(a.stderr, ui.ScreenOptions{Terminal: onTerminal, Width: width, Shares: stageShares()})
	log := newLog(screen, s.LogLevel, onTerminal)
	clips := fresh(findClips(ctx, []string{folder}))
	if ctx.Err() != nil {
		return nil, errStopped
	}
	artifacts, prune := openArtifacts(s, log)
	defer prune()
	_, threads := s.Share(1)
	w, err := a.newWorker(s, threads, artifacts)
	if err != nil {
		return nil, err
	}
	defer w.Close()
	screen.Begin(len(clips), log)
	defer screen.End()
	for _, c := range clips {
		p := screen.Clip(filepath.Base(c.path))
		an, err := w.Analyse(ctx, c.path, p, log)
		p.Done()
		switch {
		case ctx.Err() != nil:
			return nil, errStopped
		case err != nil:
			bad = append(bad, err)
		default:
			take(filepath.Base(c.path), an)
		}
	}
	return bad, nil
}
