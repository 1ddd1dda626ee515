package web

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"strings"
	"time"
)

// tables are made by New, in the database of the records; the statements are the same
// for both kinds. What belongs to a hitter goes with the hitter.
const tables = `
CREATE TABLE IF NOT EXISTS web_keys (
    name  TEXT PRIMARY KEY,
    value TEXT NOT NULL
);
CREATE TABLE IF NOT EXISTS web_sessions (
    hash    TEXT PRIMARY KEY,
    name    TEXT NOT NULL,
    mark    TEXT NOT NULL,
    expires TEXT NOT NULL
);
CREATE TABLE IF NOT EXISTS web_links (
    id        TEXT PRIMARY KEY,
    hitter_id TEXT NOT NULL REFERENCES hitters (id) ON DELETE CASCADE,
    made_by   TEXT NOT NULL,
    created   TEXT NOT NULL,
    expires   TEXT NOT NULL,
    revoked   BIGINT NOT NULL
);
CREATE TABLE IF NOT EXISTS web_uploads (
    id        TEXT PRIMARY KEY,
    name      TEXT NOT NULL,
    hitter_id TEXT NOT NULL REFERENCES hitters (id) ON DELETE CASCADE,
    size      BIGINT NOT NULL,
    modified  BIGINT NOT NULL,
    state     TEXT NOT NULL,
    note      TEXT NOT NULL,
    sha256    TEXT NOT NULL,
    path      TEXT NOT NULL,
    job       BIGINT NOT NULL,
    created   TEXT NOT NULL,
    changed   TEXT NOT NULL
);
CREATE INDEX IF NOT EXISTS web_uploads_by_time ON web_uploads (created);
CREATE INDEX IF NOT EXISTS web_uploads_of_clip ON web_uploads (sha256)
`

// createTables makes the tables and the key that links are signed with.
func (s *Server) createTables(ctx context.Context) error {
	for stmt := range strings.SplitSeq(tables, ";") {
		if _, err := s.db.Exec(ctx, stmt); err != nil {
			// Two processes that begin at the same moment: the other one made it.
			if _, again := s.db.Exec(ctx, stmt); again != nil {
				return fmt.Errorf("web.New: %w", err)
			}
		}
	}
	if _, err := s.db.Exec(ctx, `INSERT INTO web_keys (name, value) VALUES ('links', $1) ON CONFLICT (name) DO NOTHING`, random(32)); err != nil {
		return fmt.Errorf("web.New: %w", err)
	}
	var key string
	if _, err := s.one(ctx, []any{&key}, `SELECT value FROM web_keys WHERE name = 'links'`); err != nil {
		return fmt.Errorf("web.New: %w", err)
	}
	b, err := hex.DecodeString(key)
	if err != nil || len(b) < 32 {
		return fmt.Errorf("web.New: the key of the links in the store is damaged")
	}
	s.key = b
	return nil
}

// one reads at most one row and tells whether there was one.
func (s *Server) one(ctx context.Context, dest []any, query string, args ...any) (found bool, err error) {
	err = s.db.Query(ctx, func(scan func(...any) error) error {
		found = true
		return scan(dest...)
	}, query, args...)
	return found, err
}

// random returns n random bytes in hex.
func random(n int) string {
	b := make([]byte, n)
	_, _ = rand.Read(b) // never fails
	return hex.EncodeToString(b)
}

// stamp writes a time as the tables hold it: text that sorts.
func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }
