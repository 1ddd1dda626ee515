package web

import (
	"context"
	"crypto/tls"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"path/filepath"
	"sync"
	"time"

	"github.com/tus/tusd/v2/pkg/handler"

	"plantframe/cmd/internal/store"
	"plantframe/pipeline/swing"
)

// Server is the page. It is safe for concurrent use.
type Server struct {
	o         Options
	d         Deps
	log       *slog.Logger
	now       func() time.Time
	db        store.Querier
	passwords *passwordFile
	limiter   *limiter
	checks    chan struct{} // password checks at a time: each takes 19 MB
	key       []byte        // signs links
	tus       *handler.UnroutedHandler
	incoming  incoming
	hub       *hub
	compares  *compares
	conns     *conns
	pages     *pages
	handler   http.Handler
	// background ends with the server: what goes on after a request has it.
	background context.Context
	end        context.CancelFunc

	filing  sync.Mutex // one completed upload is filed at a time
	arrived chan string
}

// access says who may use a route.
type access int

const (
	public     access = iota // everybody
	anybody                  // whoever is known; what a link opens the handler checks
	reader                   // instructors and viewers, not links
	instructor               // instructors
)

// route is one way into the page. All there are stand in routes.
type route struct {
	pattern string
	who     access
	do      func(http.ResponseWriter, *http.Request) error
}

func (s *Server) routes() []route {
	return []route{
		{"GET /{$}", anybody, s.home},
		{"GET /static/{name}", public, s.static},
		{"GET /favicon.ico", public, noIcon},
		{"GET /metrics", public, s.metrics()},
		{"GET /login", public, s.loginPage},
		{"POST /login", public, s.login},
		{"POST /logout", public, s.logout},
		{"GET /view/{token}", public, s.openLink},

		{"GET /upload", instructor, s.uploadPage},
		{"POST /upload", instructor, s.plainUpload},
		{"POST /uploads/{$}", instructor, s.tusCreate},
		{"HEAD /uploads/{id}", instructor, s.tusHead},
		{"PATCH /uploads/{id}", instructor, s.tusPatch},
		{"DELETE /uploads/{id}", instructor, s.tusDelete},
		{"POST /uploads/{id}/remove", instructor, s.removeUpload},

		{"GET /jobs", reader, s.jobsPage},
		{"GET /events", reader, s.events},
		{"POST /jobs/{id}/{act}", instructor, s.changeJob},

		{"GET /clips", reader, s.clipsPage},
		{"GET /clips/{sha}", anybody, s.clipPage},
		{"GET /clips/{sha}/files/{name...}", anybody, s.clipFile},
		{"POST /clips/{sha}/again", instructor, s.clipAgain},
		{"POST /clips/{sha}/assign", instructor, s.clipAssign},
		{"POST /clips/{sha}/delete", instructor, s.clipDelete},

		{"GET /hitters", reader, s.hittersPage},
		{"POST /hitters", instructor, s.hitterSave},
		{"GET /hitters/{id}", anybody, s.hitterPage},
		{"GET /hitters/{id}/progress", anybody, s.hitterProgress},
		{"POST /hitters/{id}/delete", instructor, s.hitterDelete},
		{"POST /hitters/{id}/links", instructor, s.makeLink},
		{"POST /links/{id}/revoke", instructor, s.revokeLink},
		{"GET /roster", reader, s.rosterPage},

		{"GET /compare", reader, s.comparePage},
		{"POST /compare", instructor, s.compareStart},
		{"GET /compare/{a}/{b}", reader, s.comparedPage},
		{"GET /compare/{a}/{b}/files/{name...}", reader, s.comparedFile},
	}
}

// New prepares the page: tables, folders, and what an earlier run left unfinished.
// Errors are *swing.Error where a setting is wrong.
func New(ctx context.Context, o Options, d Deps) (*Server, error) {
	s := &Server{
		o: o, d: d, log: d.Log, now: d.Now, db: store.SQL(d.Records.DB()),
		passwords: &passwordFile{path: o.Passwords}, checks: make(chan struct{}, 2),
		arrived: make(chan string, 1024),
	}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	if s.now == nil {
		s.now = time.Now
	}
	if err := s.mayListen(); err != nil {
		return nil, err
	}
	s.limiter, s.conns = newLimiter(s.now), newConns(o.Connections)
	s.hub = newHub(o.Streams)
	s.compares = newCompares()
	s.background, s.end = context.WithCancel(context.WithoutCancel(ctx))
	var err error
	if s.pages, err = parsePages(); err != nil {
		return nil, err
	}
	if err := s.createTables(ctx); err != nil {
		return nil, err
	}
	if err := s.openIncoming(); err != nil {
		return nil, err
	}
	s.handler = s.guarded()
	return s, nil
}

// mayListen refuses to be reached from outside without passwords.
func (s *Server) mayListen() error {
	list, err := s.passwords.entries()
	if err != nil {
		return err
	}
	for _, e := range list {
		if e.role == Instructor {
			return nil
		}
	}
	if len(list) > 0 {
		return &swing.Error{
			Op: "web.New", Frame: -1, Kind: swing.KindUsage, Msg: "nobody in the password file " + s.o.Passwords + " is an instructor",
			Hint: "add one: plantframe serve passwd NAME",
		}
	}
	if Loopback(s.o.Listen) {
		return nil
	}
	return &swing.Error{
		Op: "web.New", Frame: -1, Kind: swing.KindUsage, Msg: "without passwords the page is for this machine alone: it does not listen on " + s.o.Listen,
		Hint: "choose a name and a password first: plantframe serve passwd NAME",
	}
}

// Handler returns the page with all its guards.
func (s *Server) Handler() http.Handler { return s.handler }

// Serve serves the page on l until ctx ends, then stops within a second: running
// requests get that long, uploads keep what has arrived.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	base, end := s.background, s.end
	defer end()
	srv := &http.Server{
		Handler: s.handler, ConnState: s.conns.state,
		// What a handler does not set itself; transfers move theirs on as they go.
		ReadHeaderTimeout: s.o.Slow, ReadTimeout: 2 * s.o.Slow, WriteTimeout: 4 * s.o.Slow, IdleTimeout: 4 * s.o.Slow,
		MaxHeaderBytes: 16 << 10,
		BaseContext:    func(net.Listener) context.Context { return base },
		ErrorLog:       slog.NewLogLogger(s.log.Handler(), slog.LevelDebug),
		TLSConfig:      &tls.Config{MinVersion: tls.VersionTLS12},
	}
	var work sync.WaitGroup
	work.Go(func() { s.fileArrivals(base) })
	work.Go(func() { s.hub.look(base, s) })
	work.Go(func() { s.tidy(base) })
	failed := make(chan error, 1)
	go func() {
		if s.o.Cert != "" {
			failed <- srv.ServeTLS(l, s.o.Cert, s.o.Key)
			return
		}
		failed <- srv.Serve(l)
	}()
	var err error
	select {
	case err = <-failed:
	case <-ctx.Done():
		end() // streams and what works in the background
		stop, cancel := context.WithTimeout(context.Background(), 800*time.Millisecond)
		defer cancel()
		if srv.Shutdown(stop) != nil {
			_ = srv.Close()
		}
	}
	end()
	work.Wait()
	s.compares.wait()
	if errors.Is(err, http.ErrServerClosed) {
		err = nil
	}
	return err
}

// Folders below Options.Folder.
func (s *Server) clipsFolder() string   { return filepath.Join(s.o.Folder, "clips") }
func (s *Server) resultFolder() string  { return ResultFolder(s.o.Folder) }
func (s *Server) compareFolder() string { return filepath.Join(s.o.Folder, "comparisons") }

// ResultFolder is where results of uploaded clips go.
func ResultFolder(folder string) string { return filepath.Join(folder, "results") }

// URL is how people reach the page.
func URL(o Options) string {
	scheme := "http"
	if o.Cert != "" {
		scheme = "https"
	}
	host, port, _ := net.SplitHostPort(o.Listen)
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		host = "localhost"
	}
	return scheme + "://" + net.JoinHostPort(host, port) + "/"
}
