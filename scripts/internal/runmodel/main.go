// Command runmodel runs an installed network on an input given as raw numbers, for scripts/compare-models.
//
//	runmodel describe ID            prints the network's manifest as JSON, installing it first if it is missing
//	runmodel run ID INPUT FOLDER    reads INPUT (little-endian float32) and writes FOLDER/NAME.f32 per output
package main

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"os/signal"
	"path/filepath"

	"plantframe/models"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "runmodel:", err)
		var e *models.Error
		if errors.As(err, &e) && e.Hint != "" {
			fmt.Fprintln(os.Stderr, "hint:", e.Hint)
		}
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string) error {
	usage := errors.New("usage: runmodel describe ID | runmodel run ID INPUT FOLDER")
	if len(args) < 2 {
		return usage
	}
	m, err := models.Find(args[1])
	if err != nil {
		return err
	}
	dir, err := models.DefaultDir()
	if err != nil {
		return err
	}
	store := models.NewStore(dir)
	switch {
	case args[0] == "describe" && len(args) == 2:
		if _, err := store.Install(ctx, []models.Manifest{m}, models.DefaultInstallOptions()); err != nil {
			return err
		}
		return describe(m)
	case args[0] == "run" && len(args) == 4:
		return compute(store, m, args[2], args[3])
	}
	return usage
}

// description is what the comparison needs of a manifest.
type description struct {
	ID            string         `json:"id"`
	Package       string         `json:"package"`
	Version       string         `json:"version"`
	File          string         `json:"file"`
	Weights       string         `json:"weights,omitempty"`
	SHA256        string         `json:"sha256"`
	WeightsSHA256 string         `json:"weights_sha256,omitempty"`
	Convert       string         `json:"convert"`
	Decoder       string         `json:"decoder"`
	Width         int            `json:"width"`
	Height        int            `json:"height"`
	Layout        string         `json:"layout"`
	Colour        string         `json:"colour"`
	Mean          [3]float32     `json:"mean"`
	Std           [3]float32     `json:"std"`
	Outputs       []outputOfFile `json:"outputs"`
}

type outputOfFile struct {
	Name   string  `json:"name"`
	Tensor string  `json:"tensor"`
	Shape  []int64 `json:"shape"`
}

func describe(m models.Manifest) error {
	d := description{
		ID: m.ID, Package: m.Source.Package, Version: m.Source.Version, File: m.Source.File, Weights: m.Source.Weights,
		SHA256: m.Source.SHA256, WeightsSHA256: m.Source.WeightsSHA256,
		Convert: m.Convert, Decoder: m.Decoder, Width: m.Input.Width, Height: m.Input.Height, Layout: m.Input.Layout, Colour: m.Input.Colour,
		Mean: m.Input.Mean, Std: m.Input.Std,
	}
	for _, o := range m.Outputs {
		d.Outputs = append(d.Outputs, outputOfFile{Name: o.Name, Tensor: o.Tensor, Shape: o.Shape})
	}
	return json.NewEncoder(os.Stdout).Encode(d)
}

// compute runs the network once on the numbers of a file.
func compute(store models.Store, m models.Manifest, input, folder string) (err error) {
	session, err := store.Open(m, models.DefaultSessionOptions())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, session.Close()) }()
	b, err := os.ReadFile(input)
	if err != nil {
		return err
	}
	to := session.Input()
	if len(b) != 4*len(to) {
		return fmt.Errorf("%s has %d bytes, the input of %s has %d numbers of 4 bytes", input, len(b), m.ID, len(to))
	}
	for i := range to {
		to[i] = math.Float32frombits(binary.LittleEndian.Uint32(b[4*i:]))
	}
	if err := session.Run(); err != nil {
		return err
	}
	for _, o := range m.Outputs {
		values := session.Output(o.Name)
		out := make([]byte, 0, 4*len(values))
		for _, v := range values {
			out = binary.LittleEndian.AppendUint32(out, math.Float32bits(v))
		}
		if err := os.WriteFile(filepath.Join(folder, o.Name+".f32"), out, 0o644); err != nil {
			return err
		}
	}
	return nil
}
