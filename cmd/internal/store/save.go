package store

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"strings"
	"time"

	"plantframe/pipeline/swing"
)

// Still is a picture that is kept with an analysis.
type Still struct {
	Swing int // its number in the clip
	Event swing.EventName
	Type  string // media type, such as "image/jpeg"
	Data  []byte
}

// Entry is one analysed clip to be saved.
type Entry struct {
	// Hitter is whose clip it is; the roster learns from its other fields. With an
	// empty name the clip stays whose it was, or nobody's.
	Hitter   Hitter
	Analysis swing.Analysis
	Document []byte // analysis.json as written
	Folder   string // where the files of the clip lie
	// Shot is when it was filmed, in local time; its day counts. ShotSource says
	// how that is known: "user", "folder", "name", "clip" or "file".
	Shot       time.Time
	ShotSource string
	Stills     []Still
}

// AnalysisKey tells analyses of one clip apart: a hash of program version,
// networks and settings, whoever the hitter is.
func AnalysisKey(a swing.Analysis) string {
	options := maps.Clone(a.Options)
	delete(options, "hitter")
	b, err := json.Marshal(struct {
		Tool    string
		Models  []swing.ModelRef
		Options map[string]any
	}{a.ToolVersion, a.Models, options})
	if err != nil { // settings are words and finite numbers
		b = []byte(fmt.Sprint(a.ToolVersion, a.Models))
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// Save stores an analysed clip with its flat rows and returns the analysis' id.
// It becomes the one of the clip that counts; earlier analyses of it with other
// settings are kept. Saving the same again changes nothing. q may be nil: then
// Save has a transaction of its own; a given q should be one, and the caller
// commits it. Errors are *swing.Error.
func (r *Records) Save(ctx context.Context, q Querier, e Entry) (id string, err error) {
	const op = "store.Save"
	if e.Analysis.Clip.SHA256 == "" {
		return "", &swing.Error{Op: op, Clip: e.Analysis.Clip.Path, Frame: -1, Kind: swing.KindInternal, Msg: "the clip has no checksum"}
	}
	if q == nil {
		err = r.In(ctx, func(q Querier) error {
			id, err = r.save(ctx, q, e)
			return err
		})
	} else {
		id, err = r.save(ctx, q, e)
	}
	return id, r.failed(op, "the analysis cannot be stored", err)
}

func (r *Records) save(ctx context.Context, q Querier, e Entry) (string, error) {
	a := e.Analysis
	var owner *string
	if CleanName(e.Hitter.Name) != "" {
		h, err := r.SetHitter(ctx, q, e.Hitter)
		if err != nil {
			return "", err
		}
		owner = &h.ID
	}
	if e.Shot.IsZero() {
		e.Shot, e.ShotSource = time.Now(), "file"
	}
	file := a.Clip.Path[strings.LastIndexAny(a.Clip.Path, `/\`)+1:]
	// A day that the user told is not changed by one that was guessed.
	_, err := q.Exec(ctx, `INSERT INTO clips (sha256, file, hitter_id, shot, shot_source, added) VALUES ($1, $2, $3, $4, $5, $6)
		ON CONFLICT (sha256) DO UPDATE SET file = excluded.file, hitter_id = COALESCE(excluded.hitter_id, clips.hitter_id),
			shot = CASE WHEN clips.shot_source = 'user' AND excluded.shot_source <> 'user' THEN clips.shot ELSE excluded.shot END,
			shot_source = CASE WHEN clips.shot_source = 'user' THEN 'user' ELSE excluded.shot_source END`,
		a.Clip.SHA256, clean(file), owner, e.Shot.Format(time.DateOnly), e.ShotSource, stamp(time.Now()))
	if err != nil {
		return "", err
	}
	document, err := pack(e.Document)
	if err != nil {
		return "", err
	}
	key := AnalysisKey(a)
	sum := sha256.Sum256([]byte(a.Clip.SHA256 + "\x00" + key))
	id := hex.EncodeToString(sum[:16])
	for _, stmt := range []struct {
		text string
		args []any
	}{
		{`DELETE FROM analyses WHERE id = $1`, []any{id}}, // its rows go with it
		{`UPDATE analyses SET current = 0 WHERE clip = $1`, []any{a.Clip.SHA256}},
		{
			`INSERT INTO analyses (id, clip, key, current, tool, folder, created, document) VALUES ($1, $2, $3, 1, $4, $5, $6, $7)`,
			[]any{id, a.Clip.SHA256, key, clean(a.ToolVersion), clean(e.Folder), stamp(time.Now()), document},
		},
	} {
		if _, err := q.Exec(ctx, stmt.text, stmt.args...); err != nil {
			return "", err
		}
	}
	return id, saveRows(ctx, q, id, e)
}

// saveRows stores swings, measures, findings and stills.
func saveRows(ctx context.Context, q Querier, id string, e Entry) error {
	var swings, measures, findings, stills [][]any
	for _, s := range e.Analysis.Swings {
		var at, sigma *float64
		if p, ok := s.Events[swing.Plant]; ok {
			at, sigma = &p.Time, &p.Sigma
		}
		swings = append(swings, []any{id, s.Index, string(s.Bats), string(s.View), at, sigma})
		for _, m := range s.Measures {
			value, sd := m.Value, m.Sigma
			if m.Status == swing.NotMeasurable {
				value, sd = nil, nil
			}
			measures = append(measures, []any{id, s.Index, m.ID, string(m.Event), value, m.Unit, sd, string(m.Status), clean(m.Reason)})
		}
		for i, f := range s.Findings {
			drills, err := json.Marshal(f.Drills)
			if err != nil {
				return err
			}
			good := 0
			if f.Good {
				good = 1
			}
			findings = append(findings, []any{
				id, s.Index, i, f.ID, f.Measure, string(f.Event), string(f.Status), f.Severity, f.Priority, good,
				clean(f.Title), clean(f.Text), clean(f.Why), clean(f.Cue), clean(string(drills)), f.Lo, f.Hi, clean(f.Origin),
			})
		}
	}
	for _, p := range e.Stills {
		stills = append(stills, []any{id, p.Swing, string(p.Event), p.Type, p.Data})
	}
	for _, t := range []struct {
		table, columns string
		rows           [][]any
	}{
		{"swings", "analysis swing bats view plant_s plant_sigma_s", swings},
		{"measures", "analysis swing measure event value unit sigma status reason", measures},
		{"findings", "analysis swing place id measure event status severity priority good title text why cue drills lo hi origin", findings},
		{"stills", "analysis swing event type data", stills},
	} {
		if err := insert(ctx, q, t.table, strings.Fields(t.columns), t.rows); err != nil {
			return err
		}
	}
	return nil
}

// clean makes a text fit for both databases: PostgreSQL takes neither broken
// UTF-8 nor a zero.
func clean(s string) string { return strings.ReplaceAll(strings.ToValidUTF8(s, "\uFFFD"), "\x00", "") }

// pack compresses a document: body points as text shrink to a fifth.
func pack(b []byte) ([]byte, error) {
	var out bytes.Buffer
	w := gzip.NewWriter(&out)
	if _, err := w.Write(b); err != nil {
		return nil, err
	}
	err := w.Close()
	return out.Bytes(), err
}

func unpack(b []byte) ([]byte, error) {
	r, err := gzip.NewReader(bytes.NewReader(b))
	if err != nil {
		return nil, err
	}
	return io.ReadAll(r)
}
