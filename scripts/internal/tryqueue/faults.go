package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// groups are the system calls by which files and the database change: those that
// decide what is there, the database's writes, and all other writes.
func groups() []string {
	return []string{"fsync,fdatasync,rename,renameat,renameat2,link,linkat,unlink,unlinkat,mkdir,mkdirat,ftruncate", "pwrite64", "write"}
}

// faults kills the process at its k-th call of those that change files, for k
// from b.from on, lets the next run finish, and compares. The calls of each
// thread are counted by themselves: k runs over all of them.
func (b *bench) faults() error {
	ctx, cancel := context.WithTimeout(context.Background(), b.limit)
	defer cancel()
	cache := filepath.Join(b.dir, "cache") // results of stages are the same for all: this is about the writing
	calm := b.place("calm", cache)
	if err := b.undisturbed(calm); err != nil {
		return err
	}
	clips, err := tree(b.clips)
	if err != nil {
		return err
	}
	hit, bad := 0, 0
	for i := range b.steps {
		k := b.from + i
		wild := b.place(fmt.Sprintf("fault-%d", k), cache)
		if err := wild.prepare(); err != nil {
			return err
		}
		for _, set := range groups() {
			limited, stop := context.WithTimeout(ctx, 2*time.Minute)
			cmd := b.command(limited, wild, []string{
				"strace", "-f", "-qqq", "-o", "/dev/null", "-e", "trace=" + set, "-e", fmt.Sprintf("inject=%s:signal=KILL:when=%d", set, k),
			}, b.watch(wild, "--once")...)
			if cmd.Run() != nil {
				hit++
			}
			stop()
		}
		limited, stop := context.WithTimeout(ctx, 5*time.Minute)
		out, err := b.command(limited, wild, nil, b.watch(wild, "--once")...).CombinedOutput()
		stop()
		if err == nil {
			out, err = b.command(ctx, wild, nil, "work", "--drain").CombinedOutput()
		}
		if err != nil {
			err = fmt.Errorf("the next run failed: %w\n%s", err, out)
		}
		t, jerr := b.jobs(ctx, wild)
		if jerr == nil && (t.done != len(clips) || t.other != 0) {
			jerr = fmt.Errorf("%d done, %d not: %q", t.done, t.other, t.failures)
		}
		if err := errors.Join(err, jerr, same(calm.out, wild.out)); err != nil {
			bad++
			fmt.Printf("fault %d: %v\n", k, err)
			continue // its folder stays to be looked at
		}
		_ = os.RemoveAll(filepath.Join(b.dir, wild.name))
	}
	fmt.Printf("faults %d to %d at three groups of calls: %d of %d runs ended by the kill; %d left something wrong\n",
		b.from, b.from+b.steps-1, hit, 3*b.steps, bad)
	if bad > 0 {
		return errors.New("something was lost or half done")
	}
	return nil
}
