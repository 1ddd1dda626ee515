package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"maps"
	"os"
	"path/filepath"

	"plantframe/cmd/internal/targets"
	"plantframe/pipeline/judge"
	"plantframe/pipeline/output"
	page "plantframe/pipeline/output/report"
	"plantframe/pipeline/swing"
)

// draw makes the pictures of an analysis in the folder tmp. When only the
// judgement has changed since those in the clip's folder were made they are taken
// over: moving a band decodes nothing.
func (b *batch) draw(ctx context.Context, w worker, c *clipFile, a swing.Analysis, tmp string, p swing.Progress) error {
	dir := filepath.Join(b.settings.Out, b.folders[c])
	if !b.settings.NoCache && sameMeasured(filepath.Join(dir, analysisFile), a) && takeOver(dir, tmp) == nil {
		return nil
	}
	return w.Draw(ctx, a, tmp, p)
}

// sameMeasured tells whether a file of an earlier analysis differs from a in its
// judgement at most.
func sameMeasured(path string, a swing.Analysis) bool {
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	old, err := output.ReadJSON(f)
	if err != nil {
		return false
	}
	var before, now bytes.Buffer
	if output.WriteJSON(&before, unjudged(old)) != nil || output.WriteJSON(&now, unjudged(a)) != nil {
		return false
	}
	return bytes.Equal(before.Bytes(), now.Bytes())
}

// unjudged returns a copy of an analysis without what judging gave and took.
func unjudged(a swing.Analysis) swing.Analysis {
	a.Options = maps.Clone(a.Options)
	for _, k := range []string{"targets", "targets_sha256", "level", "sport", "texts", "drills", "judge", "hitter"} {
		delete(a.Options, k)
	}
	a.Swings = append([]swing.Swing(nil), a.Swings...)
	for i := range a.Swings {
		a.Swings[i].Findings = nil
	}
	return a
}

// targetsUsed are the entries of a result's settings that say which targets it was
// judged by: their name, and a checksum of all of their content.
func targetsUsed(t judge.Targets) map[string]any {
	if t.Empty() {
		return map[string]any{"targets": "none"}
	}
	b, err := json.Marshal(t)
	if err != nil { // a struct of words and finite numbers
		return map[string]any{"targets": t.Name}
	}
	sum := sha256.Sum256(b)
	return map[string]any{"targets": t.Name, "targets_sha256": hex.EncodeToString(sum[:])}
}

// takeOver links the pictures of dir into tmp. An error leaves nothing of them
// behind.
func takeOver(dir, tmp string) (err error) {
	stills := filepath.Join(tmp, stillsFolder)
	defer func() {
		if err != nil {
			_ = os.Remove(filepath.Join(tmp, overlayFile))
			_ = os.RemoveAll(stills)
		}
	}()
	if err := os.Link(filepath.Join(dir, overlayFile), filepath.Join(tmp, overlayFile)); err != nil {
		return err
	}
	found, err := os.ReadDir(filepath.Join(dir, stillsFolder))
	if err != nil {
		return err
	}
	if err := os.Mkdir(stills, 0o755); err != nil {
		return err
	}
	for _, e := range found {
		if e.Type().IsRegular() && stillName.MatchString(e.Name()) {
			if err := os.Link(filepath.Join(dir, stillsFolder, e.Name()), filepath.Join(stills, e.Name())); err != nil {
				return err
			}
		}
	}
	return nil
}

// pageDrills are the drills for the report, by the name that findings give.
func (b *batch) pageDrills() map[string]page.Drill {
	all, err := targets.Drills(b.settings.Drills)
	if err != nil {
		return nil // refused before the run began
	}
	out := map[string]page.Drill{}
	for name, d := range all {
		out[name] = page.Drill{ID: d.ID, Title: d.Name, Text: d.How}
	}
	return out
}
