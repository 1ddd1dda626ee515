package main

import (
	"context"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/queue"
	"plantframe/cmd/internal/store"
	"plantframe/cmd/internal/targets"
	"plantframe/pipeline"
	"plantframe/pipeline/ingest"
	"plantframe/pipeline/output"
	"plantframe/pipeline/swing"
)

// planFile is kept in the folder of a rerun: what it is about, and how far.
const planFile = "plan.json"

// planSchema names its form.
const planSchema = "plantframe/rerun/1"

// plan is one rerun.
type plan struct {
	Schema string  `json:"schema"`
	Began  string  `json:"began"`            // RFC 3339
	Ended  string  `json:"ended,omitempty"`  // "" = unfinished
	Undone string  `json:"undone,omitempty"` // "" = stands
	Items  []*item `json:"items"`

	id   string // of an earlier rerun that goes on
	dir  string // its folder
	same int    // results that are not affected
	lost []*item
}

// item is one result that is affected.
type item struct {
	Folder string `json:"folder"` // below the results
	SHA256 string `json:"sha256"` // of the clip
	Clip   string `json:"clip"`
	Key    string `json:"key"`  // of the new order
	From   string `json:"from"` // first stage that changed
	Done   bool   `json:"done,omitempty"`
	Failed string `json:"failed,omitempty"`

	order queue.Clip
}

// todo lists the items that are not done.
func (p *plan) todo() []*item {
	return slices.DeleteFunc(slices.Clone(p.Items), func(it *item) bool { return it.Done })
}

// outcome counts.
func (p *plan) outcome() (done, failed int) {
	for _, it := range p.Items {
		if it.Done {
			done++
		} else {
			failed++
		}
	}
	return done, failed
}

// old is where the old results of an item are kept.
func (p *plan) old(it *item) string { return filepath.Join(p.dir, "old", it.Folder) }

// plan finds what is affected.
func (r *rerun) plan(ctx context.Context) (*plan, error) {
	p, err := lastPlan(r.root, func(p *plan) bool { return p.Ended == "" && p.Undone == "" })
	if err != nil {
		return nil, err
	}
	if p == nil {
		p = &plan{Schema: planSchema}
	}
	begun := map[string]*item{}
	for _, it := range p.Items {
		begun[it.Folder] = it
	}
	known, err := r.knownClips(ctx)
	if err != nil {
		return nil, err
	}
	ids := map[string]identity{}
	err = filepath.WalkDir(r.root, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return writing(r.root, err)
		case ctx.Err() != nil:
			return ctx.Err()
		case d.IsDir() && (d.Name() == rerunFolder || strings.HasPrefix(d.Name(), ".")) && path != r.root:
			return fs.SkipDir
		case d.IsDir() || d.Name() != analysisFile:
			return nil
		}
		it, affected, err := r.look(filepath.Dir(path), known, ids)
		if err != nil {
			return err
		}
		had := begun[it.Folder]
		switch {
		case had != nil: // it may have been done and not noted
			had.order, had.Done = it.order, !affected
			if had.Key != it.Key {
				return &swing.Error{
					Op: "rerun", Frame: -1, Kind: swing.KindUsage, Msg: "a rerun with other settings is not finished",
					Hint: "give the same settings again to finish it, or undo it with --undo",
				}
			}
			if !had.Done && it.order.Path == "" {
				had.Failed = it.Failed
			}
		case !affected:
			p.same++
		case it.order.Path == "":
			p.lost = append(p.lost, it)
		default:
			p.Items = append(p.Items, it)
		}
		return nil
	})
	if p.dir == "" {
		p.dir = filepath.Join(r.root, rerunFolder, time.Now().Format("2006-01-02T150405"))
	}
	for _, it := range p.Items {
		it.order.Keep = p.old(it)
	}
	return p, err
}

// look compares the keys of one result with those of today.
func (r *rerun) look(dir string, known map[string]string, ids map[string]identity) (*item, bool, error) {
	rel, err := filepath.Rel(r.root, dir)
	if err != nil {
		return nil, false, writing(dir, err)
	}
	it := &item{Folder: rel, From: unknown}
	a, err := readAnalysis(filepath.Join(dir, analysisFile))
	if err != nil {
		it.Failed = explain(err).Message
		return it, true, nil
	}
	it.SHA256 = a.Clip.SHA256
	s, err := r.settings.TakeEffective(ownTargets(a.Options))
	if err == nil {
		s, err = r.given(s)
	}
	if err == nil {
		err = s.Validate()
	}
	if err != nil {
		return nil, false, named(err, filepath.Join(dir, analysisFile))
	}
	o, err := r.orders(s, ids)
	if err != nil {
		return nil, false, err
	}
	it.Key = o.key
	before := readStages(dir)
	clip := a.Clip
	clip.Audio = slices.ContainsFunc(before, func(k pipeline.StageKey) bool { return k.Stage == "sound" })
	now, err := pipeline.Keys(clip, o.deps, o.settings.Stages())
	if err != nil {
		return nil, false, err
	}
	if it.From = firstChange(before, withDraw(now, o.settings)); it.From == unchanged {
		return it, false, nil
	}
	if slices.ContainsFunc(a.Swings, func(s swing.Swing) bool { return s.Views != nil }) {
		it.Failed = "it was put together with a clip from the other side: run plantframe analyze on both again"
		return it, true, nil
	}
	hitter, _ := a.Options["hitter"].(string)
	if clip.Path = r.find(a.Clip, dir, known); clip.Path == "" {
		it.Failed = "its clip " + filepath.Base(a.Clip.Path) + " is not found: name its folder with --clips"
		return it, true, nil
	}
	it.Clip = clip.Path
	it.order = o.order(clip, filepath.Dir(dir), filepath.Base(dir), hitter, "", "rerun")
	return it, true, nil
}

// rerunOrders are the orders for one set of settings, with what they depend on.
type rerunOrders struct {
	*orders
	deps pipeline.Deps
}

// orders makes the orders for settings. Networks and targets are looked up once
// for all results that want the same.
func (r *rerun) orders(s config.Settings, ids map[string]identity) (rerunOrders, error) {
	s = s.Absolute()
	key := strings.Join([]string{s.Quality, s.Model, s.Targets, s.Level, s.Sport, s.Texts, s.Drills}, "\x00")
	id, ok := ids[key]
	if !ok {
		var err error
		if id, err = r.app.identify(s); err != nil {
			return rerunOrders{}, err
		}
		ids[key] = id
	}
	k, err := orderKey(s, id)
	return rerunOrders{&orders{settings: s, key: k}, pipeline.Deps{Models: id.Models, LiftModel: id.Lift, Targets: id.Targets}}, err
}

// ownTargets are the settings of a result with the targets as a setting gives
// them: results name those that level and sport chose.
func ownTargets(o map[string]any) map[string]any {
	out := map[string]any{}
	for k, v := range o {
		out[k] = v
	}
	level, _ := o["level"].(string)
	sport, _ := o["sport"].(string)
	if name, _ := o["targets"].(string); name == level+"-"+sport || name != "none" && !slices.Contains(targets.Names(), name) {
		// A file of the user's is known by its name alone: it is to be given again.
		delete(out, "targets")
	}
	return out
}

// knownClips are the places of clips that the queue knows, by checksum.
func (r *rerun) knownClips(ctx context.Context) (map[string]string, error) {
	all, err := r.queue.List(ctx, queue.Filter{})
	if err != nil {
		return nil, err
	}
	out := map[string]string{}
	for _, j := range slices.Backward(all) { // the newest last: it counts
		if exists(j.Clip.Path) {
			out[j.Clip.SHA256] = j.Clip.Path
		}
	}
	if len(r.clips) == 0 {
		return out, nil
	}
	files, err := ingest.Find(r.clips)
	if err != nil {
		return nil, err
	}
	for _, f := range files {
		abs, err := filepath.Abs(f)
		if err != nil {
			return nil, writing(f, err)
		}
		if sum, err := (&clipFile{path: abs}).checksum(ctx); err == nil {
			out[sum] = abs
		}
	}
	return out, ctx.Err()
}

// find returns where the clip of a result is; "" when nobody knows.
func (r *rerun) find(c swing.Clip, dir string, known map[string]string) string {
	if path := known[c.SHA256]; path != "" {
		return path
	}
	for _, near := range []string{filepath.Dir(dir), filepath.Dir(filepath.Dir(dir)), r.root, filepath.Dir(r.root), "."} {
		path, err := filepath.Abs(filepath.Join(near, filepath.Base(c.Path)))
		if err != nil {
			continue
		}
		if sum, err := (&clipFile{path: path}).checksum(context.Background()); err == nil && sum == c.SHA256 {
			return path
		}
	}
	return ""
}

// begin makes the folder of the rerun and notes the plan.
func (p *plan) begin(root string) error {
	if p.Began == "" {
		p.Began = time.Now().UTC().Format(time.RFC3339)
	}
	if err := os.MkdirAll(p.dir, 0o755); err != nil {
		return writing(p.dir, err)
	}
	return p.write()
}

func (p *plan) write() error { return writeJSONFile(filepath.Join(p.dir, planFile), p) }

// finish notes the end, with what moved.
func (p *plan) finish(m moves) error {
	if err := writeJSONFile(filepath.Join(p.dir, "summary.json"), m); err != nil {
		return err
	}
	p.Ended = time.Now().UTC().Format(time.RFC3339)
	return p.write()
}

func writeJSONFile(path string, v any) error {
	return writeWhole(path, func(f *os.File) error {
		enc := json.NewEncoder(f)
		enc.SetIndent("", "  ")
		enc.SetEscapeHTML(false)
		return enc.Encode(v)
	})
}

// lastPlan returns the newest rerun of a tree that want takes; nil when there is
// none.
func lastPlan(root string, want func(*plan) bool) (*plan, error) {
	entries, err := os.ReadDir(filepath.Join(root, rerunFolder))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, writing(root, err)
	}
	for _, e := range slices.Backward(entries) { // names are times
		dir := filepath.Join(root, rerunFolder, e.Name())
		b, err := os.ReadFile(filepath.Join(dir, planFile))
		p := &plan{id: e.Name(), dir: dir}
		if err != nil || json.Unmarshal(b, p) != nil || p.Schema != planSchema {
			continue
		}
		if want(p) {
			return p, nil
		}
	}
	return nil, nil
}

// stopJobs takes what is left of the rerun out of the queue.
func (p *plan) stopJobs(ctx context.Context, q *queue.Queue) error {
	return stopThese(ctx, q, func(j queue.Job) bool { return strings.HasPrefix(j.Clip.Keep, p.dir+string(filepath.Separator)) })
}

// stopThese cancels jobs and waits for those that run.
func stopThese(ctx context.Context, q *queue.Queue, these func(queue.Job) bool) error {
	mine, err := q.List(ctx, queue.Filter{States: []queue.State{queue.Waiting, queue.Again, queue.Running}, Keep: these})
	if err != nil {
		return err
	}
	for _, j := range mine {
		if j, err = q.Cancel(ctx, j.ID); err != nil && !errors.Is(err, queue.ErrNoJob) {
			return err
		}
		for end := time.Now().Add(stopWait); j.State == queue.Running && time.Now().Before(end) && sleep(ctx, 200*time.Millisecond); {
			if j, err = q.Get(ctx, j.ID); err != nil {
				return err
			}
		}
	}
	return nil
}

// chooseAgain makes the stored analysis of kept results the one that counts.
func chooseAgain(ctx context.Context, r *store.Records, keep string) error {
	a, err := readAnalysis(filepath.Join(keep, analysisFile))
	if err != nil {
		return err
	}
	all, err := r.Versions(ctx, nil, a.Clip.SHA256)
	if err != nil {
		return err
	}
	key := store.AnalysisKey(a)
	for _, v := range all {
		if v.Key == key && !v.Current {
			_, err := r.Choose(ctx, nil, v.ID)
			return err
		}
	}
	return nil
}

// readAnalysis reads an analysis.json.
func readAnalysis(path string) (swing.Analysis, error) {
	f, err := os.Open(path)
	if err != nil {
		return swing.Analysis{}, writing(path, err)
	}
	defer f.Close()
	return output.ReadJSON(f)
}
