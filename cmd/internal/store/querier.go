package store

import (
	"context"
	"database/sql"
	"fmt"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// Querier runs statements: on the database, or in somebody's transaction, so
// that a result and the end of its job are stored together or not at all.
// Placeholders are $1, $2, ... for both kinds of database.
type Querier interface {
	// Exec returns how many rows were changed.
	Exec(ctx context.Context, query string, args ...any) (int64, error)
	// Query calls row for each row; scan works as that of database/sql.
	Query(ctx context.Context, row func(scan func(...any) error) error, query string, args ...any) error
}

// SQL makes a Querier of a *sql.DB, *sql.Tx or *sql.Conn.
func SQL(q interface {
	ExecContext(context.Context, string, ...any) (sql.Result, error)
	QueryContext(context.Context, string, ...any) (*sql.Rows, error)
},
) Querier {
	return sqlQuerier{q}
}

type sqlQuerier struct {
	q interface {
		ExecContext(context.Context, string, ...any) (sql.Result, error)
		QueryContext(context.Context, string, ...any) (*sql.Rows, error)
	}
}

func (s sqlQuerier) Exec(ctx context.Context, query string, args ...any) (int64, error) {
	res, err := s.q.ExecContext(ctx, query, args...)
	if err != nil {
		return 0, err
	}
	return res.RowsAffected()
}

func (s sqlQuerier) Query(ctx context.Context, row func(func(...any) error) error, query string, args ...any) error {
	rows, err := s.q.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := row(rows.Scan); err != nil {
			return err
		}
	}
	return rows.Err()
}

// Pgx makes a Querier of a pgx.Tx, *pgx.Conn or *pgxpool.Pool.
func Pgx(q interface {
	Exec(context.Context, string, ...any) (pgconn.CommandTag, error)
	Query(context.Context, string, ...any) (pgx.Rows, error)
},
) Querier {
	return pgxQuerier{q}
}

type pgxQuerier struct {
	q interface {
		Exec(context.Context, string, ...any) (pgconn.CommandTag, error)
		Query(context.Context, string, ...any) (pgx.Rows, error)
	}
}

func (p pgxQuerier) Exec(ctx context.Context, query string, args ...any) (int64, error) {
	tag, err := p.q.Exec(ctx, query, args...)
	return tag.RowsAffected(), err
}

func (p pgxQuerier) Query(ctx context.Context, row func(func(...any) error) error, query string, args ...any) error {
	rows, err := p.q.Query(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := row(rows.Scan); err != nil {
			return err
		}
	}
	return rows.Err()
}

// one runs a query for at most one row and tells whether there was one.
func one(ctx context.Context, q Querier, dest []any, query string, args ...any) (found bool, err error) {
	err = q.Query(ctx, func(scan func(...any) error) error {
		found = true
		return scan(dest...)
	}, query, args...)
	return found, err
}

// most is the number of values of one INSERT: SQLite takes 32,766.
const most = 8000

// insert adds rows to a table, many with one statement.
func insert(ctx context.Context, q Querier, table string, columns []string, rows [][]any) error {
	for len(rows) > 0 {
		n := min(len(rows), most/len(columns))
		var b strings.Builder
		fmt.Fprintf(&b, "INSERT INTO %s (%s) VALUES ", table, strings.Join(columns, ", "))
		args := make([]any, 0, n*len(columns))
		for i, row := range rows[:n] {
			b.WriteString(map[bool]string{true: "(", false: ", ("}[i == 0])
			for k := range columns {
				if k > 0 {
					b.WriteString(", ")
				}
				fmt.Fprintf(&b, "$%d", len(args)+k+1)
			}
			b.WriteString(")")
			args = append(args, row...)
		}
		if _, err := q.Exec(ctx, b.String(), args...); err != nil {
			return err
		}
		rows = rows[n:]
	}
	return nil
}
