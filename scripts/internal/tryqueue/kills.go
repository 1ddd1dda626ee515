package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// kills drops the clips, kills, and compares.
func (b *bench) kills() error {
	ctx, cancel := context.WithTimeout(context.Background(), b.limit)
	defer cancel()
	calm, wild := b.place("calm", ""), b.place("wild", "")
	wild.store = b.store
	if err := b.undisturbed(calm); err != nil {
		return err
	}
	clips, err := tree(b.clips)
	if err != nil {
		return err
	}
	if err := wild.prepare(); err != nil {
		return err
	}
	var watcher *exec.Cmd
	start := func() error {
		watcher = b.command(context.WithoutCancel(ctx), wild, nil, b.watch(wild)...)
		watcher.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
		log, err := os.OpenFile(filepath.Join(b.dir, "wild", "log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
		if err != nil {
			return err
		}
		defer log.Close()
		watcher.Stdout, watcher.Stderr = log, log
		return watcher.Start()
	}
	began := time.Now()
	if err := start(); err != nil {
		return err
	}
	workers, watchers := 0, 0
	next := time.Now().Add(b.every)
	for {
		time.Sleep(500 * time.Millisecond)
		if done, err := wild.done(ctx); err == nil && done == len(clips) {
			break
		}
		if ctx.Err() != nil {
			_ = syscall.Kill(-watcher.Process.Pid, syscall.SIGKILL)
			t, err := b.jobs(context.Background(), wild)
			return errors.Join(fmt.Errorf("not done in %v after %d kills: %+v", b.limit, workers+watchers, t), err)
		}
		if time.Now().Before(next) {
			continue
		}
		next = time.Now().Add(b.every)
		if (workers+watchers)%4 == 3 { // the watcher, and the worker with it a moment later
			if err := watcher.Process.Kill(); err != nil {
				return err
			}
			_ = watcher.Wait()
			watchers++
			if err := start(); err != nil {
				return err
			}
			continue
		}
		for _, pid := range children(watcher.Process.Pid) {
			if syscall.Kill(pid, syscall.SIGKILL) == nil {
				workers++
			}
		}
	}
	took := time.Since(began)
	time.Sleep(2 * time.Second) // a second worker, if there were one, would show
	if err := watcher.Process.Signal(syscall.SIGTERM); err != nil {
		return err
	}
	_ = watcher.Wait()
	// Overviews that a kill cut off are made good at the next start.
	if out, err := b.command(ctx, wild, nil, b.watch(wild, "--once")...).CombinedOutput(); err != nil {
		return fmt.Errorf("the last run failed: %w\n%s", err, out)
	}
	if out, err := b.command(ctx, wild, nil, "work", "--drain").CombinedOutput(); err != nil {
		return fmt.Errorf("the last run failed: %w\n%s", err, out)
	}
	t, err := b.jobs(ctx, wild)
	fmt.Printf("killed: worker %d times, watcher %d times; %d clips in %.0f s: %d done, %d not, %d attempts counted\n",
		workers, watchers, len(clips), took.Seconds(), t.done, t.other, t.attempts)
	for _, f := range t.failures {
		fmt.Println("  failure:", f)
	}
	if err == nil && (t.done != len(clips) || t.other != 0) {
		err = errors.New("not every clip was done exactly once")
	}
	analyses, current, serr := wild.stored(ctx)
	fmt.Printf("stored: %d analyses, %d clips\n", analyses, current)
	if analyses != current {
		serr = errors.Join(serr, errors.New("a clip was stored twice"))
	}
	err = errors.Join(err, serr, same(calm.out, wild.out))
	if err == nil {
		fmt.Println("all results are byte-identical with those of the undisturbed run")
	}
	return err
}

// done counts the jobs that are done.
func (p place) done(ctx context.Context) (n int, err error) {
	db, err := p.open()
	if err != nil {
		return 0, err
	}
	defer db.Close()
	err = db.QueryRowContext(ctx, `SELECT count(*) FROM river_job WHERE state = 'completed'`).Scan(&n)
	return n, err
}

// children lists the processes that a process started.
func children(pid int) []int {
	var out []int
	entries, _ := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/children", pid))
	for _, e := range entries {
		b, err := os.ReadFile(e)
		if err != nil {
			continue
		}
		for f := range strings.FieldsSeq(string(b)) {
			if n, err := strconv.Atoi(f); err == nil {
				out = append(out, n)
			}
		}
	}
	return out
}
