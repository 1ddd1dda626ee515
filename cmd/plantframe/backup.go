package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/queue"
	"plantframe/cmd/internal/store"
	"plantframe/pipeline/swing"
)

const backupHelp = `Write the store (hitters, results, jobs) into one file, while everything runs. The
file is whole or not there. Clips and result folders are files of yours: copy them
as you copy files.

The store must be an SQLite file; of PostgreSQL, pg_dump makes backups.`

const restoreHelp = `Put a backup in the place of the store. What was there before is kept beside it.
Nothing may run meanwhile: stop watch, serve and work first.`

func (a *app) backup() *cobra.Command {
	return a.copyStore("backup FILE", "Write the store into one file", backupHelp, a.backupTo)
}

func (a *app) restore() *cobra.Command {
	return a.copyStore("restore FILE", "Put a backup in the place of the store", restoreHelp, a.restoreFrom)
}

func (a *app) copyStore(use, short, long string, do func(ctx context.Context, db, file string) error) *cobra.Command {
	var file string
	d := config.Default()
	cmd := &cobra.Command{
		Use: use, Short: short, Long: long, Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := settings(cmd, file)
			if err != nil {
				return err
			}
			o, err := a.openQueue(s)
			if err != nil {
				return err
			}
			if queue.Server(o.Database) {
				return &swing.Error{
					Op: "backup", Frame: -1, Kind: swing.KindUsage, Msg: "the store is a PostgreSQL database, which has its own programs for this",
					Hint: "pg_dump -Fc makes a backup, pg_restore --clean puts it back",
				}
			}
			return do(cmd.Context(), o.Database, args[0])
		},
	}
	cmd.Flags().StringVar(&file, "config", "", "settings file (YAML)")
	cmd.Flags().String("store", d.Store, "the store, an SQLite file")
	return cmd
}

// backupTo writes a copy of the database as it is at one moment.
func (a *app) backupTo(ctx context.Context, db, file string) error {
	if !exists(db) {
		return &swing.Error{Op: "backup", Frame: -1, Kind: swing.KindMissing, Msg: "there is no store at " + db, Hint: "check the setting store"}
	}
	if exists(file) {
		return &swing.Error{Op: "backup", Frame: -1, Kind: swing.KindUsage, Msg: file + " is there already", Hint: "name a new file"}
	}
	tmp, err := os.MkdirTemp(filepath.Dir(file), tempPrefix)
	if err != nil {
		return writing(file, err)
	}
	defer os.RemoveAll(tmp)
	r, err := store.Open(ctx, db)
	if err != nil {
		return err
	}
	defer r.Close()
	part := filepath.Join(tmp, "store.db")
	if _, err := r.DB().ExecContext(ctx, `VACUUM INTO $1`, part); err != nil {
		return writing(file, err)
	}
	if err := sound(ctx, part); err != nil {
		return err
	}
	f, err := os.OpenFile(part, os.O_RDWR, 0o600)
	if err != nil {
		return writing(file, err)
	}
	if err := errors.Join(f.Chmod(0o600), f.Sync(), f.Close()); err != nil {
		return writing(file, err)
	}
	if err := os.Rename(part, file); err != nil {
		return writing(file, err)
	}
	if err := syncDir(filepath.Dir(file)); err != nil {
		return writing(file, err)
	}
	st, err := os.Stat(file)
	if err != nil {
		return writing(file, err)
	}
	fmt.Fprintf(a.stdout, "the store is in %s, %.1f MB\n", file, float64(st.Size())/1e6)
	return nil
}

// sound makes sure that a file is a whole store of a version that this program
// knows. It is opened as a copy would be: what is missing in it is added.
func sound(ctx context.Context, file string) error {
	head := make([]byte, 16)
	f, err := os.Open(file)
	if err == nil {
		_, err = f.Read(head)
		_ = f.Close()
	}
	if err != nil {
		return writing(file, err)
	}
	bad := &swing.Error{
		Op: "restore", Frame: -1, Kind: swing.KindUnreadable, Msg: file + " is not a whole backup of a store",
		Hint: "take another backup; nothing was changed",
	}
	if !strings.HasPrefix(string(head), "SQLite format 3") {
		return bad
	}
	r, err := store.Open(ctx, file)
	if err != nil {
		bad.Err = err
		return bad
	}
	defer r.Close()
	var ok string
	if err := r.DB().QueryRowContext(ctx, `PRAGMA integrity_check`).Scan(&ok); err != nil || ok != "ok" {
		bad.Err = err
		return bad
	}
	_, err = r.DB().ExecContext(ctx, `PRAGMA journal_mode = DELETE`) // one file
	return err
}

// restoreFrom puts a backup in the place of the database.
func (a *app) restoreFrom(ctx context.Context, db, file string) error {
	locks, err := workerFolder()
	if err != nil {
		return err
	}
	names, err := filepath.Glob(filepath.Join(escapeGlob(locks), "*.lock"))
	if err != nil {
		return writing(locks, err)
	}
	for _, n := range names {
		unlock, err := queue.Lock(locks, strings.TrimSuffix(filepath.Base(n), ".lock"))
		if errors.Is(err, queue.ErrBusy) {
			return &swing.Error{
				Op: "restore", Frame: -1, Kind: swing.KindUsage, Msg: "plantframe watch, serve or work is running",
				Hint: "stop it first, such as the service of that name",
			}
		}
		if err != nil {
			return err
		}
		defer unlock()
	}
	b, err := os.ReadFile(file)
	if err != nil {
		return &swing.Error{Op: "restore", Frame: -1, Kind: swing.KindMissing, Msg: "there is no backup " + file, Hint: "check the path"}
	}
	if err := os.MkdirAll(filepath.Dir(db), 0o700); err != nil {
		return writing(db, err)
	}
	tmp, err := os.MkdirTemp(filepath.Dir(db), tempPrefix)
	if err != nil {
		return writing(db, err)
	}
	defer os.RemoveAll(tmp)
	part := filepath.Join(tmp, "store.db")
	if err := writeWhole(part, func(f *os.File) error { _, err := f.Write(b); return err }); err != nil {
		return err
	}
	if err := sound(ctx, part); err != nil {
		var s *swing.Error
		if errors.As(err, &s) {
			s.Msg = strings.ReplaceAll(s.Msg, part, file)
		}
		return err
	}
	if err := os.Chmod(part, 0o600); err != nil {
		return writing(db, err)
	}
	if exists(db) {
		// With its log of changes moved into it, the old one is one file too.
		r, err := store.Open(ctx, db)
		if err == nil {
			_, err = r.DB().ExecContext(ctx, `PRAGMA journal_mode = DELETE`)
			err = errors.Join(err, r.Close())
		}
		if err != nil {
			return writing(db, err)
		}
		before := db + ".before-restore"
		if err := os.Remove(before); err != nil && !os.IsNotExist(err) {
			return writing(before, err)
		}
		if err := os.Link(db, before); err != nil {
			return writing(before, err)
		}
	}
	for _, end := range []string{"-wal", "-shm"} {
		_ = os.Remove(db + end)
	}
	if err := os.Rename(part, db); err != nil {
		return writing(db, err)
	}
	if err := syncDir(filepath.Dir(db)); err != nil {
		return writing(db, err)
	}
	fmt.Fprintf(a.stdout, "the store is that of %s; the one before is %s.before-restore\n", file, db)
	return nil
}
