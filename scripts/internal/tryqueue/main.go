// Command tryqueue shows that unattended analysis loses nothing: it drops clips
// into a watched folder, kills the program again and again, and compares what
// comes out with an undisturbed run, byte by byte.
//
//	tryqueue [flags] kills     kill -9 of the worker every few seconds, and of the
//	                           watcher too every fourth time
//	tryqueue [flags] faults    kill -9 at a system call that writes, the first, the
//	                           second, ... (needs strace)
//
// It prints what it saw and ends with 1 when something is wrong. Run it through
// scripts/try-queue, which builds the program and makes the clips.
package main

import (
	"context"
	"database/sql"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	_ "github.com/jackc/pgx/v5/stdlib" // database/sql driver "pgx"
	_ "modernc.org/sqlite"             // database/sql driver "sqlite"
)

// bench is one trial's folders and settings.
type bench struct {
	bin   string // the program
	dir   string // everything lies in it
	clips string // folder of clips
	every time.Duration
	limit time.Duration
	from  int // first fault
	steps int // faults
	store string
	args  []string // of watch
}

func main() {
	b := &bench{}
	flag.StringVar(&b.bin, "bin", "", "the program")
	flag.StringVar(&b.dir, "dir", "", "an empty folder for the trial")
	flag.StringVar(&b.clips, "clips", "", "folder with different clips")
	flag.DurationVar(&b.every, "every", 10*time.Second, "pause between kills")
	flag.DurationVar(&b.limit, "limit", 30*time.Minute, "time after which the trial has failed")
	flag.IntVar(&b.from, "from", 1, "first system call to be killed at")
	flag.IntVar(&b.steps, "steps", 40, "how many faults")
	flag.StringVar(&b.store, "store", "", "an empty PostgreSQL database (default: an SQLite file)")
	flag.Parse()
	b.args = []string{"--quality", "fast", "--threads", "1", "--jobs", "1"}
	if args := flag.Args(); len(args) > 1 {
		b.args = append(b.args, args[1:]...)
	}
	var err error
	switch flag.Arg(0) {
	case "kills":
		err = b.kills()
	case "faults":
		err = b.faults()
	default:
		err = fmt.Errorf("name a trial: kills or faults")
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "tryqueue:", err)
		os.Exit(1)
	}
}

// place is where one run keeps what it has.
type place struct {
	name  string
	out   string
	data  string // of XDG_DATA_HOME
	cache string
	store string // setting; "" = the default file below data
}

func (b *bench) place(name, cache string) place {
	p := place{name: name, out: filepath.Join(b.dir, name, "out"), data: filepath.Join(b.dir, name, "data"), cache: cache}
	if p.cache == "" {
		p.cache = filepath.Join(b.dir, name, "cache")
	}
	return p
}

// prepare makes the folders; networks are those of this machine.
func (p place) prepare() error {
	for _, d := range []string{p.data, p.cache} {
		if err := os.MkdirAll(d, 0o755); err != nil {
			return err
		}
	}
	base, err := os.UserCacheDir()
	if err != nil {
		return err
	}
	if dir := os.Getenv("PLANTFRAME_CACHE"); dir != "" {
		base = dir
	} else {
		base = filepath.Join(base, "plantframe")
	}
	link := filepath.Join(p.cache, "models")
	if _, err := os.Lstat(link); err == nil {
		return nil
	}
	return os.Symlink(filepath.Join(base, "models"), link)
}

// command runs the program for a place.
func (b *bench) command(ctx context.Context, p place, before []string, args ...string) *exec.Cmd {
	line := append(append(before, b.bin), args...)
	cmd := exec.CommandContext(ctx, line[0], line[1:]...)
	for _, e := range os.Environ() {
		if !strings.HasPrefix(e, "PLANTFRAME_") && !strings.HasPrefix(e, "XDG_DATA_HOME=") {
			cmd.Env = append(cmd.Env, e)
		}
	}
	cmd.Env = append(cmd.Env, "XDG_DATA_HOME="+p.data, "PLANTFRAME_CACHE="+p.cache, "PLANTFRAME_QUEUE_RETRY_AFTER=200ms", "PLANTFRAME_WATCH_QUIET=300ms")
	if p.store != "" {
		cmd.Env = append(cmd.Env, "PLANTFRAME_STORE="+p.store)
	}
	return cmd
}

// watch is the command line of the watcher.
func (b *bench) watch(p place, more ...string) []string {
	return append(append([]string{"watch", b.clips, "--out", p.out, "--json", "--log-level", "error"}, b.args...), more...)
}

// undisturbed makes the results to compare with.
func (b *bench) undisturbed(p place) error {
	if err := p.prepare(); err != nil {
		return err
	}
	start := time.Now()
	out, err := b.command(context.Background(), p, nil, b.watch(p, "--once")...).CombinedOutput()
	if err != nil {
		return fmt.Errorf("the undisturbed run failed: %w\n%s", err, out)
	}
	files, err := tree(p.out)
	fmt.Printf("undisturbed: %d files, %.0f s\n", len(files), time.Since(start).Seconds())
	return err
}

// open opens the database of a place, to look at it from outside.
func (p place) open() (*sql.DB, error) {
	if p.store != "" {
		return sql.Open("pgx", p.store)
	}
	file := filepath.Join(p.data, "plantframe", "records.db")
	if _, err := os.Stat(file); err != nil {
		return nil, err
	}
	return sql.Open("sqlite", "file:"+file+"?_pragma=busy_timeout(10000)")
}
