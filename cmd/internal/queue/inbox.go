package queue

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"
)

// Seen is what is known of one file of a watched folder.
type Seen struct {
	Root, Path string // the folder, absolute; the file below it, slashes
	Size       int64  // bytes
	Time       int64  // of last change, ns since 1970
	SHA256     string // "" when it was not read
	Job        int64  // 0 = none
	Note       string // why there is no job: a sentence; "" with a job
}

// inboxTables are made by Open. The statements are the same for both databases.
const inboxTables = `
CREATE TABLE IF NOT EXISTS inbox (
    root   TEXT NOT NULL,
    path   TEXT NOT NULL,
    size   BIGINT NOT NULL,
    mtime  BIGINT NOT NULL,
    sha256 TEXT NOT NULL,
    job    BIGINT NOT NULL,
    note   TEXT NOT NULL,
    seen   TEXT NOT NULL,
    PRIMARY KEY (root, path)
);
CREATE INDEX IF NOT EXISTS inbox_of_clip ON inbox (sha256);
CREATE TABLE IF NOT EXISTS result_folders (
    out    TEXT NOT NULL,
    name   TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    PRIMARY KEY (out, name)
);
`

func (q *Queue) createInbox(ctx context.Context) error {
	for stmt := range strings.SplitSeq(inboxTables, ";") {
		if strings.TrimSpace(stmt) == "" {
			continue
		}
		if _, err := q.db.ExecContext(ctx, stmt); err != nil {
			// Two processes that begin at the same moment: the other one made it.
			if _, again := q.db.ExecContext(ctx, stmt); again != nil {
				return err
			}
		}
	}
	return nil
}

const seenColumns = `root, path, size, mtime, sha256, job, note`

// Remember notes what became of a file, in place of what was noted before.
func (q *Queue) Remember(ctx context.Context, s Seen) error {
	_, err := q.db.ExecContext(ctx, `INSERT INTO inbox (`+seenColumns+`, seen) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)
ON CONFLICT (root, path) DO UPDATE SET size = excluded.size, mtime = excluded.mtime, sha256 = excluded.sha256,
 job = excluded.job, note = excluded.note, seen = excluded.seen`,
		s.Root, s.Path, s.Size, s.Time, s.SHA256, s.Job, s.Note, time.Now().UTC().Format(time.RFC3339))
	if err != nil {
		return fmt.Errorf("queue.Remember: %w", err)
	}
	return nil
}

// Inbox returns all that is known of a folder, by path.
func (q *Queue) Inbox(ctx context.Context, root string) (map[string]Seen, error) {
	list, err := q.seen(ctx, `SELECT `+seenColumns+` FROM inbox WHERE root = $1`, root)
	out := map[string]Seen{}
	for _, s := range list {
		out[s.Path] = s
	}
	return out, err
}

// SameContent returns the files that had that content, with a job.
func (q *Queue) SameContent(ctx context.Context, sha256 string) ([]Seen, error) {
	return q.seen(ctx, `SELECT `+seenColumns+` FROM inbox WHERE sha256 = $1 AND job > 0 ORDER BY job, root, path`, sha256)
}

func (q *Queue) seen(ctx context.Context, stmt string, args ...any) ([]Seen, error) {
	rows, err := q.db.QueryContext(ctx, stmt, args...)
	if err != nil {
		return nil, fmt.Errorf("queue.Inbox: %w", err)
	}
	defer rows.Close()
	var out []Seen
	for rows.Next() {
		var s Seen
		if err := rows.Scan(&s.Root, &s.Path, &s.Size, &s.Time, &s.SHA256, &s.Job, &s.Note); err != nil {
			return nil, fmt.Errorf("queue.Inbox: %w", err)
		}
		out = append(out, s)
	}
	return out, rows.Err()
}

// Forget removes all that is known of a clip's content: its jobs, the files
// that had it, its folder names. Jobs that run are left, and named.
func (q *Queue) Forget(ctx context.Context, sha256 string) (running []Job, err error) {
	all, err := q.List(ctx, Filter{Keep: func(j Job) bool { return j.Clip.SHA256 == sha256 }})
	if err != nil {
		return nil, err
	}
	for _, j := range all {
		if j.State == Running {
			running = append(running, j)
			continue
		}
		if err := q.Delete(ctx, j.ID); err != nil && !errors.Is(err, ErrNoJob) {
			return running, err
		}
	}
	for _, table := range []string{"inbox", "result_folders"} {
		if _, err := q.db.ExecContext(ctx, `DELETE FROM `+table+` WHERE sha256 = $1`, sha256); err != nil {
			return running, fmt.Errorf("queue.Forget: %w", err)
		}
	}
	return running, nil
}

// Folder gives the results of a clip a folder below out, the same at every
// call: the first name that no other clip has.
func (q *Queue) Folder(ctx context.Context, out, sha256 string, names ...string) (string, error) {
	var had string
	err := q.db.QueryRowContext(ctx, `SELECT name FROM result_folders WHERE out = $1 AND sha256 = $2 ORDER BY name`, out, sha256).Scan(&had)
	for _, name := range names {
		// Some disks do not tell small letters from capitals.
		if err == nil && had == strings.ToLower(name) {
			return name, nil
		}
	}
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return "", fmt.Errorf("queue.Folder: %w", err)
	}
	for _, name := range names {
		_, err := q.db.ExecContext(ctx, `INSERT INTO result_folders (out, name, sha256) VALUES ($1, $2, $3) ON CONFLICT (out, name) DO NOTHING`,
			out, strings.ToLower(name), sha256)
		if err != nil {
			return "", fmt.Errorf("queue.Folder: %w", err)
		}
		var owner string
		if err := q.db.QueryRowContext(ctx, `SELECT sha256 FROM result_folders WHERE out = $1 AND name = $2`, out, strings.ToLower(name)).Scan(&owner); err != nil {
			return "", fmt.Errorf("queue.Folder: %w", err)
		}
		if owner == sha256 {
			return name, nil
		}
	}
	return "", fmt.Errorf("queue.Folder: all of the names %s belong to other clips", strings.Join(names, ", "))
}
