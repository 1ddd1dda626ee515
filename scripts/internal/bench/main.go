// Command bench runs another command and prints how much memory it and its
// children take together at most, from /proc. With -lines it also prints that
// peak for each tenth of the run, told by the lines of the command's output,
// which shows growth over many clips.
//
//	bench [-lines N] COMMAND ARG...
//
// Input: a command that prints one line per unit of work. Output on standard
// output: peak, and one value per tenth of N lines, MB. The exit code is that
// of the command.
package main

import (
	"bufio"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"time"
)

// interval between two looks: short against the life of an ffmpeg process.
const interval = 20 * time.Millisecond

func main() {
	lines := flag.Int("lines", 0, "lines of output that are expected; 0 prints the peak alone")
	flag.Parse()
	if flag.NArg() == 0 {
		fmt.Fprintln(os.Stderr, "bench: name a command")
		os.Exit(2)
	}
	code, err := run(flag.Args(), *lines)
	if err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
	os.Exit(code)
}

func run(args []string, lines int) (code int, err error) {
	cmd := exec.Command(args[0], args[1:]...) //nolint:gosec // that is what it is for
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		return 0, err
	}
	start := time.Now()
	if err := cmd.Start(); err != nil {
		return 0, err
	}
	w := &watch{root: cmd.Process.Pid}
	stop := make(chan struct{})
	var done sync.WaitGroup
	done.Go(func() {
		for {
			select {
			case <-stop:
				return
			case <-time.After(interval):
				w.look()
			}
		}
	})
	var marks []string
	n := 0
	for sc := bufio.NewScanner(out); sc.Scan(); {
		n++
		if lines >= 10 && n%(lines/10) == 0 {
			sum, own := w.recentPeak()
			marks = append(marks, fmt.Sprintf("%.0f (%.0f)", mb(sum), mb(own)))
		}
	}
	err = cmd.Wait()
	close(stop)
	done.Wait()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		return 0, err
	}
	fmt.Printf("wall time %.1f s, peak memory with children %.0f MB, of the program alone %.0f MB\n",
		time.Since(start).Seconds(), mb(w.peak), mb(w.peakRoot))
	if len(marks) > 0 {
		fmt.Printf("peak with children (of the program alone) in each tenth of the run, MB: %s\n", strings.Join(marks, ", "))
	}
	return cmd.ProcessState.ExitCode(), nil
}

// watch adds up the memory of a process and its children. Pages that several
// processes share are counted once each, so the sum is an upper bound. A child
// that has not become another program yet still is its parent's memory and is
// passed over.
type watch struct {
	root int

	mu             sync.Mutex
	peak, peakRoot int64 // bytes
	recent         int64 // peaks since the last mark
	recentRoot     int64
}

func (w *watch) look() {
	own, sum := tree(w.root)
	w.mu.Lock()
	defer w.mu.Unlock()
	w.peak, w.peakRoot = max(w.peak, sum), max(w.peakRoot, own)
	w.recent, w.recentRoot = max(w.recent, sum), max(w.recentRoot, own)
}

// recentPeak returns the peaks since its last call.
func (w *watch) recentPeak() (sum, own int64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	sum, own = w.recent, w.recentRoot
	w.recent, w.recentRoot = 0, 0
	return sum, own
}

// tree returns the resident memory of a process, and with all its descendants.
func tree(pid int) (own, sum int64) {
	own = resident(pid)
	sum = own
	self, _ := os.Readlink(fmt.Sprintf("/proc/%d/exe", pid))
	// A thread lists the children that it started.
	threads, err := os.ReadDir(fmt.Sprintf("/proc/%d/task", pid))
	if err != nil {
		return own, sum
	}
	for _, t := range threads {
		b, err := os.ReadFile(fmt.Sprintf("/proc/%d/task/%s/children", pid, t.Name()))
		if err != nil {
			continue
		}
		for _, c := range strings.Fields(string(b)) {
			child, err := strconv.Atoi(c)
			if err != nil {
				continue
			}
			if exe, err := os.Readlink(fmt.Sprintf("/proc/%d/exe", child)); err == nil && exe == self {
				continue
			}
			_, s := tree(child)
			sum += s
		}
	}
	return own, sum
}

// resident returns the resident memory of a process, 0 when it is gone.
func resident(pid int) int64 {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/statm", pid))
	if err != nil {
		return 0
	}
	f := strings.Fields(string(b))
	if len(f) < 2 {
		return 0
	}
	pages, err := strconv.ParseInt(f[1], 10, 64)
	if err != nil {
		return 0
	}
	return pages * int64(os.Getpagesize())
}

func mb(bytes int64) float64 { return float64(bytes) / 1e6 }
