package main

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/spf13/cobra"

	"plantframe/cmd/internal/ui"
)

// States of a finding of doctor.
const (
	stateOK      = "ok"
	stateNote    = "note"    // works, with a drawback
	stateMissing = "missing" // an analysis will fail
)

// finding is one thing that doctor looked at.
type finding struct {
	Name   string `json:"name"`
	State  string `json:"state"`  // one of the states
	Detail string `json:"detail"` // what was found
	Remedy string `json:"remedy,omitempty"`
}

func (a *app) doctor() *cobra.Command {
	var file string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "doctor",
		Short: "Tell what is missing on this machine and how to get it",
		Long: `Look at everything an analysis needs: ffmpeg and what it was built with, ONNX
Runtime, the networks, the cache, the folder for results, the processor and the
settings. Nothing is changed.

Exit codes: 0 ready, 1 something is missing.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			all := examine(cmd.Context(), cmd, file)
			if err := cmd.Context().Err(); err != nil {
				return errStopped
			}
			a.showFindings(all, asJSON)
			return nil
		},
	}
	cmd.Flags().StringVar(&file, "config", "", "settings file (YAML)")
	cmd.Flags().StringP("out", "o", "", "folder for results to look at")
	cmd.Flags().BoolVar(&asJSON, "json", false, "one line of JSON per finding")
	return cmd
}

func (a *app) showFindings(all []finding, asJSON bool) {
	missing := 0
	var rows [][]string
	for _, f := range all {
		if f.State == stateMissing {
			missing++
		}
		if asJSON {
			if b, err := json.Marshal(f); err == nil {
				fmt.Fprintf(a.stdout, "%s\n", b)
			}
			continue
		}
		rows = append(rows, []string{f.State, f.Name, f.Detail})
		if f.Remedy != "" {
			rows = append(rows, []string{"", "", "-> " + f.Remedy})
		}
	}
	if missing > 0 {
		a.code = exitFailed
	}
	if asJSON {
		return
	}
	for i := range rows {
		rows[i][2] = ui.Plain(rows[i][2])
	}
	fmt.Fprint(a.stdout, ui.Table([]string{"<state", "<what", "<found"}, rows))
	switch missing {
	case 0:
		fmt.Fprintln(a.stdout, "\nReady: plantframe analyze CLIP")
	case 1:
		fmt.Fprintln(a.stdout, "\nOne thing is missing.")
	default:
		fmt.Fprintf(a.stdout, "\n%d things are missing.\n", missing)
	}
}

// examine looks at everything, in the order of a run.
func examine(ctx context.Context, cmd *cobra.Command, file string) []finding {
	s, err := settings(cmd, file)
	all := []finding{checkSettings(file, err)}
	all = append(all, checkFFmpeg(ctx, s.Ingest.FFmpeg)...)
	all = append(all, checkFFprobe(ctx, s.Ingest.FFprobe))
	all = append(all, checkModels(ctx, s)...)
	all = append(all, checkCache(), checkOut(s.Out), checkMachine())
	return all
}
