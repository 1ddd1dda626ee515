// Command validate scores analysis.json files against truth files of known
// motions and prints how far off events, key points and measures are.
//
//	validate ANALYSIS... --truth DIR [--json FILE]
//
// ANALYSIS is an analysis.json file or a folder that holds some. Truth files
// have the schema hitclip-truth/1 and the name CLIP.truth.json. Exit code 0:
// everything was scored (good or bad); 1: something could not be read; 2: wrong
// usage.
package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/pflag"
)

func main() {
	os.Exit(run(os.Args[1:], os.Stdout, os.Stderr))
}

func run(args []string, stdout, stderr io.Writer) int {
	f := pflag.NewFlagSet("validate", pflag.ContinueOnError)
	f.SetOutput(io.Discard)
	truthDir := f.String("truth", "", "folder with *.truth.json files")
	jsonOut := f.String("json", "", "also write the scores as JSON to this file (- = standard output instead of the table)")
	clips := f.Bool("clips", true, "print one line per clip")
	onlyTruth := f.Bool("truth-events", false, "print the truth files' own event times as JSON and score nothing")
	usage := func(w io.Writer) {
		fmt.Fprintf(w, "usage: validate ANALYSIS... --truth DIR [--json FILE]\n\n"+
			"ANALYSIS is an analysis.json file or a folder searched for them.\n\n%s", f.FlagUsages())
	}
	if err := f.Parse(args); err != nil {
		if errors.Is(err, pflag.ErrHelp) {
			usage(stdout)
			return 0
		}
		fmt.Fprintf(stderr, "validate: %v\n", err)
		return 2
	}
	if (f.NArg() == 0 && !*onlyTruth) || *truthDir == "" {
		fmt.Fprintln(stderr, "validate: name at least one analysis and the truth folder")
		usage(stderr)
		return 2
	}
	failed := false
	complain := func(err error) {
		failed = true
		fmt.Fprintf(stderr, "validate: %v\n", err)
	}
	truths, err := loadTruths(*truthDir, complain)
	if err != nil {
		complain(err)
		return 1
	}
	if *onlyTruth {
		if err := writeEvents(stdout, truths); err != nil || failed {
			return 1
		}
		return 0
	}
	analyses := loadAnalyses(f.Args(), complain)
	if len(analyses) == 0 {
		complain(errors.New("no analysis to score"))
		return 1
	}
	report := scoreAll(analyses, truths, complain)
	if *jsonOut != "" {
		if err := writeJSON(*jsonOut, stdout, report); err != nil {
			complain(err)
		}
	}
	if *jsonOut != "-" {
		writeText(stdout, report, *clips)
	}
	if failed {
		return 1
	}
	return 0
}
