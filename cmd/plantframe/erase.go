package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/queue"
	"plantframe/cmd/internal/store"
	"plantframe/cmd/internal/ui"
	"plantframe/pipeline/swing"
)

const deleteHelp = `Remove every trace of a hitter: results, old results of reruns, kept results of
stages, jobs, the rows of the store, and the clips themselves. With --keep-clips the
clips stay; a folder that is watched then gives them back.

Without --yes it only tells what would go. At the end it looks again, into folders,
database and, for an SQLite file, into the bytes of the file, and says so. Copies
that were made of any of these, such as backups, are not reached.`

func (a *app) delete() *cobra.Command {
	del := &cobra.Command{Use: "delete", Short: "Remove every trace of a hitter"}
	var file string
	var yes, keep bool
	d := config.Default()
	cmd := &cobra.Command{
		Use:     "hitter NAME",
		Short:   "Remove every trace of a hitter",
		Long:    deleteHelp,
		Example: `  plantframe delete hitter "Ann B" --yes`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := settings(cmd, file)
			if err != nil {
				return err
			}
			return a.deleteHitter(cmd.Context(), s, args[0], yes, keep)
		},
	}
	f := cmd.Flags()
	f.StringVar(&file, "config", "", "settings file (YAML)")
	f.BoolVar(&yes, "yes", false, "do it")
	f.BoolVar(&keep, "keep-clips", false, "leave the clips where they are")
	f.String("store", d.Store, "the store: an SQLite file or postgres://USER@HOST/DATABASE")
	del.AddCommand(cmd)
	return del
}

// traces are all that is known of a hitter.
type traces struct {
	hitter    store.Hitter
	shas      map[string]bool
	clips     map[string]bool // files
	folders   map[string]bool // of results, old ones of reruns too
	plans     map[string]bool // folders of reruns that name the hitter's results
	artifacts map[string]bool // keys
}

// deleteHitter runs the whole command.
func (a *app) deleteHitter(ctx context.Context, s config.Settings, name string, yes, keepClips bool) error {
	r, err := mustRecords(ctx, s)
	if err != nil {
		return err
	}
	defer r.Close()
	o, err := a.openQueue(s)
	if err != nil {
		return err
	}
	q, err := queue.Open(ctx, o)
	if err != nil {
		return err
	}
	defer q.Close()
	t, err := findTraces(ctx, r, q, name)
	if err != nil {
		return err
	}
	if keepClips {
		t.clips = map[string]bool{}
	}
	if !yes {
		fmt.Fprintf(a.stdout, "Of %s would be removed: %d clips (%d files), %d result folders, %d kept results of stages.\n",
			ui.Plain(t.hitter.Name), len(t.shas), len(t.clips), len(t.folders), len(t.artifacts))
		fmt.Fprintln(a.stdout, "Nothing was done. With --yes it is; it cannot be undone.")
		return nil
	}
	disk := openStages()
	if err := t.remove(ctx, r, q, disk); err != nil {
		return err
	}
	if left := t.left(ctx, q, disk, o.Database); len(left) > 0 {
		for _, l := range left {
			fmt.Fprintln(a.stderr, "left: "+ui.Plain(l))
		}
		return &swing.Error{
			Op: "delete", Frame: -1, Kind: swing.KindOutput, Msg: fmt.Sprintf("%d traces are left", len(left)),
			Hint: "stop watch, serve and work, then run this again",
		}
	}
	fmt.Fprintf(a.stdout, "%s is gone: %d clips, %d result folders, %d kept results of stages. Looked again: no file, no row, no byte in the store is left.\n",
		ui.Plain(t.hitter.Name), len(t.shas), len(t.folders), len(t.artifacts))
	return nil
}

// openStages opens the results of stages; nil when there are none.
func openStages() *store.Disk {
	dir, err := cacheDir()
	if err != nil {
		return nil
	}
	d, err := store.OpenDisk(filepath.Join(dir, "stages"))
	if err != nil {
		return nil
	}
	return d
}

// findTraces looks for all that is known of a hitter.
func findTraces(ctx context.Context, r *store.Records, q *queue.Queue, name string) (*traces, error) {
	h, err := r.FindHitter(ctx, nil, name)
	if err != nil {
		return nil, err
	}
	t := &traces{
		hitter: h, shas: map[string]bool{}, clips: map[string]bool{}, folders: map[string]bool{},
		plans: map[string]bool{}, artifacts: map[string]bool{},
	}
	for at, more := 0, true; more; at += 500 {
		var list []store.ClipLine
		if list, more, err = r.Clips(ctx, nil, h.ID, 500, at); err != nil {
			return nil, err
		}
		for _, c := range list {
			t.shas[c.SHA256] = true
			all, err := r.Versions(ctx, nil, c.SHA256)
			if err != nil {
				return nil, err
			}
			for _, v := range all {
				t.folders[v.Folder] = true
			}
		}
	}
	jobs, err := q.List(ctx, queue.Filter{})
	if err != nil {
		return nil, err
	}
	for _, j := range jobs {
		if j.Clip.Hitter != h.Name && !t.shas[j.Clip.SHA256] {
			continue
		}
		t.shas[j.Clip.SHA256], t.clips[j.Clip.Path] = true, true
		t.folders[filepath.Join(j.Clip.Out, j.Clip.Folder)] = true
	}
	for sha := range t.shas {
		seen, err := q.SameContent(ctx, sha)
		if err != nil {
			return nil, err
		}
		for _, s := range seen {
			t.clips[filepath.Join(s.Root, filepath.FromSlash(s.Path))] = true
		}
	}
	delete(t.folders, "")
	for dir := range t.folders {
		t.reruns(dir)
	}
	for dir := range t.folders {
		for _, k := range readStages(dir) {
			t.artifacts[k.Key] = true
		}
	}
	return t, nil
}

// reruns adds old results of the folder dir, wherever above it reruns were kept.
func (t *traces) reruns(dir string) {
	for up := filepath.Dir(dir); ; up = filepath.Dir(up) {
		rel, err := filepath.Rel(up, dir)
		if err != nil {
			return
		}
		found, _ := filepath.Glob(filepath.Join(escapeGlob(up), rerunFolder, "*"))
		for _, run := range found {
			if old := filepath.Join(run, "old", rel); exists(old) {
				t.folders[old] = true
				t.plans[run] = true
			}
		}
		if filepath.Dir(up) == up {
			return
		}
	}
}

// remove removes everything. Files go first: what is known of them is then still
// there when this is cut off and begun again.
func (t *traces) remove(ctx context.Context, r *store.Records, q *queue.Queue, disk *store.Disk) error {
	for sha := range t.shas {
		if err := cancelJobs(ctx, q, sha); err != nil {
			return err
		}
	}
	outs := map[string]bool{}
	for _, dir := range keysOf(t.folders) {
		if err := os.RemoveAll(dir); err != nil {
			return writing(dir, err)
		}
		outs[filepath.Dir(dir)] = true
	}
	for _, run := range keysOf(t.plans) {
		if err := forgetInPlan(run, t.shas); err != nil {
			return err
		}
	}
	for _, key := range keysOf(t.artifacts) {
		if disk != nil {
			if err := disk.Remove(key); err != nil {
				return err
			}
		}
	}
	for _, path := range keysOf(t.clips) {
		if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return writing(path, err)
		}
		_ = os.Remove(strings.TrimSuffix(path, filepath.Ext(path)) + ".notes.md")
		removeEmpty(filepath.Dir(path), 2) // HITTER/DATE
	}
	for _, out := range keysOf(outs) {
		if err := tidyOut(out); err != nil {
			return err
		}
	}
	for sha := range t.shas {
		running, err := q.Forget(ctx, sha)
		if err != nil {
			return err
		}
		if len(running) > 0 {
			return &swing.Error{
				Op: "delete", Clip: running[0].Clip.Path, Frame: -1, Kind: swing.KindOutput, Msg: "this clip is being analysed and cannot be stopped",
				Hint: "wait a moment and run this again",
			}
		}
	}
	if _, err := r.DeleteHitter(ctx, nil, t.hitter.ID); err != nil {
		return err
	}
	if !r.Postgres() {
		if _, err := r.DB().ExecContext(ctx, `VACUUM`); err != nil {
			return writing(r.Place(), err)
		}
		return r.Compact(ctx)
	}
	return nil
}

// cancelJobs ends the jobs of a clip and waits for the one that runs.
func cancelJobs(ctx context.Context, q *queue.Queue, sha string) error {
	return stopThese(ctx, q, func(j queue.Job) bool { return j.Clip.SHA256 == sha })
}

// tidyOut writes the overview of a folder without what went, or removes it when
// nothing else is there.
func tidyOut(out string) error {
	if !exists(out) {
		return nil
	}
	left, err := filepath.Glob(filepath.Join(escapeGlob(out), "*", analysisFile))
	if err != nil {
		return writing(out, err)
	}
	if len(left) > 0 {
		return writeOverview(out)
	}
	for _, name := range []string{measuresFile, "index.html"} {
		_ = os.Remove(filepath.Join(out, name))
	}
	removeEmpty(out, 2)
	return nil
}

// removeEmpty removes a folder and so many above it as long as nothing is in them.
func removeEmpty(dir string, levels int) {
	for ; levels > 0 && os.Remove(dir) == nil; levels-- {
		dir = filepath.Dir(dir)
	}
}

// forgetInPlan takes clips out of what a rerun noted. Its summary names folders of
// hitters and goes as a whole.
func forgetInPlan(run string, shas map[string]bool) error {
	p, err := lastPlan(filepath.Dir(filepath.Dir(run)), func(p *plan) bool { return p.dir == run })
	if err != nil || p == nil {
		return err
	}
	p.Items = slices.DeleteFunc(p.Items, func(it *item) bool { return shas[it.SHA256] })
	if err := os.Remove(filepath.Join(run, "summary.json")); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return writing(run, err)
	}
	// The folders of the hitter in it, now empty.
	_ = filepath.WalkDir(filepath.Join(run, "old"), func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.IsDir() {
			defer removeEmpty(path, 3)
		}
		return nil
	})
	if len(p.Items) == 0 {
		if err := os.RemoveAll(run); err != nil {
			return writing(run, err)
		}
		removeEmpty(filepath.Dir(run), 1)
		return nil
	}
	return p.write()
}

// left looks for what should be gone.
func (t *traces) left(ctx context.Context, q *queue.Queue, disk *store.Disk, database string) []string {
	var left []string
	for _, set := range []map[string]bool{t.folders, t.clips} {
		for _, path := range keysOf(set) {
			if exists(path) {
				left = append(left, path)
			}
		}
	}
	for _, key := range keysOf(t.artifacts) {
		if disk != nil && disk.Has(key) {
			left = append(left, "the result of a stage, "+key)
		}
	}
	for sha := range t.shas {
		for _, table := range []string{"clips WHERE sha256 = $1", "analyses WHERE clip = $1", "inbox WHERE sha256 = $1", "result_folders WHERE sha256 = $1"} {
			var n int
			if err := q.DB().QueryRowContext(ctx, "SELECT count(*) FROM "+table, sha).Scan(&n); err != nil || n > 0 {
				left = append(left, fmt.Sprintf("rows of %s: %d %v", strings.Fields(table)[0], n, err))
			}
		}
	}
	jobs, err := q.List(ctx, queue.Filter{Keep: func(j queue.Job) bool { return t.shas[j.Clip.SHA256] || j.Clip.Hitter == t.hitter.Name }})
	if err != nil || len(jobs) > 0 {
		left = append(left, fmt.Sprintf("%d jobs %v", len(jobs), err))
	}
	if !queue.Server(database) {
		for _, file := range []string{database, database + "-wal"} {
			b, err := os.ReadFile(file)
			if err != nil {
				continue
			}
			for sha := range t.shas {
				if bytes.Contains(b, []byte(sha)) {
					left = append(left, "bytes in "+file)
				}
			}
			if bytes.Contains(b, []byte(t.hitter.ID)) {
				left = append(left, "bytes in "+file)
			}
		}
	}
	return left
}

func keysOf(m map[string]bool) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}
