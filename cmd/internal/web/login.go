package web

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"net/url"
	"strings"
	"time"
)

// person is who sends a request.
type person struct {
	Name   string // as logged in; "" = this machine or a link
	role   Role
	hitter string // id; a link shows this one alone
	local  bool   // there are no passwords
}

type personKey struct{}

// may tells whether somebody may use a route.
func (p person) may(a access) bool {
	switch a {
	case public, anybody:
		return true
	case reader:
		return p.hitter == "" && (p.role == Instructor || p.role == Viewer)
	}
	return p.hitter == "" && p.role == Instructor
}

// Instructor and Guest are for pages: what to offer.
func (p person) Instructor() bool { return p.may(instructor) }

// Guest tells whether somebody came by a link.
func (p person) Guest() bool { return p.hitter != "" }

// Known tells whether there is anybody: the login has no menu.
func (p person) Known() bool { return p.role != "" || p.hitter != "" }

// sees tells whether somebody may see what belongs to a hitter.
func (p person) sees(hitterID string) bool { return p.hitter == "" || p.hitter == hitterID }

func personOf(r *http.Request) person {
	p, _ := r.Context().Value(personKey{}).(person)
	return p
}

// Cookies.
const (
	sessionCookie = "plantframe-session"
	linkCookie    = "plantframe-link"
)

// cookie makes a cookie that scripts cannot read and other sites cannot send along
// with a form.
func (s *Server) cookie(name, value string, age time.Duration) *http.Cookie {
	c := &http.Cookie{
		Name: name, Value: value, Path: "/", HttpOnly: true, SameSite: http.SameSiteLaxMode, Secure: s.o.Cert != "",
		MaxAge: int(age / time.Second),
	}
	if value == "" {
		c.MaxAge = -1
	}
	return c
}

// who finds out who sends a request: by a session, by a link, or, without passwords,
// this machine.
func (s *Server) who(r *http.Request) (person, bool, error) {
	list, err := s.passwords.entries()
	if err != nil {
		return person{}, false, err
	}
	if len(list) == 0 {
		if !Loopback(s.o.Listen) { // the file was taken away while we ran
			return person{}, false, nil
		}
		return person{role: Instructor, local: true}, true, nil
	}
	if c, err := r.Cookie(sessionCookie); err == nil {
		p, ok, err := s.session(r.Context(), c.Value)
		if ok || err != nil {
			return p, ok, err
		}
	}
	if c, err := r.Cookie(linkCookie); err == nil {
		l, ok, err := s.link(r.Context(), c.Value)
		if ok || err != nil {
			return person{hitter: l.HitterID}, ok, err
		}
	}
	return person{}, false, nil
}

// session returns who has a session. It ends when its time is over, when the password
// or the role changed, and when the name was taken out of the file.
func (s *Server) session(ctx context.Context, token string) (person, bool, error) {
	var name, mark, expires string
	found, err := s.one(ctx, []any{&name, &mark, &expires}, `SELECT name, mark, expires FROM web_sessions WHERE hash = $1`, hashed(token))
	if err != nil || !found || expires <= stamp(s.now()) {
		return person{}, false, err
	}
	e, ok := s.passwords.find(name)
	if !ok || markOf(e) != mark {
		return person{}, false, nil
	}
	return person{Name: name, role: e.role}, true, nil
}

// hashed is what the store keeps of a session's secret: whoever reads the store cannot
// log in with it.
func hashed(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

// markOf changes with password and role.
func markOf(e entry) string { return hashed(e.name + "\n" + string(e.role) + "\n" + e.hash)[:32] }

type loginView struct {
	frame
	Next, Wrong, Name string
}

func (s *Server) loginPage(w http.ResponseWriter, r *http.Request) error {
	if list, err := s.passwords.entries(); err == nil && len(list) == 0 {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return nil
	}
	s.pages.show(w, http.StatusOK, "login", &loginView{frame: frame{Title: "Log in"}, Next: localPath(r.URL.Query().Get("next"))})
	return nil
}

// nobody is checked when a name is not known, so that an answer takes as long as for
// one that is.
const nobody = "$argon2id$v=19$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"

func (s *Server) login(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return badForm(err)
	}
	name, password, next := r.PostForm.Get("name"), r.PostForm.Get("password"), localPath(r.PostForm.Get("next"))
	again := func(status int, text string) error {
		s.pages.show(w, status, "login", &loginView{frame: frame{Title: "Log in"}, Next: next, Wrong: text, Name: name})
		return nil
	}
	if name == "" || password == "" {
		return again(http.StatusUnprocessableEntity, "Name and password are both needed.")
	}
	right, ok := s.limiter.attempt(senderOf(r))
	if !ok {
		w.Header().Set("Retry-After", "15")
		return again(http.StatusTooManyRequests, "There were too many wrong passwords. Wait a minute and try again.")
	}
	e, known := s.passwords.find(name)
	hash := nobody
	if known {
		hash = e.hash
	}
	select { // few at a time: each check takes memory
	case s.checks <- struct{}{}:
	case <-r.Context().Done():
		return r.Context().Err()
	}
	good := checkPassword(hash, password)
	<-s.checks
	if !good || !known {
		s.log.Warn("a wrong password", "from", senderOf(r).Addr())
		return again(http.StatusUnauthorized, "Name or password is wrong.")
	}
	right()
	token := random(32)
	_, err := s.db.Exec(r.Context(), `INSERT INTO web_sessions (hash, name, mark, expires) VALUES ($1, $2, $3, $4)`,
		hashed(token), e.name, markOf(e), stamp(s.now().Add(s.o.Session)))
	if err != nil {
		return err
	}
	http.SetCookie(w, s.cookie(sessionCookie, token, s.o.Session))
	http.Redirect(w, r, next, http.StatusSeeOther)
	return nil
}

func (s *Server) logout(w http.ResponseWriter, r *http.Request) error {
	if c, err := r.Cookie(sessionCookie); err == nil {
		if _, err := s.db.Exec(r.Context(), `DELETE FROM web_sessions WHERE hash = $1`, hashed(c.Value)); err != nil {
			return err
		}
	}
	http.SetCookie(w, s.cookie(sessionCookie, "", 0))
	http.SetCookie(w, s.cookie(linkCookie, "", 0))
	http.Redirect(w, r, "/login", http.StatusSeeOther)
	return nil
}

// localPath returns a path of this page, "/" for anything else: a login must not lead
// to another site.
func localPath(next string) string {
	u, err := url.Parse(next)
	if err != nil || u.IsAbs() || u.Host != "" || !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.ContainsAny(next, "\\\r\n\t") {
		return "/"
	}
	return next
}

func urlEscape(s string) string { return url.QueryEscape(s) }

// badForm is what a form gets that cannot be read.
func badForm(err error) error {
	if strings.Contains(err.Error(), "too large") {
		return err
	}
	return refuse(http.StatusBadRequest, "The form cannot be read.")
}
