package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"path/filepath"
	"strings"
	"syscall"

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/queue"
	"plantframe/cmd/internal/targets"
	"plantframe/cmd/internal/web"
	"plantframe/pipeline/ingest"
	"plantframe/pipeline/swing"
)

const serveHelp = `Serve the web page of an academy: clips are uploaded and given to hitters, jobs
watched, results, progress and comparisons looked at, from a desk or a phone.

Uploads go on after a lost line and after a restart of the server. A clip that
has arrived moves into FOLDER/clips and gets a job, before clips of watched
folders; its results go to FOLDER/results. A worker process analyses them, or,
with --no-work, those that run elsewhere (plantframe work).

Without passwords the page is there for this machine alone. Names, passwords and
roles are kept in a file that plantframe serve passwd NAME writes; with it the
page may be reached from the network (--listen :8765) and everybody logs in:
instructors do everything, viewers only look. An instructor can also make a link
that shows one hitter's results until it expires or is revoked. Passwords cross
the network as they are unless the page is served by HTTPS (settings serve.cert
and serve.key).

Ctrl-C ends; what runs is gone on with at the next start.

Exit codes: 0 ended, 1 failed, 2 wrong usage.`

func (a *app) serve() *cobra.Command {
	var file, listen, folder, passwords string
	var noWork bool
	d := config.Default()
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Serve a web page to upload clips and look at results",
		Long:  serveHelp,
		Example: `  plantframe serve
  plantframe serve passwd coach
  plantframe serve --listen :8765 --folder /srv/academy`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			s, err := settings(cmd, file)
			if err != nil {
				return err
			}
			for name, set := range map[string]func(){
				"listen": func() { s.Serve.Listen = listen }, "folder": func() { s.Serve.Folder = folder },
				"passwords": func() { s.Serve.Passwords = passwords }, "no-work": func() { s.Serve.NoWork = noWork },
			} {
				if cmd.Flags().Changed(name) {
					set()
				}
			}
			if err := s.Validate(); err != nil {
				return err
			}
			return a.servePage(cmd.Context(), s, file)
		},
	}
	f := cmd.Flags()
	f.StringVar(&file, "config", "", "settings file (YAML)")
	f.StringVar(&listen, "listen", d.Serve.Listen, "address and port; others than this machine's own need passwords")
	f.StringVar(&folder, "folder", "", "folder for clips and results (default plantframe/academy in the user's data folder)")
	f.StringVar(&passwords, "passwords", "", "password file (default plantframe/passwords in the user's configuration folder)")
	f.BoolVar(&noWork, "no-work", false, "leave the clips to workers that run elsewhere")
	resultFlags(cmd, d)
	_ = cmd.MarkFlagFilename("config", "yaml", "yml")
	_ = cmd.MarkFlagDirname("folder")
	cmd.AddCommand(a.passwd(), a.comparePair())
	return cmd
}

// servePage runs the whole command.
func (a *app) servePage(ctx context.Context, s config.Settings, file string) error {
	log := newLog(a.stderrScreen(), s.LogLevel, false)
	folder, err := s.ServeFolder()
	if err != nil {
		return writing(s.Serve.Folder, err)
	}
	if err := openOut(folder); err != nil {
		return err
	}
	if folder, err = filepath.EvalSymlinks(folder); err != nil {
		return writing(folder, err)
	}
	if _, err := a.newOrders(s); err != nil { // a mistake is said before the first clip
		return err
	}
	locks, err := workerFolder()
	if err != nil {
		return err
	}
	unlock, err := queue.Lock(locks, workerNameOf("serve page", folder))
	if errors.Is(err, queue.ErrBusy) {
		return &swing.Error{
			Op: "serve", Frame: -1, Kind: swing.KindUsage, Msg: "another process serves the folder " + folder + " already",
			Hint: "stop it first, or choose another folder with --folder",
		}
	}
	if err != nil {
		return err
	}
	defer unlock()
	records, err := mustRecords(ctx, s)
	if err != nil {
		return err
	}
	defer records.Close()
	qo, err := a.openQueue(s)
	if err != nil {
		return err
	}
	qo.Log = log
	q, err := queue.Open(ctx, qo)
	if err != nil {
		return err
	}
	defer q.Close()
	o, err := serveOptions(s, folder)
	if err != nil {
		return err
	}
	super := &supervisor{
		app: a, settings: s, queue: q, name: workerNameOf("serve", folder), log: log, wake: make(chan struct{}, 1),
		tell: newLinePrinter(a.stdout, s.JSON, folder).print,
	}
	h := &host{app: a, settings: s, file: file, folder: folder, records: records, queue: q, log: log, kept: map[string]keptOrders{}}
	page, err := web.New(ctx, o, h.deps(super.poke))
	if err != nil {
		return err
	}
	l, err := listenOn(ctx, o.Listen)
	if err != nil {
		return err
	}
	o.Listen = l.Addr().String()
	if !s.JSON {
		fmt.Fprintf(a.stderr, "the page is at %s, clips and results in %s; Ctrl-C ends\n", web.URL(o), folder)
	}
	if !web.Loopback(o.Listen) && o.Cert == "" {
		log.Warn("passwords and clips cross the network as they are: see the settings serve.cert and serve.key")
	}
	group, gctx := errgroup.WithContext(ctx)
	group.Go(func() error { return page.Serve(gctx, l) })
	if !s.Serve.NoWork {
		group.Go(func() error { return super.run(gctx, nil) })
	}
	err = group.Wait()
	if ctx.Err() != nil { // a server is ended this way
		a.code = exitDone
		return nil
	}
	return err
}

// listenOn opens the address; a port that is taken is said in words.
func listenOn(ctx context.Context, address string) (net.Listener, error) {
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", address)
	if err == nil {
		return l, nil
	}
	e := &swing.Error{
		Op: "serve", Frame: -1, Kind: swing.KindUsage, Msg: "the page cannot be served on " + address,
		Hint: "choose another address with --listen", Err: err,
	}
	switch {
	case errors.Is(err, syscall.EADDRINUSE):
		e.Msg, e.Err = "the address "+address+" is in use by another program", nil
	case errors.Is(err, syscall.EACCES):
		e.Msg, e.Err = "this user may not use the address "+address, nil
		e.Hint = "choose a port above 1023 with --listen"
	}
	return nil, e
}

// serveOptions turns settings into those of the page.
func serveOptions(s config.Settings, folder string) (web.Options, error) {
	o := web.DefaultOptions()
	passwords, err := s.PasswordFile()
	if err != nil {
		return o, &swing.Error{
			Op: "serve", Frame: -1, Kind: swing.KindUsage, Msg: "there is no folder for the password file", Hint: "name one with --passwords", Err: err,
		}
	}
	if s.Serve.Passwords != "" && !exists(passwords) {
		return o, &swing.Error{
			Op: "serve", Frame: -1, Kind: swing.KindUsage, Msg: "there is no password file " + passwords,
			Hint: "plantframe serve passwd NAME --passwords " + passwords + " makes it",
		}
	}
	w := s.Serve
	for _, p := range []string{w.Cert, w.Key} {
		if p != "" && !exists(p) {
			return o, &swing.Error{Op: "serve", Frame: -1, Kind: swing.KindUsage, Msg: "there is no file " + p, Hint: "check the settings serve.cert and serve.key"}
		}
	}
	o.Listen, o.Folder, o.Passwords, o.Cert, o.Key = w.Listen, folder, passwords, w.Cert, w.Key
	o.MaxClip, o.MaxUploads, o.MinFree = int64(w.MaxClipMb)<<20, w.MaxUploads, int64(s.Queue.MinFreeMb)<<20
	o.KeepUploads, o.Session, o.LinkDays = w.KeepUploads, w.Session, w.LinkDays
	return o, nil
}

// deps hands the page what it is built on.
func (h *host) deps(added func()) web.Deps {
	return web.Deps{
		Records: h.records, Queue: h.queue, Log: h.log, Added: added,
		Probe: func(ctx context.Context, path string) (swing.Clip, error) {
			return ingest.Probe(ctx, path, h.settings.Ingest)
		},
		Order: h.order, Compare: h.compare, Progress: h.progress, Roster: h.roster,
		Height: config.ParseHeight, Free: freeBytes, Forget: forgetStages,
		Say:        func(err error) string { return strings.TrimSuffix(sentence(explain(err)), ".") },
		Extensions: ingest.Extensions(), Levels: targets.Levels(), Sports: targets.Sports(),
	}
}

// forgetStages removes the kept results of the stages that the results in folders
// came from.
func forgetStages(_ context.Context, folders []string) error {
	disk := openStages()
	if disk == nil {
		return nil
	}
	for _, dir := range folders {
		for _, k := range readStages(dir) {
			if err := disk.Remove(k.Key); err != nil {
				return err
			}
		}
	}
	return nil
}

// passwordsFrom reads where the password file is, for serve passwd.
func passwordsFrom(cmd *cobra.Command, file, given string) (string, error) {
	s, err := settings(cmd, file)
	if err != nil {
		return "", err
	}
	if given != "" {
		s.Serve.Passwords = given
	}
	return s.PasswordFile()
}
