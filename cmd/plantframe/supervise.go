package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"time"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/queue"
)

// supervisor has a worker run while there is work. The worker is a process of
// its own: a clip that crashes it, or a kill, does not take the watcher along,
// and when it ends its memory is free.
type supervisor struct {
	app      *app
	settings config.Settings
	queue    *queue.Queue
	name     string // of the worker
	tell     func(jobLine)
	log      *slog.Logger
	wake     chan struct{} // something was added
}

// lookEvery is how often the supervisor looks for work that others added, and
// for clips whose next attempt is due.
const lookEvery = 2 * time.Second

// run supervises until ctx ends. When end is closed it returns as soon as there
// is no work any more.
func (s *supervisor) run(ctx context.Context, end <-chan struct{}) error {
	pause := time.Second
	crashed := "" // how the last worker ended, when that was a fault of the program
	for {
		n, err := s.queue.Counts(ctx)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil:
			s.log.Warn("the queue cannot be read at the moment", "error", err)
		case n[queue.Waiting]+n[queue.Again]+n[queue.Running] > 0:
			began := time.Now()
			wait, err := s.app.spawn(ctx, childOrder{Settings: s.settings.CarryAll(), Crashed: crashed}, s.name, s.tell)
			if err == nil {
				err = wait()
			}
			if ctx.Err() != nil {
				return ctx.Err()
			}
			crashed = crashOf(err)
			if err == nil {
				pause = time.Second
				continue
			}
			args := []any{"reason", err}
			if c := (*crash)(nil); errors.As(err, &c) && c.log != "" {
				args = append(args, "details", c.log)
			}
			s.log.Warn("the worker ended in the middle of its work and is started again", args...)
			if time.Since(began) > 10*time.Second {
				pause = time.Second
			}
			if !sleep(ctx, pause) {
				return ctx.Err()
			}
			pause = min(2*pause, 30*time.Second)
			continue
		default:
			select {
			case <-end:
				return nil
			default:
			}
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-end: // looked once more, then the answer is above
			if !sleep(ctx, 100*time.Millisecond) {
				return ctx.Err()
			}
		case <-s.wake:
		case <-time.After(lookEvery):
		}
	}
}

// sleep waits and tells whether ctx still stands.
func sleep(ctx context.Context, d time.Duration) bool {
	select {
	case <-ctx.Done():
		return false
	case <-time.After(d):
		return true
	}
}

// poke says that something was added.
func (s *supervisor) poke() {
	select {
	case s.wake <- struct{}{}:
	default: // it knows
	}
}

// stopWait is how long a worker that is asked to stop may take: a step of a
// network cannot be interrupted.
const stopWait = 20 * time.Second

// childOrder is what a supervised worker is given, as one line on its standard input.
type childOrder struct {
	Settings json.RawMessage `json:"settings"`
	Crashed  string          `json:"crashed,omitempty"` // how its predecessor ended
}

// crash is the end of a worker by a fault of the program.
type crash struct {
	how string
	log string // file with what was said of it; "" = none
}

func (c *crash) Error() string { return c.how }

// crashOf returns how a worker crashed, "" when it was ended from outside or only
// could not begin.
func crashOf(err error) string {
	if c := (*crash)(nil); errors.As(err, &c) {
		return c.how
	}
	return ""
}

// endOf tells how a process ended.
func endOf(err error) error {
	var exit *exec.ExitError
	if !errors.As(err, &exit) {
		return err
	}
	how := exit.ProcessState.String()
	if st, ok := exit.Sys().(syscall.WaitStatus); ok && st.Signaled() {
		switch st.Signal() {
		case syscall.SIGKILL, syscall.SIGTERM, syscall.SIGINT, syscall.SIGHUP, syscall.SIGPIPE:
			return errors.New(how)
		}
		return &crash{how: how}
	}
	switch exit.ExitCode() {
	case exitStuck:
		return &crash{how: "a step of it never ended"}
	case exitFailed, exitStopped: // it says why itself
		return errors.New(how)
	}
	// Among them 2, with which the language's runtime ends after a fault, in C too.
	return &crash{how: how}
}

// spawnProcess starts a worker as a process and passes on what it tells.
func (a *app) spawnProcess(ctx context.Context, o childOrder, name string, tell func(jobLine)) (wait func() error, err error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	cmd := exec.Command(self, "work", "--supervised", "--name", name)
	cmd.Env = plainEnviron(os.Environ())
	said := newCrashLog(a.stderr, name)
	cmd.Stderr = said
	in, err := cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	first, err := json.Marshal(o)
	if err == nil {
		_, err = in.Write(append(first, '\n'))
	}
	if err != nil {
		_ = in.Close() // its end says more
	}
	return func() error {
		ended := make(chan struct{})
		defer close(ended)
		go func() {
			select {
			case <-ended:
				return
			case <-ctx.Done():
			}
			_ = in.Close()
			select {
			case <-ended:
			case <-time.After(stopWait):
				_ = cmd.Process.Kill()
			}
		}()
		lines := bufio.NewScanner(out)
		lines.Buffer(nil, 16<<20)
		for lines.Scan() {
			var l jobLine
			if json.Unmarshal(lines.Bytes(), &l) == nil && l.Schema == jobSchema {
				tell(l)
			}
		}
		err := cmd.Wait()
		_ = in.Close()
		err = endOf(err)
		if file := said.end(); file != "" && err != nil {
			return &crash{how: err.Error(), log: file}
		}
		return err
	}, nil
}

// plainEnviron leaves the settings out of an environment: the worker is given
// all of them. Where networks and stage results lie is no setting.
func plainEnviron(all []string) []string {
	var out []string
	for _, e := range all {
		name, _, _ := strings.Cut(e, "=")
		if !strings.HasPrefix(name, config.EnvPrefix) || name == config.EnvCache {
			out = append(out, e)
		}
	}
	return out
}

// workerNameOf is the name of the worker for a purpose.
func workerNameOf(purpose, what string) string {
	return queue.WorkerName(fmt.Sprintf("%s %s", purpose, what))
}
