package main

import (
	"strings"

	"github.com/spf13/cobra"

	"plantframe/cmd/internal/config"
)

// resultFlags adds the flags of what results depend on to commands that analyse.
func resultFlags(cmd *cobra.Command, d config.Settings) {
	f := cmd.Flags()
	f.String("bats", d.Bats, "side the hitter bats from: auto, R or L")
	f.String("view", d.View, "where the camera stands: auto, open-side or rear")
	f.String("height", d.Height, "the hitter's height, such as 1.78, 178cm or 5ft10in; gives lengths in metres too")
	f.String("targets", d.Targets, "target bands: a name such as youth-softball, or a file")
	f.String("level", d.Level, "youth, high-school or adult")
	f.String("sport", d.Sport, "baseball or softball")
	f.String("texts", d.Texts, "words of the findings: en, or a file of your own")
	f.String("drills", d.Drills, "a file of drills of your own")
	f.String("quality", d.Quality, "full, or fast: a network five times cheaper and less exact")
	f.String("model", d.Model, "pose network by name (plantframe models list) or a manifest file of your own")
	f.Bool("no-overlay", d.NoOverlay, "leave out the video and the stills")
	f.String("store", d.Store, "where hitters and jobs are remembered: an SQLite file, postgres://USER@HOST/DATABASE, or none")
	f.String("paper", d.Paper, "sheet of report.pdf: a4 or letter")
	f.IntP("jobs", "j", d.Jobs, "clips analysed at once (0 = one per core)")
	f.Int("threads", d.Threads, "threads of one clip (0 = cores divided by jobs)")
	f.Bool("no-cache", d.NoCache, "compute everything again and keep no results of stages")
	f.Bool("json", d.JSON, "one line of JSON per event")
	f.String("log-level", d.LogLevel, "debug, info, warn or error")
	for key, words := range config.Choices() {
		name := strings.ReplaceAll(key, "_", "-")
		if f.Lookup(name) != nil {
			_ = cmd.RegisterFlagCompletionFunc(name, cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp))
		}
	}
}
