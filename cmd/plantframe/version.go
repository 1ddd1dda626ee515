package main

import (
	"fmt"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// release is the version of this source tree. It is stored with every result.
const release = "0.1.0"

// version returns release with the commit that was built, as far as the build
// knows it.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return release
	}
	commit, dirty := "", ""
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision" && len(s.Value) >= 12:
			commit = "+" + s.Value[:12]
		case s.Key == "vcs.modified" && s.Value == "true":
			dirty = ".changed"
		}
	}
	if commit == "" {
		return release
	}
	return release + commit + dirty
}

func (a *app) version() *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Print the version",
		Args:  cobra.NoArgs,
		Run: func(*cobra.Command, []string) {
			fmt.Fprintln(a.stdout, "plantframe "+version())
		},
	}
}
