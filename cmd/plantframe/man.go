package main

import (
	"os"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"

	"plantframe/pipeline/swing"
)

// man writes man pages. It is for whoever packages the program, so it is not
// listed.
func (a *app) man() *cobra.Command {
	return &cobra.Command{
		Use:    "man DIR",
		Short:  "Write the man pages into a folder",
		Hidden: true,
		Args:   cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := os.MkdirAll(args[0], 0o755); err != nil {
				return writing(args[0], err)
			}
			root := cmd.Root()
			root.DisableAutoGenTag = true // the same source gives the same page
			header := &doc.GenManHeader{Title: "PLANTFRAME", Section: "1", Source: "plantframe " + release, Manual: "plantframe"}
			if err := doc.GenManTree(root, header, args[0]); err != nil {
				return &swing.Error{Op: "man", Frame: -1, Kind: swing.KindOutput, Msg: "the man pages cannot be written", Err: err}
			}
			return nil
		},
	}
}
