package store

import (
	"context"
)

// ClipLine is one clip of a list, with whose it is and what counts of it.
type ClipLine struct {
	SHA256, File     string
	Shot, ShotSource string // day, YYYY-MM-DD, and how it is known
	HitterID, Hitter string // "" = nobody's
	Analysis         string // id of the one that counts; "" = none
	Folder           string // where its files were written
	Created          string // RFC 3339, UTC
	Bats, View       string // of the first swing; "" = no swing
	Swings           int
	First            string // title of the first to work on in the first swing; "" = nothing
}

const clipLines = `SELECT c.sha256, c.file, c.shot, c.shot_source, COALESCE(h.id, ''), COALESCE(h.name, ''),
	COALESCE(a.id, ''), COALESCE(a.folder, ''), COALESCE(a.created, ''), COALESCE(s.bats, ''), COALESCE(s.view, ''),
	(SELECT COUNT(*) FROM swings n WHERE n.analysis = a.id),
	COALESCE((SELECT MIN(f.title) FROM findings f WHERE f.analysis = a.id AND f.swing = s.swing AND f.priority = 1), '')
	FROM clips c LEFT JOIN hitters h ON h.id = c.hitter_id LEFT JOIN analyses a ON a.clip = c.sha256 AND a.current = 1
	LEFT JOIN swings s ON s.analysis = a.id AND s.swing = (SELECT MIN(n.swing) FROM swings n WHERE n.analysis = a.id)`

// Clips lists clips, those filmed last first, of one hitter or (hitterID "") of all.
// more tells whether there are further ones. q may be nil.
func (r *Records) Clips(ctx context.Context, q Querier, hitterID string, limit, offset int) (_ []ClipLine, more bool, err error) {
	out := []ClipLine{}
	err = r.or(q).Query(ctx, func(scan func(...any) error) error {
		l, err := scanClip(scan)
		out = append(out, l)
		return err
	}, clipLines+` WHERE $1 = '' OR c.hitter_id = $1 ORDER BY c.shot DESC, c.added DESC, c.file, c.sha256 LIMIT $2 OFFSET $3`, hitterID, limit+1, offset)
	if len(out) > limit {
		out, more = out[:limit], true
	}
	return out, more, r.failed("store.Clips", "the clips cannot be read", err)
}

// Clip returns one clip; false when it is not there. q may be nil.
func (r *Records) Clip(ctx context.Context, q Querier, sha256 string) (ClipLine, bool, error) {
	var l ClipLine
	found := false
	err := r.or(q).Query(ctx, func(scan func(...any) error) (err error) {
		found = true
		l, err = scanClip(scan)
		return err
	}, clipLines+` WHERE c.sha256 = $1`, sha256)
	return l, found, r.failed("store.Clip", "the clip cannot be read", err)
}

func scanClip(scan func(...any) error) (ClipLine, error) {
	var l ClipLine
	var n int64
	err := scan(&l.SHA256, &l.File, &l.Shot, &l.ShotSource, &l.HitterID, &l.Hitter, &l.Analysis, &l.Folder, &l.Created, &l.Bats, &l.View, &n, &l.First)
	l.Swings = int(n)
	return l, err
}
