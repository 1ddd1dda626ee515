package store

import (
	"context"
	"encoding/json"
	"fmt"

	"plantframe/pipeline/swing"
)

// ClipRecord is one clip with the analysis of it that counts.
type ClipRecord struct {
	SHA256, File     string
	Shot, ShotSource string // day, YYYY-MM-DD, and how it is known
	Analysis         string // id
	Folder           string // where its files were written
	Created          string // RFC 3339, UTC
	Swings           []SwingRecord
}

// SwingRecord holds the flat rows of one swing. Frames of measures are not kept.
type SwingRecord struct {
	Index    int
	Bats     swing.Bats
	View     swing.View
	Plant    *float64 // s in the clip; nil = not found
	Measures []swing.Measure
	Findings []swing.Finding // in the order of the analysis
}

// History returns the clips of a hitter in the order in which they were filmed,
// with measures and findings; clips without a swing too. q may be nil.
func (r *Records) History(ctx context.Context, q Querier, hitterID string) ([]ClipRecord, error) {
	q = r.or(q)
	out, err := history(ctx, q, hitterID)
	return out, r.failed("store.History", "the history cannot be read", err)
}

func history(ctx context.Context, q Querier, hitterID string) ([]ClipRecord, error) {
	var out []ClipRecord
	byID := map[string]int{}
	const from = ` FROM clips c JOIN analyses a ON a.clip = c.sha256 AND a.current = 1`
	err := q.Query(ctx, func(scan func(...any) error) error {
		var c ClipRecord
		if err := scan(&c.SHA256, &c.File, &c.Shot, &c.ShotSource, &c.Analysis, &c.Folder, &c.Created); err != nil {
			return err
		}
		byID[c.Analysis] = len(out)
		out = append(out, c)
		return nil
	}, `SELECT c.sha256, c.file, c.shot, c.shot_source, a.id, a.folder, a.created`+from+` WHERE c.hitter_id = $1 ORDER BY c.shot, c.added, c.file, c.sha256`, hitterID)
	if err != nil {
		return nil, err
	}
	at := map[string]map[int]int{} // analysis, swing -> index in its Swings
	err = q.Query(ctx, func(scan func(...any) error) error {
		var id, bats, view string
		var n int64
		var s SwingRecord
		if err := scan(&id, &n, &bats, &view, &s.Plant); err != nil {
			return err
		}
		s.Index, s.Bats, s.View = int(n), swing.Bats(bats), swing.View(view)
		c := &out[byID[id]]
		if at[id] == nil {
			at[id] = map[int]int{}
		}
		at[id][s.Index] = len(c.Swings)
		c.Swings = append(c.Swings, s)
		return nil
	}, `SELECT s.analysis, s.swing, s.bats, s.view, s.plant_s`+from+` JOIN swings s ON s.analysis = a.id WHERE c.hitter_id = $1 ORDER BY s.analysis, s.swing`, hitterID)
	if err != nil {
		return nil, err
	}
	of := func(id string, n int64) (*SwingRecord, error) {
		k, ok := at[id][int(n)]
		if !ok {
			return nil, fmt.Errorf("rows of swing %d of analysis %s have no swing", n, id)
		}
		return &out[byID[id]].Swings[k], nil
	}
	err = q.Query(ctx, func(scan func(...any) error) error {
		var id, event, status string
		var n int64
		var m swing.Measure
		if err := scan(&id, &n, &m.ID, &event, &m.Value, &m.Unit, &m.Sigma, &status, &m.Reason); err != nil {
			return err
		}
		m.Event, m.Status = swing.EventName(event), swing.Status(status)
		s, err := of(id, n)
		if err == nil {
			s.Measures = append(s.Measures, m)
		}
		return err
	}, `SELECT m.analysis, m.swing, m.measure, m.event, m.value, m.unit, m.sigma, m.status, m.reason`+from+`
		JOIN measures m ON m.analysis = a.id WHERE c.hitter_id = $1 ORDER BY m.analysis, m.swing, m.measure, m.event`, hitterID)
	if err != nil {
		return nil, err
	}
	err = q.Query(ctx, func(scan func(...any) error) error {
		var id, event, status, drills string
		var n, priority, good int64
		var f swing.Finding
		err := scan(&id, &n, &f.ID, &f.Measure, &event, &status, &f.Severity, &priority, &good, &f.Title, &f.Text, &f.Why, &f.Cue, &drills, &f.Lo, &f.Hi, &f.Origin)
		if err == nil {
			err = json.Unmarshal([]byte(drills), &f.Drills)
		}
		if err != nil {
			return err
		}
		f.Event, f.Status, f.Priority, f.Good = swing.EventName(event), swing.FindingStatus(status), int(priority), good != 0
		s, err := of(id, n)
		if err == nil {
			s.Findings = append(s.Findings, f)
		}
		return err
	}, `SELECT f.analysis, f.swing, f.id, f.measure, f.event, f.status, f.severity, f.priority, f.good, f.title, f.text, f.why, f.cue, f.drills, f.lo, f.hi, f.origin`+from+`
		JOIN findings f ON f.analysis = a.id WHERE c.hitter_id = $1 ORDER BY f.analysis, f.swing, f.place`, hitterID)
	return out, err
}

// Still returns a picture of an analysis; false when there is none.
func (r *Records) Still(ctx context.Context, q Querier, analysis string, number int, e swing.EventName) (Still, bool, error) {
	s := Still{Swing: number, Event: e}
	found, err := one(ctx, r.or(q), []any{&s.Type, &s.Data}, `SELECT type, data FROM stills WHERE analysis = $1 AND swing = $2 AND event = $3`, analysis, number, string(e))
	return s, found, r.failed("store.Still", "a picture cannot be read", err)
}

// Document returns the analysis.json of an analysis; false when there is none.
func (r *Records) Document(ctx context.Context, q Querier, analysis string) ([]byte, bool, error) {
	var b []byte
	found, err := one(ctx, r.or(q), []any{&b}, `SELECT document FROM analyses WHERE id = $1`, analysis)
	if err == nil && found {
		b, err = unpack(b)
	}
	return b, found, r.failed("store.Document", "the analysis cannot be read", err)
}

// Version is one analysis of a clip.
type Version struct {
	ID, Key, Tool, Folder, Created string
	Current                        bool
}

// Versions lists the analyses of a clip, the latest first. q may be nil.
func (r *Records) Versions(ctx context.Context, q Querier, clip string) ([]Version, error) {
	out := []Version{}
	err := r.or(q).Query(ctx, func(scan func(...any) error) error {
		var v Version
		var current int64
		err := scan(&v.ID, &v.Key, &v.Tool, &v.Folder, &v.Created, &current)
		v.Current = current == 1
		out = append(out, v)
		return err
	}, `SELECT id, key, tool, folder, created, current FROM analyses WHERE clip = $1 ORDER BY created DESC, current DESC, id`, clip)
	return out, r.failed("store.Versions", "the analyses cannot be read", err)
}

// Choose makes an analysis the one of its clip that counts: back to the old one
// after a new network did not please. False when there is none of that id.
func (r *Records) Choose(ctx context.Context, q Querier, analysis string) (bool, error) {
	n, err := r.or(q).Exec(ctx, `UPDATE analyses SET current = CASE WHEN id = $1 THEN 1 ELSE 0 END
		WHERE clip = (SELECT clip FROM analyses WHERE id = $1)`, analysis)
	return n > 0, r.failed("store.Choose", "the analysis cannot be chosen", err)
}

// Assign makes a clip a hitter's; id "" makes it nobody's. False when the clip is
// not there.
func (r *Records) Assign(ctx context.Context, q Querier, clip, hitterID string) (bool, error) {
	var owner *string
	if hitterID != "" {
		owner = &hitterID
	}
	n, err := r.or(q).Exec(ctx, `UPDATE clips SET hitter_id = $2 WHERE sha256 = $1`, clip, owner)
	return n > 0, r.failed("store.Assign", "the clip cannot be assigned", err)
}
