package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/ui"
	"plantframe/pipeline"
	"plantframe/pipeline/ingest"
	"plantframe/pipeline/swing"
)

// Exit codes.
const (
	exitDone       = 0   // all done
	exitFailed     = 1   // nothing was done
	exitUsage      = 2   // wrong command, flag or setting
	exitIncomplete = 3   // some clips failed; each is named
	exitStopped    = 130 // stopped by Ctrl-C or a signal
)

// app is what the subcommands share. Tests replace its parts.
type app struct {
	stdout, stderr io.Writer
	// newWorker makes what analyses one clip after the other with that many
	// threads; each is used by one goroutine. Artifacts may be nil.
	newWorker func(s config.Settings, threads int, a pipeline.Artifacts) (worker, error)
	// terminal tells whether a writer is one, and how wide it is, columns.
	terminal func(io.Writer) (bool, int)

	// probe describes a clip without decoding it.
	probe func(ctx context.Context, path string, o ingest.Options) (swing.Clip, error)
	// identify finds what results depend on besides clips and settings.
	identify func(s config.Settings) (identity, error)
	// spawn starts a worker in a process of its own; see supervise.go.
	spawn func(ctx context.Context, o childOrder, name string, tell func(jobLine)) (wait func() error, err error)
	// exit ends the process at once.
	exit func(code int)
	// stdin is where a supervised worker gets its settings from.
	stdin io.Reader

	// code is what the subcommand that ran wants as exit code.
	code int
}

// run carries out one command line and returns its exit code.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	a := &app{
		stdout: stdout, stderr: stderr, stdin: os.Stdin, newWorker: openWorker, terminal: terminal,
		probe: ingest.Probe, identify: identify, exit: exitProcess,
	}
	a.spawn = a.spawnProcess
	return a.run(ctx, args)
}

func (a *app) run(ctx context.Context, args []string) int {
	started := false
	root := a.root()
	root.PersistentPreRun = func(*cobra.Command, []string) { started = true }
	root.SetArgs(args)
	root.SetOut(a.stdout)
	root.SetErr(a.stderr)
	err := root.ExecuteContext(ctx)
	switch {
	case err == nil:
		return a.code
	case ctx.Err() != nil:
		fmt.Fprintln(a.stderr, "plantframe: stopped")
		return exitStopped
	case !started: // cobra itself refused the command line
		text, hint, _ := strings.Cut(err.Error(), "\n")
		hint = strings.Join(strings.Fields(strings.TrimSpace(hint)), " ")
		if hint == "" {
			hint = "plantframe help lists the commands, plantframe help COMMAND its flags"
		}
		a.complain(&ui.ErrorResult{Message: text, Hint: hint})
		return exitUsage
	}
	e := explain(err)
	if s, ok := swing.AsError(err); ok && s.Clip != "" {
		e.Message = s.Clip + ": " + e.Message
	}
	a.complain(e)
	if e.Kind == swing.KindUsage {
		return exitUsage
	}
	return exitFailed
}

// complain prints an error as one sentence and a hint.
func (a *app) complain(e *ui.ErrorResult) {
	fmt.Fprintln(a.stderr, "plantframe: "+ui.Plain(e.Message))
	if e.Hint != "" {
		fmt.Fprintln(a.stderr, "hint: "+ui.Plain(e.Hint))
	}
}

func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "plantframe",
		Short: "Find the plant in clips of a hitter's swing and measure the body there",
		Long: `plantframe finds the instant the front foot is down in clips of a hitter's
swing, measures the launch position there and says how sure it is of every
number. Everything is computed on this machine; no clip leaves it.

Start with: plantframe doctor, then plantframe analyze CLIP`,
		SilenceErrors: true,
		SilenceUsage:  true,
		Version:       version(),
	}
	root.SetVersionTemplate("plantframe {{.Version}}\n")
	root.AddCommand(a.analyze(), a.bands(), a.compare(), a.progress(), a.roster(), a.models(), a.doctor(), a.version(), a.man())
	root.AddCommand(a.watch(), a.work(), a.jobs(), a.rerun(), a.delete(), a.backup(), a.restore(), a.serve())
	return root
}

// terminal is app.terminal for real writers.
func terminal(w io.Writer) (bool, int) {
	f, ok := w.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return false, 0
	}
	width, _, err := term.GetSize(int(f.Fd()))
	if err != nil {
		width = 0
	}
	// TERM=dumb cannot take a bar back.
	return os.Getenv("TERM") != "dumb", width
}

// settings reads the settings of a command.
func settings(cmd *cobra.Command, file string) (config.Settings, error) {
	s := config.Default()
	if file == "" {
		file = os.Getenv(config.EnvConfig)
	}
	if file == "" {
		file = config.UserFile()
	}
	if err := config.Load(&s, cmd.Flags(), file); err != nil {
		return s, err
	}
	return s, s.Validate()
}

// errStopped stands for a run that was stopped on request.
var errStopped = errors.New("stopped")
