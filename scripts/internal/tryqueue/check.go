package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// tree lists the files below a folder.
func tree(dir string) ([]string, error) {
	var out []string
	err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() && !strings.HasPrefix(d.Name(), ".plantframe-") {
			return err
		}
		rel, err := filepath.Rel(dir, p)
		out = append(out, rel)
		return err
	})
	return out, err
}

// same compares two result trees byte by byte. Nothing in them tells the time.
func same(want, got string) error {
	a, err := tree(want)
	if err != nil {
		return err
	}
	b, err := tree(got)
	if err != nil {
		return err
	}
	var all []error
	for _, f := range a {
		if !slices.Contains(b, f) {
			all = append(all, fmt.Errorf("%s is missing", f))
			continue
		}
		one, err := os.ReadFile(filepath.Join(want, f))
		if err != nil {
			return err
		}
		two, err := os.ReadFile(filepath.Join(got, f))
		if err != nil {
			return err
		}
		if !bytes.Equal(one, two) {
			all = append(all, fmt.Errorf("%s differs", f))
		}
	}
	for _, f := range b {
		if !slices.Contains(a, f) {
			all = append(all, fmt.Errorf("%s was left over", f))
		}
	}
	return errors.Join(all...)
}

// tally is what the queue says at the end.
type tally struct {
	done, other int
	attempts    int // that were counted, of all jobs
	failures    []string
}

// jobs reads the queue of a place, as the program tells it, and checks the
// database.
func (b *bench) jobs(ctx context.Context, p place) (tally, error) {
	var t tally
	if p.store == "" {
		db, err := p.open()
		if err != nil {
			return t, err
		}
		defer db.Close()
		var ok string
		if err := db.QueryRowContext(ctx, `PRAGMA integrity_check`).Scan(&ok); err != nil || ok != "ok" {
			return t, fmt.Errorf("the database is damaged: %s %w", ok, err)
		}
	}
	out, err := b.command(ctx, p, nil, "jobs", "--all", "--json").Output()
	if err != nil {
		return t, fmt.Errorf("jobs: %w", err)
	}
	clips := map[string]int{}
	dec := json.NewDecoder(bytes.NewReader(out))
	for dec.More() {
		var j struct {
			Event, Clip, Text string
			Attempt           int
		}
		if err := dec.Decode(&j); err != nil {
			return t, err
		}
		t.attempts += j.Attempt
		if j.Event == "done" {
			t.done++
			clips[j.Clip]++
		} else {
			t.other++
			t.failures = append(t.failures, fmt.Sprintf("%s %s after %d: %s", filepath.Base(j.Clip), j.Event, j.Attempt, j.Text))
		}
	}
	for c, n := range clips {
		if n != 1 {
			return t, fmt.Errorf("%s was done %d times", c, n)
		}
	}
	return t, nil
}

// stored counts what the store has: analyses, and clips with one that counts.
func (p place) stored(ctx context.Context) (analyses, clips int, err error) {
	db, err := p.open()
	if err != nil {
		return 0, 0, err
	}
	defer db.Close()
	err = db.QueryRowContext(ctx, `SELECT (SELECT count(*) FROM analyses), (SELECT count(*) FROM analyses WHERE current = 1)`).Scan(&analyses, &clips)
	return analyses, clips, err
}
