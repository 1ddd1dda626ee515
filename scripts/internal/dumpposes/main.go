// Command dumpposes writes the body points of one clip as JSON, before any
// repair or smoothing: what the networks say, for developers.
//
//	go run ./scripts/internal/dumpposes [flags] CLIP > poses.json
//
// The models must be installed. The output holds the poses in px of the
// upright full-size picture, what was seen of other people, the warnings and
// the number of runs of each network.
package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"time"

	"plantframe/models"
	"plantframe/pipeline/ingest"
	"plantframe/pipeline/pose"
	"plantframe/pipeline/swing"
)

// dump is the output.
type dump struct {
	Clip     swing.Clip      `json:"clip"`
	Poses    []swing.Pose    `json:"poses"`
	Seen     pose.Scan       `json:"seen"`
	Warnings []swing.Warning `json:"warnings"`
	Runs     map[string]int  `json:"runs"`
	Seconds  float64         `json:"seconds"` // wall time of decoding and networks
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, os.Args[1:], os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "dumpposes:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string, w io.Writer) error {
	fs := flag.NewFlagSet("dumpposes", flag.ContinueOnError)
	landmarks := fs.String("landmarks", "pose-heavy", "landmark network")
	threads := fs.Int("threads", 1, "threads of one network")
	side := fs.Int("side", 1280, "long side of decoded pictures, px")
	scan := fs.Bool("scan", false, "coarse pass only")
	objects := fs.String("objects", "", "object network, such as object-nanodet")
	if err := fs.Parse(args); err != nil {
		return err
	}
	if fs.NArg() != 1 {
		return fmt.Errorf("give one clip")
	}
	est, err := estimator(*landmarks, *objects, *threads)
	if err != nil {
		return err
	}
	d := dump{}
	if d.Clip, err = ingest.Probe(ctx, fs.Arg(0), ingest.DefaultOptions()); err != nil {
		return err
	}
	r, err := ingest.Open(ctx, d.Clip, ingest.OpenOptions{MaxSide: *side})
	if err != nil {
		return err
	}
	defer func() { _ = r.Close() }()
	start := time.Now()
	if *scan {
		d.Seen, err = est.Scan(ctx, r.Frames(), swing.NoProgress{})
	} else {
		d.Poses, d.Warnings, err = est.Follow(ctx, r.Frames(), pose.Seed{}, pose.Each{})
		d.Seen = est.Seen()
	}
	if err != nil {
		return err
	}
	d.Seconds, d.Runs = time.Since(start).Seconds(), est.Runs()
	for i := range d.Poses {
		for j := range d.Poses[i].Points {
			d.Poses[i].Points[j].X *= r.Scale()
			d.Poses[i].Points[j].Y *= r.Scale()
		}
	}
	return json.NewEncoder(w).Encode(d)
}

// estimator opens the networks. Sessions stay open until the process ends.
func estimator(landmarks, objects string, threads int) (*pose.Estimator, error) {
	dir, err := models.DefaultDir()
	if err != nil {
		return nil, err
	}
	store := models.NewStore(dir)
	open := func(id string) (*pose.Network, error) {
		m, err := models.Find(id)
		if err != nil {
			return nil, err
		}
		s, err := store.Open(m, models.SessionOptions{Threads: threads})
		if err != nil {
			return nil, err
		}
		n := &pose.Network{Session: s, Spec: pose.Spec{
			Name: m.ID, Decoder: pose.Decoder(m.Decoder), Width: m.Input.Width, Height: m.Input.Height,
			Layout: pose.Layout(m.Input.Layout), Colour: pose.Colour(m.Input.Colour), Keypoints: m.Keypoints,
		}}
		for c := range 3 {
			n.Spec.Mean[c], n.Spec.Std[c] = float64(m.Input.Mean[c]), float64(m.Input.Std[c])
		}
		return n, nil
	}
	var nets pose.Networks
	if nets.Detector, err = open("pose-detector"); err != nil {
		return nil, err
	}
	if nets.Landmarks, err = open(landmarks); err != nil {
		return nil, err
	}
	if nets.Scan, err = open("pose-full"); err != nil {
		return nil, err
	}
	if objects != "" {
		if nets.Objects, err = open(objects); err != nil {
			return nil, err
		}
	}
	return pose.New(nets, pose.DefaultOptions())
}
