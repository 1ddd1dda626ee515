package queue

import (
	"context"
	"database/sql"
	"errors"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/riverdriver/riversqlite"
	"github.com/riverqueue/river/rivermigrate"
	"github.com/riverqueue/river/rivertype"
	_ "modernc.org/sqlite" // the driver "sqlite"

	"plantframe/pipeline/swing"
)

// jobs is what this package uses of a River client, whatever the database. It
// is satisfied by *river.Client of both drivers.
type jobs interface {
	Start(ctx context.Context) error
	Stop(ctx context.Context) error
	StopAndCancel(ctx context.Context) error
	Stopped() <-chan struct{}
	Insert(ctx context.Context, args river.JobArgs, opts *river.InsertOpts) (*rivertype.JobInsertResult, error)
	JobCancel(ctx context.Context, id int64) (*rivertype.JobRow, error)
	JobRetry(ctx context.Context, id int64) (*rivertype.JobRow, error)
	JobDelete(ctx context.Context, id int64) (*rivertype.JobRow, error)
	JobGet(ctx context.Context, id int64) (*rivertype.JobRow, error)
	JobList(ctx context.Context, params *river.JobListParams) (*river.JobListResult, error)
	JobUpdate(ctx context.Context, id int64, params *river.JobUpdateParams) (*rivertype.JobRow, error)
}

var (
	_ jobs = (*river.Client[pgx.Tx])(nil)
	_ jobs = (*river.Client[*sql.Tx])(nil)
)

// Queue is an open queue. Close it.
type Queue struct {
	o      Options
	log    *slog.Logger
	db     *sql.DB // our own statements and the transactions that end a job
	client jobs    // adds and lists; the one that works is made by Work
	exec   riverdriver.Executor
	// newClient makes a client on the same database.
	newClient func(c *river.Config) (jobs, error)
	// finish runs save and marks the job done in one transaction.
	finish  func(ctx context.Context, job *river.Job[Clip], save func(Tx) error) error
	closers []func() error
}

// Tx is the transaction that ends a job: of database/sql when the queue is a
// file, of pgx when it is a server. The other one is nil.
type Tx struct {
	File   *sql.Tx
	Server pgx.Tx
}

// Open opens the queue of a database and brings its tables up to date. Errors
// are *swing.Error of KindOutput that name the database without its password.
func Open(ctx context.Context, o Options) (_ *Queue, err error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	q := &Queue{o: o, log: o.Log}
	if q.log == nil {
		q.log = slog.New(slog.DiscardHandler)
	}
	defer func() {
		if err == nil {
			return
		}
		_ = q.Close()
		if ctx.Err() == nil {
			err = &swing.Error{
				Op: "queue.Open", Frame: -1, Kind: swing.KindOutput, Err: err,
				Msg:  "the database " + Shown(o.Database) + " cannot be opened",
				Hint: "check the setting database, that the file may be written, or that the server runs",
			}
		}
	}()
	if Server(o.Database) {
		err = q.openServer(ctx)
	} else {
		err = q.openFile(ctx)
	}
	if err == nil {
		err = q.createInbox(ctx)
	}
	return q, err
}

// Server tells whether a database setting names a server and not a file.
func Server(database string) bool {
	return strings.HasPrefix(database, "postgres://") || strings.HasPrefix(database, "postgresql://")
}

// Shown returns a database setting without its password.
func Shown(database string) string {
	if !Server(database) {
		return database
	}
	u, err := url.Parse(database)
	if err != nil {
		return "on the server" // a setting that cannot be read may hold a password anywhere
	}
	return u.Redacted()
}

// openFile opens a SQLite file.
func (q *Queue) openFile(ctx context.Context) error {
	if err := os.MkdirAll(filepath.Dir(q.o.Database), 0o700); err != nil {
		return err
	}
	// Two handles of one connection each: River's background work and our
	// transactions wait for each other in SQLite, not for a connection that
	// the waiting side holds.
	river1, err := q.openSQLite()
	if err != nil {
		return err
	}
	if q.db, err = q.openSQLite(); err != nil {
		return err
	}
	q.finish = func(ctx context.Context, job *river.Job[Clip], save func(Tx) error) error {
		tx, err := q.db.BeginTx(ctx, nil)
		if err != nil {
			return err
		}
		defer func() { _ = tx.Rollback() }() // nothing after a commit
		if err := save(Tx{File: tx}); err != nil {
			return err
		}
		if _, err := river.JobCompleteTx[*riversqlite.Driver](ctx, tx, job); err != nil {
			return err
		}
		return tx.Commit()
	}
	return open(ctx, q, riversqlite.New(river1))
}

// openSQLite opens one handle. WAL lets readers and one writer work at once;
// a busy file is waited for. synchronous stays FULL: a job that was said to be
// done must be so after a power cut too.
func (q *Queue) openSQLite() (*sql.DB, error) {
	abs, err := filepath.Abs(q.o.Database)
	if err != nil {
		return nil, err
	}
	dsn := (&url.URL{Scheme: "file", Path: filepath.ToSlash(abs), RawQuery: url.Values{
		"_pragma": {"busy_timeout(10000)", "journal_mode(WAL)", "synchronous(FULL)", "foreign_keys(1)", "secure_delete(1)"},
		"_txlock": {"immediate"},
	}.Encode()}).String()
	db, err := sql.Open("sqlite", dsn)
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	q.closers = append(q.closers, db.Close)
	return db, nil
}

// openServer opens PostgreSQL.
func (q *Queue) openServer(ctx context.Context) error {
	pool, err := pgxpool.New(ctx, q.o.Database)
	if err != nil {
		return errors.New("the address cannot be read") // pgx repeats it, password included
	}
	q.closers = append(q.closers, func() error { pool.Close(); return nil })
	q.db = stdlib.OpenDBFromPool(pool)
	q.closers = append(q.closers, q.db.Close)
	q.finish = func(ctx context.Context, job *river.Job[Clip], save func(Tx) error) error {
		return pgx.BeginFunc(ctx, pool, func(tx pgx.Tx) error {
			if err := save(Tx{Server: tx}); err != nil {
				return err
			}
			_, err := river.JobCompleteTx[*riverpgxv5.Driver](ctx, tx, job)
			return err
		})
	}
	return open(ctx, q, riverpgxv5.New(pool))
}

// open finishes Open for one driver.
func open[TTx any](ctx context.Context, q *Queue, driver riverdriver.Driver[TTx]) error {
	m, err := rivermigrate.New(driver, &rivermigrate.Config{Logger: quiet(q.log)})
	if err != nil {
		return err
	}
	if _, err := m.Migrate(ctx, rivermigrate.DirectionUp, nil); err != nil {
		// Two processes that start at the same moment both create the tables;
		// the one that comes second finds them there at the second look.
		if _, again := m.Migrate(ctx, rivermigrate.DirectionUp, nil); again != nil {
			return err
		}
	}
	q.exec = driver.GetExecutor()
	q.newClient = func(c *river.Config) (jobs, error) {
		client, err := river.NewClient(driver, c)
		if err != nil {
			return nil, err
		}
		return client, nil
	}
	q.client, err = q.newClient(&river.Config{Logger: quiet(q.log)})
	return err
}

// Close closes the database. A Work that still runs fails.
func (q *Queue) Close() error {
	var all error
	for i := len(q.closers) - 1; i >= 0; i-- {
		all = errors.Join(all, q.closers[i]())
	}
	q.closers = nil
	return all
}

// DB is the database, for what is stored beside the jobs.
func (q *Queue) DB() *sql.DB { return q.db }

// quiet passes on River's warnings and errors alone.
func quiet(l *slog.Logger) *slog.Logger {
	return slog.New(level{l.Handler()})
}

type level struct{ slog.Handler }

func (h level) Enabled(ctx context.Context, l slog.Level) bool {
	return l >= slog.LevelWarn && h.Handler.Enabled(ctx, l)
}

func (h level) WithAttrs(as []slog.Attr) slog.Handler { return level{h.Handler.WithAttrs(as)} }
func (h level) WithGroup(n string) slog.Handler       { return level{h.Handler.WithGroup(n)} }
