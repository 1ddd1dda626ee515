package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	_ "github.com/jackc/pgx/v5/stdlib" // database/sql driver "pgx"
	"github.com/pressly/goose/v3"
	_ "modernc.org/sqlite" // database/sql driver "sqlite"

	"plantframe/pipeline/swing"
)

//go:embed migrations/*.sql
var migrations embed.FS

// Records is the memory of an academy: who the hitters are, which clips are
// theirs, and what was measured and found in them. Safe for concurrent use.
type Records struct {
	db       *sql.DB
	postgres bool
	place    string // for messages: a path, or a URL without its password
}

// busy is how long a writer of the SQLite file waits for another, ms: the
// longest transaction, saving a clip, takes a few ms.
const busy = 10_000

// migrateTries bounds how often Open tries again when another process prepares
// the same database at the same moment; each try waits migratePause longer.
const (
	migrateTries = 20
	migratePause = 25 * time.Millisecond
)

// IsPostgres tells whether a store setting names a PostgreSQL database.
func IsPostgres(where string) bool {
	return strings.HasPrefix(where, "postgres://") || strings.HasPrefix(where, "postgresql://")
}

// Open opens the records and creates or updates their tables. where is a URL
// postgres://USER@HOST/DATABASE, or the path of an SQLite file, which is created
// readable by the user alone: clips may show minors. An SQLite file may be used
// by several processes of one machine, not over a network share. Errors are
// *swing.Error of KindUsage or KindOutput.
func Open(ctx context.Context, where string) (*Records, error) {
	r := &Records{postgres: IsPostgres(where), place: where}
	var err error
	if r.postgres {
		u, perr := url.Parse(where)
		if perr != nil { // its text may hold the password
			return nil, &swing.Error{
				Op: "store.Open", Frame: -1, Kind: swing.KindUsage, Msg: "the address of the PostgreSQL store is not valid",
				Hint: "write it like postgres://user@host:5432/plantframe, with % codes for special signs in a password",
			}
		}
		r.place = u.Redacted()
		r.db, err = sql.Open("pgx", where)
	} else {
		r.db, err = openFile(where)
	}
	if err == nil {
		err = r.db.PingContext(ctx)
	}
	if err == nil {
		err = r.migrate(ctx)
	}
	if err != nil {
		if r.db != nil {
			_ = r.db.Close()
		}
		return nil, r.failed("store.Open", "the store cannot be opened", err)
	}
	return r, nil
}

// openFile opens an SQLite file. One connection: the driver allows one writer at
// a time, and waiting in the program is fairer than in the file's lock.
func openFile(path string) (*sql.DB, error) {
	if path == "" {
		return nil, errors.New("no file was named")
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return nil, err
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	if err := f.Close(); err != nil {
		return nil, err
	}
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	q := url.Values{"_txlock": {"immediate"}, "_pragma": {
		fmt.Sprintf("busy_timeout(%d)", busy), // first: the others may have to wait
		"journal_mode(WAL)",
		"synchronous(FULL)", // what was said to be stored survives a power cut
		"foreign_keys(1)",
		"secure_delete(1)", // a deleted hitter is overwritten, not only unlinked
	}}
	u := url.URL{Scheme: "file", OmitHost: true, Path: filepath.ToSlash(abs), RawQuery: q.Encode()}
	db, err := sql.Open("sqlite", u.String())
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	return db, nil
}

// migrate brings the tables to the present version.
func (r *Records) migrate(ctx context.Context) error {
	dir, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}
	dialect := goose.DialectSQLite3
	if r.postgres {
		dialect = goose.DialectPostgres
	}
	p, err := goose.NewProvider(dialect, r.db, dir, goose.WithTableName("plantframe_version"))
	if err != nil {
		return err
	}
	// Two processes that start together both find no tables; the slower one
	// fails to create what is there by then, looks again and is content.
	for try := 1; ; try++ {
		if _, err = p.Up(ctx); err == nil || try == migrateTries || ctx.Err() != nil {
			break
		}
		time.Sleep(time.Duration(try) * migratePause)
	}
	if err != nil {
		return err
	}
	have, known, err := p.GetVersions(ctx)
	if err == nil && have > known {
		err = fmt.Errorf("it was written by a newer version of the program (tables %d, this one knows %d)", have, known)
	}
	return err
}

// DB returns the database, for transactions and for services that keep tables of
// their own in it. An SQLite file has one connection: what holds a transaction
// must not ask for a second one.
func (r *Records) DB() *sql.DB { return r.db }

// Postgres tells which kind of database it is.
func (r *Records) Postgres() bool { return r.postgres }

// Place returns where the records lie, without a password.
func (r *Records) Place() string { return r.place }

// Close closes the database.
func (r *Records) Close() error { return r.db.Close() }

// In runs f in a transaction and commits it when f returns nil.
func (r *Records) In(ctx context.Context, f func(q Querier) error) error {
	tx, err := r.db.BeginTx(ctx, nil)
	if err != nil {
		return r.failed("store", "the store cannot be changed", err)
	}
	defer func() { _ = tx.Rollback() }() // nothing after a commit
	if err := f(SQL(tx)); err != nil {
		return err
	}
	if err := tx.Commit(); err != nil {
		return r.failed("store", "the store cannot be changed", err)
	}
	return nil
}

// failed wraps an error of the database. One that is wrapped already stays.
func (r *Records) failed(op, msg string, err error) error {
	if err == nil {
		return nil
	}
	if e, ok := swing.AsError(err); ok {
		return e
	}
	hint := "check that the folder of the file is writable and the disk is not full; the setting store names another place, or none"
	if r.postgres {
		hint = "check that the database server runs and lets you in; the setting store names another place, or none"
	}
	return &swing.Error{Op: op, Clip: r.place, Frame: -1, Kind: swing.KindOutput, Msg: msg, Hint: hint, Err: brief{err}}
}

// brief is an error that says what it comes down to and keeps the rest for programs.
type brief struct{ err error }

func (b brief) Error() string { return cause(b.err) }
func (b brief) Unwrap() error { return b.err }

// cause is what an error comes down to, in one line: "connection refused" rather than
// how the driver came to it.
func cause(err error) string {
	for {
		var next error
		switch e := err.(type) { //nolint:errorlint // each layer in turn
		case interface{ Unwrap() error }:
			next = e.Unwrap()
		case interface{ Unwrap() []error }:
			if all := e.Unwrap(); len(all) > 0 {
				next = all[0]
			}
		}
		if next == nil {
			line, _, _ := strings.Cut(err.Error(), "\n")
			return line
		}
		err = next
	}
}
