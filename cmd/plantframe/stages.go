package main

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"os"
	"path/filepath"

	"plantframe/cmd/internal/config"
	"plantframe/pipeline"
)

// stagesFile lies beside analysis.json and says by which keys its stages were
// kept: rerun compares them with those of today.
const stagesFile = "stages.json"

// stagesSchema names its form.
const stagesSchema = "plantframe/stages/1"

type stagesDoc struct {
	Schema string              `json:"schema"`
	Stages []pipeline.StageKey `json:"stages"`
}

// drawVersion is raised when pictures, film or report look different for the same
// analysis, so that rerun makes them anew.
const drawVersion = 1

// withDraw adds the key of the pictures, which depend on the measures and not on
// how they are judged.
func withDraw(keys []pipeline.StageKey, s config.Settings) []pipeline.StageKey {
	h := sha256.New()
	for _, k := range keys {
		if k.Stage == "measure" {
			h.Write([]byte(k.Key))
		}
	}
	o := s.Render
	o.FFmpeg, o.Threads, o.Scale = "", 0, 0
	b, _ := json.Marshal(struct {
		Version  int
		Options  any
		Pictures bool
	}{drawVersion, o, !s.NoOverlay})
	h.Write(b)
	return append(keys[:len(keys):len(keys)], pipeline.StageKey{Stage: "draw", Key: hex.EncodeToString(h.Sum(nil))})
}

// writeStages writes the file into a folder.
func writeStages(dir string, keys []pipeline.StageKey) error {
	return writeWhole(filepath.Join(dir, stagesFile), func(f *os.File) error {
		enc := json.NewEncoder(f)
		enc.SetIndent("", " ")
		return enc.Encode(stagesDoc{stagesSchema, keys})
	})
}

// readStages reads it; nil when it is not there or of another form, as with
// results of older versions.
func readStages(dir string) []pipeline.StageKey {
	b, err := os.ReadFile(filepath.Join(dir, stagesFile))
	var d stagesDoc
	if err != nil || json.Unmarshal(b, &d) != nil || d.Schema != stagesSchema {
		return nil
	}
	return d.Stages
}

// Changes that are no stage's.
const (
	unchanged = ""
	unknown   = "all" // nothing is known of how the result was made
)

// firstChange returns the first stage whose key is another one.
func firstChange(before, now []pipeline.StageKey) string {
	if before == nil {
		return unknown
	}
	had := map[string]string{}
	for _, k := range before {
		had[k.Stage] = k.Key
	}
	for _, k := range now {
		if had[k.Stage] != k.Key {
			return k.Stage
		}
		delete(had, k.Stage)
	}
	for _, k := range before {
		if _, left := had[k.Stage]; left { // a stage that is no longer wanted, such as judging
			return k.Stage
		}
	}
	return unchanged
}
