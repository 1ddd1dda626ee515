package web

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"runtime/debug"
	"strings"
	"time"

	"plantframe/pipeline/swing"
)

// policy is what a page may load: our own files and nothing else. Only our own
// script files run; none stands in a page.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; media-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// mostForm bounds the body of a form, bytes.
const mostForm = 64 << 10

// problem is an error with the status that a browser gets.
type problem struct {
	status int
	text   string
	hint   string
}

func (p *problem) Error() string { return p.text }

func refuse(status int, text string, args ...any) error {
	return &problem{status: status, text: fmt.Sprintf(text, args...)}
}

// notFound is also what somebody gets who may not see a page: a link must not tell
// whether another hitter exists.
func notFound() error {
	return &problem{status: http.StatusNotFound, text: "There is no such page.", hint: "It may have been deleted."}
}

// guarded puts routes behind what holds for all of them.
func (s *Server) guarded() http.Handler {
	mux := http.NewServeMux()
	for _, r := range s.routes() {
		mux.Handle(r.pattern, s.route(r))
	}
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) { s.fail(w, r, notFound()) })
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.fail(w, r, refuse(http.StatusForbidden, "This was sent by the page of another site and is refused."))
	}))
	inner := cross.Handler(mux)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		// Addresses of this page, links among them, are told to no other site. Not
		// "no-referrer": browsers would then send no usable Origin with forms.
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=()")
		h.Set("Cache-Control", "no-store")
		defer func() {
			if v := recover(); v != nil {
				if err, ok := v.(error); ok && errors.Is(err, http.ErrAbortHandler) {
					panic(v)
				}
				s.log.Error("a page failed", "page", r.Pattern, "reason", v, "stack", string(debug.Stack()))
				s.fail(w, r, refuse(http.StatusInternalServerError, "The program failed on this page."))
			}
		}()
		if !s.ownHost(r) {
			s.fail(w, r, refuse(http.StatusMisdirectedRequest, "This page is for this machine alone; it is not known as %q.", r.Host))
			return
		}
		inner.ServeHTTP(w, r)
	})
}

// ownHost tells whether a request names this machine. Without passwords a page of
// somebody else's could let its own name point here, and would be let in.
func (s *Server) ownHost(r *http.Request) bool {
	if list, err := s.passwords.entries(); err != nil || len(list) > 0 {
		return true
	}
	host := r.Host
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = strings.Trim(host, "[]")
	ip := net.ParseIP(host)
	return strings.EqualFold(host, "localhost") || ip != nil && ip.IsLoopback()
}

// route checks who asks before it answers.
func (s *Server) route(r route) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, q *http.Request) {
		if q.Method == http.MethodPost && r.pattern != "POST /upload" && r.pattern != "POST /uploads/{$}" {
			q.Body = http.MaxBytesReader(w, q.Body, mostForm)
		}
		if r.who != public {
			p, ok, err := s.who(q)
			switch {
			case err != nil:
				s.fail(w, q, err)
				return
			case !ok:
				s.ask(w, q)
				return
			case !p.may(r.who):
				err := notFound()
				if p.hitter == "" {
					err = refuse(http.StatusForbidden, "This needs an instructor; you are logged in as a viewer.")
				}
				s.fail(w, q, err)
				return
			}
			q = q.WithContext(context.WithValue(q.Context(), personKey{}, p))
		}
		if err := r.do(w, q); err != nil {
			s.fail(w, q, err)
		}
	})
}

// ask sends somebody unknown to the login.
func (s *Server) ask(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet || r.Header.Get("Accept") == "text/event-stream" || strings.HasPrefix(r.URL.Path, "/uploads/") {
		s.fail(w, r, &problem{status: http.StatusUnauthorized, text: "You are not logged in any more.", hint: "Log in and try again; uploads go on where they stopped."})
		return
	}
	to := "/login"
	if r.URL.Path != "/" {
		to += "?next=" + urlEscape(r.URL.RequestURI())
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
}

// fail answers with an error: one sentence and a hint.
func (s *Server) fail(w http.ResponseWriter, r *http.Request, err error) {
	var p *problem
	var tooLarge *http.MaxBytesError
	e, isOurs := swing.AsError(err)
	switch {
	case errors.As(err, &p):
	case r.Context().Err() != nil:
		return // nobody listens any more
	case errors.As(err, &tooLarge):
		p = &problem{status: http.StatusRequestEntityTooLarge, text: "That is more than a form may hold."}
	case isOurs && e.Kind == swing.KindMissing:
		p = &problem{status: http.StatusNotFound, text: sentence(e.Msg), hint: sentence(e.Hint)}
	case isOurs && e.Kind == swing.KindUsage:
		p = &problem{status: http.StatusUnprocessableEntity, text: sentence(e.Msg), hint: sentence(e.Hint)}
	default:
		s.log.Error("a page could not be made", "page", r.Pattern, "error", err)
		p = &problem{status: http.StatusInternalServerError, text: "The page could not be made.", hint: "The program's log says why."}
		if personOf(r).Instructor() { // it may name folders
			p.hint = sentence(s.d.Say(err))
		}
	}
	_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(s.o.Slow))
	if strings.HasPrefix(r.URL.Path, "/uploads/") { // the script shows it
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		w.WriteHeader(p.status)
		fmt.Fprintln(w, p.text)
		return
	}
	s.pages.show(w, p.status, "problem", &problemView{frame: frame{Title: "Not possible", Who: personOf(r)}, Text: p.text, Hint: p.hint})
}

type problemView struct {
	frame
	Text, Hint string
}

// sentence makes a message begin and end like a sentence.
func sentence(s string) string {
	if s == "" {
		return ""
	}
	s = strings.ToUpper(s[:1]) + s[1:]
	if !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
}

// longTransfer gives a route all the time it needs as long as it moves on: each
// piece that is written or read gets the time of a slow client.
func (s *Server) longTransfer(w http.ResponseWriter) http.ResponseWriter {
	rc := http.NewResponseController(w)
	_ = rc.SetReadDeadline(time.Time{})
	_ = rc.SetWriteDeadline(time.Time{})
	return &mover{ResponseWriter: w, rc: rc, slow: s.o.Slow}
}

// mover moves the write deadline on with every write.
type mover struct {
	http.ResponseWriter
	rc   *http.ResponseController
	slow time.Duration
}

func (m *mover) Write(b []byte) (int, error) {
	_ = m.rc.SetWriteDeadline(time.Now().Add(m.slow))
	return m.ResponseWriter.Write(b)
}

// Unwrap is for http.ResponseController.
func (m *mover) Unwrap() http.ResponseWriter { return m.ResponseWriter }
