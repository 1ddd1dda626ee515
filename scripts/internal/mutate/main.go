// Command mutate feeds damaged copies of a clip to the part of the program that
// reads video and tells what became of them. For developers.
//
//	go run ./scripts/internal/mutate [-n 10000] [-seed 1] [-limit 30s] [-jobs 2] CLIP...
//
// A copy has bits turned, a stretch overwritten, cut out or doubled, its end cut
// off, or the size or kind of one of its boxes changed. Each must be refused with
// a sentence and a hint, or be read to its end in time; when pictures differ from
// the undamaged clip's, a warning must say that the clip is damaged. Exit status
// 1 when one did not.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"hash/crc32"
	"math/rand/v2"
	"os"
	"os/signal"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"golang.org/x/sync/errgroup"

	"plantframe/pipeline/ingest"
	"plantframe/pipeline/swing"
)

func main() {
	n := flag.Int("n", 10000, "damaged copies in all")
	seed := flag.Uint64("seed", 1, "of the damage")
	limit := flag.Duration("limit", 30*time.Second, "time for one copy")
	jobs := flag.Int("jobs", 2, "copies at once")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	bad, err := run(ctx, flag.Args(), *n, *jobs, *seed, *limit)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
	}
	if bad > 0 || err != nil {
		os.Exit(1)
	}
}

// outcome is what became of a copy.
type outcome string

const (
	refused outcome = "refused with a sentence and a hint"
	told    outcome = "read, damage told"
	same    outcome = "read, pictures as before"
	silent  outcome = "read, other pictures and no word about it"
	unclear outcome = "refused without a sentence and a hint"
	hung    outcome = "not done in time"
	crashed outcome = "crashed"
)

func run(ctx context.Context, clips []string, n, jobs int, seed uint64, limit time.Duration) (int, error) {
	if len(clips) == 0 {
		return 0, errors.New("give a clip to damage")
	}
	dir, err := os.MkdirTemp("", "mutate")
	if err != nil {
		return 0, err
	}
	defer func() { _ = os.RemoveAll(dir) }()
	type original struct {
		name string
		data []byte
		sums map[int]uint32
	}
	var all []original
	for _, c := range clips {
		data, err := os.ReadFile(c)
		if err != nil {
			return 0, err
		}
		sums, warnings, err := read(ctx, c)
		if err != nil || len(warnings) > 0 {
			return 0, fmt.Errorf("%s is not a sound clip: %v %w", c, warnings, err)
		}
		all = append(all, original{filepath.Base(c), data, sums})
	}
	var mu sync.Mutex
	count := map[outcome]int{}
	bad := 0
	var group errgroup.Group
	group.SetLimit(jobs)
	for i := range n {
		if ctx.Err() != nil {
			break
		}
		group.Go(func() error {
			o := all[i%len(all)]
			r := rand.New(rand.NewPCG(seed, uint64(i)))
			damage, data := mutate(r, o.data)
			path := filepath.Join(dir, fmt.Sprintf("%d-%s", i, o.name))
			if err := os.WriteFile(path, data, 0o600); err != nil {
				return err
			}
			defer func() { _ = os.Remove(path) }()
			what, detail := try(ctx, path, o.sums, limit)
			mu.Lock()
			defer mu.Unlock()
			count[what]++
			if what == silent || what == unclear || what == hung || what == crashed {
				bad++
				fmt.Printf("%d of %s: %s: %s: %s\n", i, o.name, damage, what, detail)
			}
			return nil
		})
	}
	err = group.Wait()
	for _, o := range []outcome{refused, told, same, silent, unclear, hung, crashed} {
		fmt.Printf("%6d  %s\n", count[o], o)
	}
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) == nil {
		fmt.Printf("peak memory %d MB\n", u.Maxrss/1024)
	}
	return bad, errors.Join(err, ctx.Err())
}

// read decodes a clip and returns a checksum of each picture.
func read(ctx context.Context, path string) (map[int]uint32, []swing.Warning, error) {
	c, err := ingest.Probe(ctx, path, ingest.DefaultOptions())
	if err != nil {
		return nil, nil, err
	}
	rd, err := ingest.Open(ctx, c, ingest.OpenOptions{MaxSide: 160, Threads: 1, Options: ingest.DefaultOptions()})
	if err != nil {
		return nil, nil, err
	}
	sums := map[int]uint32{}
	for f, err := range rd.Frames() {
		if err != nil {
			return nil, nil, errors.Join(err, rd.Close())
		}
		sums[f.Index] = crc32.ChecksumIEEE(f.Pix)
	}
	return sums, append(c.Warnings, rd.Warnings()...), rd.Close()
}

// try reads a damaged copy.
func try(ctx context.Context, path string, want map[int]uint32, limit time.Duration) (what outcome, detail string) {
	ctx, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	defer func() {
		if p := recover(); p != nil {
			what, detail = crashed, fmt.Sprint(p)
		}
	}()
	sums, warnings, err := read(ctx, path)
	switch {
	case ctx.Err() != nil:
		return hung, ctx.Err().Error()
	case err != nil:
		if e, ok := swing.AsError(err); !ok || e.Msg == "" || e.Hint == "" {
			return unclear, err.Error()
		}
		return refused, ""
	case len(warnings) > 0:
		return told, ""
	}
	for i, s := range sums {
		if w, ok := want[i]; !ok || w != s {
			return silent, fmt.Sprintf("%d pictures in place of %d, the first other one is %d", len(sums), len(want), i)
		}
	}
	if len(sums) != len(want) {
		return silent, fmt.Sprintf("%d pictures in place of %d", len(sums), len(want))
	}
	return same, ""
}
