package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/progress"
	"plantframe/cmd/internal/queue"
	"plantframe/cmd/internal/store"
	"plantframe/cmd/internal/ui"
	"plantframe/cmd/internal/web"
	"plantframe/pipeline/compare"
	"plantframe/pipeline/ingest"
	page "plantframe/pipeline/output/report"
	"plantframe/pipeline/swing"
)

// host does for the page what the other commands do for the command line.
type host struct {
	app      *app
	settings config.Settings
	file     string // settings file, for the process that compares
	folder   string
	records  *store.Records
	queue    *queue.Queue
	log      *slog.Logger

	mu   sync.Mutex
	kept map[string]keptOrders
}

// keptOrders are the orders of hitters with the same side, height, level and sport.
type keptOrders struct {
	*orders
	since time.Time
}

// keepOrders is how long orders are kept: making them looks at the networks' files,
// which may be replaced while the server runs.
const keepOrders = time.Minute

// ordersFor returns the orders for a hitter: what is known of the hitter goes before
// the settings.
func (h *host) ordersFor(who store.Hitter) (*orders, error) {
	s := h.settings
	if who.Bats != "" {
		s.Bats = string(who.Bats)
	}
	if who.HeightM > 0 {
		s.Height = strconv.FormatFloat(who.HeightM, 'f', -1, 64)
	}
	if who.Level != "" {
		s.Level = who.Level
	}
	if who.Sport != "" {
		s.Sport = who.Sport
	}
	key := strings.Join([]string{s.Bats, s.Height, s.Level, s.Sport}, "/")
	h.mu.Lock()
	defer h.mu.Unlock()
	if k, ok := h.kept[key]; ok && time.Since(k.since) < keepOrders {
		return k.orders, nil
	}
	o, err := h.app.newOrders(s)
	if err == nil {
		if len(h.kept) > 100 {
			clear(h.kept)
		}
		h.kept[key] = keptOrders{o, time.Now()}
	}
	return o, err
}

// order makes the order for a clip of a hitter.
func (h *host) order(ctx context.Context, c swing.Clip, who store.Hitter) (queue.Clip, error) {
	o, err := h.ordersFor(who)
	if err != nil {
		return queue.Clip{}, err
	}
	out := web.ResultFolder(h.folder)
	name, cut := stem(c.Path)
	names := []string{name + "-" + c.SHA256[:8], name + "-" + c.SHA256}
	if !cut && ours(ctx, filepath.Join(out, name), &clipFile{path: c.Path, sum: c.SHA256}) {
		names = append([]string{name}, names...)
	}
	folder, err := h.queue.Folder(ctx, out, c.SHA256, names...)
	if err != nil {
		return queue.Clip{}, err
	}
	return o.order(c, out, folder, who.Name, "", "serve"), nil
}

// progress writes the page of a hitter over time.
func (h *host) progress(ctx context.Context, w io.Writer, who store.Hitter) error {
	o, err := trendOptions(h.settings)
	if err != nil {
		return err
	}
	st, err := tell(ctx, h.records, who, o)
	if err != nil {
		return err
	}
	dir, err := os.MkdirTemp("", "plantframe-page-") // 0700
	if err != nil {
		return writing(os.TempDir(), err)
	}
	defer os.RemoveAll(dir)
	file := filepath.Join(dir, "page.html")
	if err := writeProgress(ctx, h.records, st, o, file); err != nil {
		return err
	}
	b, err := os.ReadFile(file)
	if err == nil {
		_, err = w.Write(b)
	}
	return err
}

// roster writes the page of all hitters.
func (h *host) roster(ctx context.Context, w io.Writer, link func(id string) string) error {
	o, err := trendOptions(h.settings)
	if err != nil {
		return err
	}
	hitters, err := h.records.Hitters(ctx, nil)
	if err != nil {
		return err
	}
	rows := make([]progress.Row, 0, len(hitters))
	for _, one := range hitters {
		st, err := tell(ctx, h.records, one, o)
		if err != nil {
			return err
		}
		rows = append(rows, st.row)
	}
	r := newRoster(rows, progress.Movers(rows, mostMovers), pageNames(hitters))
	for i := range r.Rows {
		r.Rows[i].Link = link(hitters[i].ID)
	}
	return page.WriteRoster(w, r)
}

// pairOrder is what the process that compares two stored swings is told.
type pairOrder struct {
	A, B web.Side
	Dir  string
}

// compare makes a comparison in a process of its own: a fault in a library does not take
// the page along, and its memory is free afterwards.
func (h *host) compare(ctx context.Context, a, b web.Side, dir string) error {
	in, err := json.Marshal(pairOrder{a, b, dir})
	if err != nil {
		return err
	}
	self, err := os.Executable()
	if err != nil {
		return err
	}
	args := []string{"serve", "compare"}
	if h.file != "" {
		args = append(args, "--config", h.file)
	}
	cmd := exec.CommandContext(ctx, self, args...)
	cmd.Stdin = bytes.NewReader(in)
	var errs bytes.Buffer
	cmd.Stderr = &errs
	err = cmd.Run()
	if ctx.Err() != nil {
		return &swing.Error{Op: "compare", Frame: -1, Kind: swing.KindInternal, Msg: "it took too long", Hint: "try it again when less is to do"}
	}
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		var e ui.ErrorResult
		last := errs.Bytes()
		if i := bytes.LastIndexByte(bytes.TrimSpace(last), '\n'); i >= 0 {
			last = last[i+1:]
		}
		if json.Unmarshal(last, &e) == nil && e.Message != "" {
			return &swing.Error{Op: "compare", Frame: -1, Kind: swing.KindUsage, Msg: e.Message, Hint: e.Hint}
		}
		return &swing.Error{Op: "compare", Frame: -1, Kind: swing.KindInternal, Msg: "the comparison failed (" + exit.ProcessState.String() + ")"}
	}
	return err
}

// comparePair is that process.
func (a *app) comparePair() *cobra.Command {
	var file string
	cmd := &cobra.Command{
		Use: "compare", Hidden: true, Args: cobra.NoArgs, Short: "Compare two stored swings for the page",
		RunE: func(cmd *cobra.Command, _ []string) error {
			s, err := settings(cmd, file)
			if err != nil {
				return err
			}
			var o pairOrder
			err = json.NewDecoder(io.LimitReader(a.stdin, 1<<16)).Decode(&o)
			if err == nil {
				err = a.pairUp(cmd.Context(), s, o)
			}
			if err != nil { // for the page: one line
				a.code = exitFailed
				return json.NewEncoder(a.stderr).Encode(explain(err))
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&file, "config", "", "settings file (YAML)")
	return cmd
}

// pairUp compares the first swings of two stored analyses, as compare does, and puts the
// files into a folder that appears whole.
func (a *app) pairUp(ctx context.Context, s config.Settings, o pairOrder) error {
	log := newLog(a.stderrScreen(), "error", false)
	_, threads := s.Share(1)
	w, err := a.newWorker(s, threads, nil)
	if err != nil {
		return err
	}
	defer w.Close()
	var subs [2]*subject
	for i, side := range []web.Side{o.A, o.B} {
		sub, err := loadSubject(ctx, w, s, side.Folder, swing.NoProgress{}, log)
		if err != nil {
			return err
		}
		if !sub.film && side.Clip != "" {
			if c, err := ingest.Probe(ctx, side.Clip, s.Ingest); err == nil && c.SHA256 == sub.analysis.Clip.SHA256 {
				c.Warnings = sub.analysis.Clip.Warnings
				sub.analysis.Clip, sub.film = c, true
			}
		}
		subs[i] = sub
	}
	one, err := subs[0].swing(0)
	if err != nil {
		return err
	}
	p, out := pair(subs[0], one, []*subject{subs[1]}, 0, false, compare.DefaultOptions())
	if len(p.list) == 0 {
		e := *out[0]
		if e.Kind == swing.KindUsage { // its hint speaks of the command line
			e.Hint = "choose two clips filmed from the same side"
		}
		return &e
	}
	p.labels = [2]string{"A", "B"}
	tmp, err := os.MkdirTemp(filepath.Dir(o.Dir), tempPrefix)
	if err != nil {
		return writing(o.Dir, err)
	}
	defer os.RemoveAll(tmp)
	warn, err := p.draw(ctx, w, tmp, pairFiles(0), swing.NoProgress{})
	if err != nil {
		return err
	}
	p.list[0].Warnings = append(p.list[0].Warnings, warn...)
	if err := writeComparison(tmp, p.list); err != nil {
		return err
	}
	if err := os.Chmod(tmp, 0o700); err != nil {
		return writing(tmp, err)
	}
	if err := os.RemoveAll(o.Dir); err != nil {
		return writing(o.Dir, err)
	}
	if err := os.Rename(tmp, o.Dir); err != nil {
		return writing(o.Dir, err)
	}
	return nil
}
