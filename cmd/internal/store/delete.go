package store

import (
	"context"

	"plantframe/pipeline/swing"
)

// Removed says what a deletion took out of the records, so that the files can
// follow.
type Removed struct {
	Hitter  Hitter
	Clips   []string // checksums
	Files   []string // base names, one per clip
	Folders []string // of results, without repetition; the files in them are still there
}

// DeleteHitter removes a hitter with all clips, analyses, measures, findings and
// pictures. In an SQLite file the bytes are overwritten, and the log of changes
// is cut. The folders it returns are left to the caller. With a q of the
// caller's, call Compact after the commit.
func (r *Records) DeleteHitter(ctx context.Context, q Querier, hitterID string) (Removed, error) {
	const op, msg = "store.DeleteHitter", "the hitter cannot be deleted"
	var out Removed
	if q != nil {
		out, err := r.deleteHitter(ctx, q, hitterID)
		return out, r.failed(op, msg, err)
	}
	err := r.In(ctx, func(q Querier) (err error) {
		out, err = r.deleteHitter(ctx, q, hitterID)
		return err
	})
	if err == nil {
		err = r.Compact(ctx)
	}
	return out, r.failed(op, msg, err)
}

func (r *Records) deleteHitter(ctx context.Context, q Querier, hitterID string) (Removed, error) {
	var out Removed
	h, err := r.FindHitter(ctx, q, hitterID)
	if err != nil {
		return out, err
	}
	if h.ID != hitterID { // somebody's name that looks like an id
		return out, &swing.Error{Op: "store.DeleteHitter", Frame: -1, Kind: swing.KindMissing, Msg: "there is no such hitter"}
	}
	out.Hitter = h
	err = q.Query(ctx, func(scan func(...any) error) error {
		var sha, file string
		err := scan(&sha, &file)
		out.Clips, out.Files = append(out.Clips, sha), append(out.Files, file)
		return err
	}, `SELECT sha256, file FROM clips WHERE hitter_id = $1 ORDER BY shot, sha256`, hitterID)
	if err != nil {
		return out, err
	}
	err = q.Query(ctx, func(scan func(...any) error) error {
		var folder string
		err := scan(&folder)
		out.Folders = append(out.Folders, folder)
		return err
	}, `SELECT DISTINCT a.folder FROM analyses a JOIN clips c ON c.sha256 = a.clip WHERE c.hitter_id = $1 AND a.folder <> '' ORDER BY a.folder`, hitterID)
	if err != nil {
		return out, err
	}
	// Rows of analyses go with them: every table names its parent.
	_, err = q.Exec(ctx, `DELETE FROM hitters WHERE id = $1`, hitterID)
	return out, err
}

// DeleteClip removes a clip with everything that hangs on it; false when it is not
// there.
func (r *Records) DeleteClip(ctx context.Context, q Querier, sha256 string) (bool, error) {
	n, err := r.or(q).Exec(ctx, `DELETE FROM clips WHERE sha256 = $1`, sha256)
	return n > 0, r.failed("store.DeleteClip", "the clip cannot be deleted", err)
}

// Compact moves the log of changes of an SQLite file into the file and cuts it, so
// that what was deleted is in neither. PostgreSQL does this by itself in time.
func (r *Records) Compact(ctx context.Context) error {
	if r.postgres {
		return nil
	}
	_, err := r.db.ExecContext(ctx, `PRAGMA wal_checkpoint(TRUNCATE)`)
	return r.failed("store.Compact", "the store cannot be tidied", err)
}
