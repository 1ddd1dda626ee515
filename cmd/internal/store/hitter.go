package store

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"

	"plantframe/pipeline/swing"
)

// Hitter is one person of the roster.
type Hitter struct {
	ID      string     `json:"id"` // random, 16 hex digits
	Name    string     `json:"name"`
	Bats    swing.Bats `json:"bats"`     // "" = not told
	HeightM float64    `json:"height_m"` // m; 0 = not told
	Level   string     `json:"level"`    // youth, high-school, adult or ""
	Sport   string     `json:"sport"`    // baseball, softball or ""
	// Adult is told by somebody; everybody else is treated as a minor.
	Adult bool `json:"adult"`
	// Clips, Swings and LastShot (a day, YYYY-MM-DD) are filled when read.
	Clips    int    `json:"clips"`
	Swings   int    `json:"swings"`
	LastShot string `json:"last_shot"`
}

// longestName bounds a hitter's name, characters.
const longestName = 80

// CleanName returns a name as it is stored: printable characters, single spaces,
// at most 80 characters. It is empty when nothing is left.
func CleanName(name string) string {
	name = strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) {
			return ' '
		}
		if !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, strings.ToValidUTF8(name, ""))
	name = strings.Join(strings.Fields(name), " ")
	if rs := []rune(name); len(rs) > longestName {
		name = strings.TrimSpace(string(rs[:longestName]))
	}
	return name
}

// nameKey makes names that people take for the same one equal.
func nameKey(name string) string { return strings.ToLower(CleanName(name)) }

// SetHitter adds a hitter or, when the name is there, changes what h says: empty
// fields leave the old value. It returns the stored hitter.
func (r *Records) SetHitter(ctx context.Context, q Querier, h Hitter) (Hitter, error) {
	const op = "store.SetHitter"
	q = r.or(q)
	h.Name = CleanName(h.Name)
	if h.Name == "" {
		return h, &swing.Error{Op: op, Frame: -1, Kind: swing.KindUsage, Msg: "a hitter needs a name", Hint: "any name of your choice will do"}
	}
	id := make([]byte, 8)
	_, _ = rand.Read(id) // never fails
	var height *float64
	if h.HeightM > 0 {
		height = &h.HeightM
	}
	minor := 1
	if h.Adult {
		minor = 0
	}
	_, err := q.Exec(ctx, `INSERT INTO hitters (id, name, name_key, bats, height_m, level, sport, minor, created)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
		ON CONFLICT (name_key) DO UPDATE SET
			bats = CASE WHEN excluded.bats = '' THEN hitters.bats ELSE excluded.bats END,
			height_m = COALESCE(excluded.height_m, hitters.height_m),
			level = CASE WHEN excluded.level = '' THEN hitters.level ELSE excluded.level END,
			sport = CASE WHEN excluded.sport = '' THEN hitters.sport ELSE excluded.sport END,
			minor = CASE WHEN excluded.minor = 0 THEN 0 ELSE hitters.minor END`,
		hex.EncodeToString(id), h.Name, nameKey(h.Name), string(h.Bats), height, h.Level, h.Sport, minor, stamp(time.Now()))
	if err != nil {
		return h, r.failed(op, "the hitter cannot be stored", err)
	}
	return r.FindHitter(ctx, q, h.Name)
}

// hitterRows reads hitters with the numbers of their clips and swings.
const hitterRows = `SELECT h.id, h.name, h.bats, h.height_m, h.level, h.sport, h.minor,
	(SELECT COUNT(*) FROM clips c WHERE c.hitter_id = h.id),
	(SELECT COUNT(*) FROM swings s JOIN analyses a ON a.id = s.analysis JOIN clips c ON c.sha256 = a.clip WHERE c.hitter_id = h.id AND a.current = 1),
	(SELECT COALESCE(MAX(c.shot), '') FROM clips c WHERE c.hitter_id = h.id)
	FROM hitters h`

func scanHitter(scan func(...any) error) (Hitter, error) {
	var h Hitter
	var bats string
	var height *float64
	var minor, clips, swings int64
	err := scan(&h.ID, &h.Name, &bats, &height, &h.Level, &h.Sport, &minor, &clips, &swings, &h.LastShot)
	h.Bats, h.Adult, h.Clips, h.Swings = swing.Bats(bats), minor == 0, int(clips), int(swings)
	if height != nil {
		h.HeightM = *height
	}
	return h, err
}

// Hitters lists the roster by name. q may be nil: the database itself.
func (r *Records) Hitters(ctx context.Context, q Querier) ([]Hitter, error) {
	out := []Hitter{}
	err := r.or(q).Query(ctx, func(scan func(...any) error) error {
		h, err := scanHitter(scan)
		out = append(out, h)
		return err
	}, hitterRows+` ORDER BY h.name_key`)
	return out, r.failed("store.Hitters", "the roster cannot be read", err)
}

// FindHitter returns the hitter of a name (capitals and spaces do not matter) or
// of an id. The error is a *swing.Error of KindMissing, with a guess at what was
// meant, when there is none.
func (r *Records) FindHitter(ctx context.Context, q Querier, name string) (Hitter, error) {
	const op = "store.FindHitter"
	q = r.or(q)
	var out Hitter
	found := false
	err := q.Query(ctx, func(scan func(...any) error) (err error) {
		found = true
		out, err = scanHitter(scan)
		return err
	}, hitterRows+` WHERE h.name_key = $1 OR h.id = $2 ORDER BY CASE WHEN h.name_key = $1 THEN 1 ELSE 0 END`, nameKey(name), name)
	if err != nil {
		return out, r.failed(op, "the roster cannot be read", err)
	}
	if found {
		return out, nil
	}
	all, err := r.Hitters(ctx, q)
	if err != nil {
		return out, err
	}
	hint := "nobody is in the store yet: analyse clips with --hitter NAME first"
	if len(all) > 0 {
		hint = "plantframe roster lists the names"
		if near := nearest(all, name); near != "" {
			hint = "did you mean " + near + "? " + hint
		}
	}
	return out, &swing.Error{Op: op, Frame: -1, Kind: swing.KindMissing, Msg: fmt.Sprintf("there is no hitter named %q", CleanName(name)), Hint: hint}
}

// nearest returns the one name that holds, or is held by, what was typed.
func nearest(all []Hitter, name string) string {
	key := nameKey(name)
	i := slices.IndexFunc(all, func(h Hitter) bool {
		k := nameKey(h.Name)
		return key != "" && (strings.Contains(k, key) || strings.Contains(key, k))
	})
	if i < 0 {
		return ""
	}
	return all[i].Name
}

// or returns the database itself for a nil Querier.
func (r *Records) or(q Querier) Querier {
	if q == nil {
		return SQL(r.db)
	}
	return q
}

// stamp writes a time as the tables hold it.
func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }
