package web

import (
	"fmt"
	"net/http"
	"os"
	"strings"
	"testing"
	"time"
)

// Every route, asked by everybody: what a role may not do is refused, and nothing
// breaks. The paths are filled with things that exist.
func TestRoutesAndRoles(t *testing.T) {
	b := newBench(t, true)
	own, other := b.hitterNamed("Ann"), b.hitterNamed("Bo")
	sha, foreign := b.analysed("a.mp4", "one", own), b.analysed("b.mp4", "two", other)
	coach := b.as("coach")
	wantCode(t, coach.post("/hitters/"+own.ID+"/links", "days", "3"), http.StatusSeeOther)
	links, err := b.linksOf(t.Context(), own.ID)
	if err != nil || len(links) != 1 {
		t.Fatal(links, err)
	}
	guest := b.client()
	wantCode(t, guest.get("/view/"+b.token(links[0])), http.StatusSeeOther)
	people := map[string]*client{"nobody": b.client(), "guest": guest, "helper": b.as("helper"), "coach": coach}
	fill := func(p string, sha, hitter string) string {
		for from, to := range map[string]string{
			"{$}": "", "{sha}": sha, "{a}": sha, "{b}": foreign, "{token}": "x", "{act}": "cancel", "{name}": "app.js",
			"{name...}": "analysis.json",
		} {
			p = strings.ReplaceAll(p, from, to)
		}
		switch {
		case strings.HasPrefix(p, "/hitters/"):
			return strings.ReplaceAll(p, "{id}", hitter)
		case strings.HasPrefix(p, "/uploads/"):
			return strings.ReplaceAll(p, "{id}", strings.Repeat("0", 32))
		}
		return strings.ReplaceAll(p, "{id}", "77")
	}
	seen := 0
	for _, r := range b.routes() {
		method, pattern, _ := strings.Cut(r.pattern, " ")
		if pattern == "/events" || pattern == "/logout" || pattern == "/metrics" { // the one does not end, the other ends the rest, the third is by the machine
			continue
		}
		for name, c := range people {
			for _, theirs := range []bool{true, false} {
				path := fill(pattern, sha, own.ID)
				if !theirs {
					path = fill(pattern, foreign, other.ID)
				}
				if name == "coach" && method != "GET" { // would do it
					continue
				}
				w := c.do(method, path, strings.NewReader(""), map[string]string{"Content-Type": "application/x-www-form-urlencoded"})
				seen++
				id := fmt.Sprint(name, " ", method, " ", path, ": ", w.Code)
				allowed := r.who == public || name == "coach" || name == "helper" && r.who != instructor || name == "guest" && r.who == anybody && theirs
				refusedAs := w.Code == 401 || w.Code == 403 || w.Code == 404 || w.Code == 303 && strings.HasPrefix(w.Header().Get("Location"), "/login")
				switch {
				case w.Code >= 500:
					t.Error(id, w.Body)
				case !allowed && !refusedAs && pattern != "/{$}":
					t.Error("not refused: ", id, w.Body)
				case allowed && method == "GET" && pattern != "/view/{token}" && w.Code >= 400 && pattern != "/compare/{a}/{b}/files/{name...}" && (pattern != "/compare/{a}/{b}" || theirs):
					t.Error("refused: ", id, w.Body)
				}
			}
		}
	}
	if seen < 100 {
		t.Error("only ", seen, " requests")
	}
	// What was refused did nothing.
	if _, found, _ := b.d.Records.Clip(t.Context(), nil, sha); !found {
		t.Error("a clip was deleted by somebody who may not")
	}
}

func TestLinks(t *testing.T) {
	b := newBench(t, true)
	h := b.hitterNamed("Ann")
	sha := b.analysed("a.mp4", "one", h)
	coach := b.as("coach")
	coach.post("/hitters/"+h.ID+"/links", "days", "2")
	l, _ := b.linksOf(t.Context(), h.ID)
	token := b.token(l[0])
	if !strings.Contains(coach.get("/hitters/"+h.ID).Body.String(), "/view/"+token) {
		t.Error("the link is not shown")
	}
	if strings.Contains(b.as("helper").get("/hitters/"+h.ID).Body.String(), "/view/") {
		t.Error("a viewer is shown the link")
	}
	open := func() *client {
		c := b.client()
		c.get("/view/" + token)
		return c
	}
	g := open()
	wantCode(t, g.get("/clips/"+sha), 200)
	// Each character of the link counts, and the time in it cannot be moved.
	for i := range token {
		r := byte('A')
		if token[i] == r {
			r = 'B'
		}
		bad := token[:i] + string(r) + token[i+1:]
		if _, ok, err := b.link(t.Context(), bad); ok || err != nil {
			t.Fatalf("%s is taken for %s: %v", bad, token, err)
		}
	}
	for _, bad := range []string{"", ".", "..", "a.b.c", strings.Repeat("x", 10000), token + "A", token[:len(token)-1]} {
		if _, ok, _ := b.link(t.Context(), bad); ok {
			t.Error("taken: ", cut(bad, 50))
		}
	}
	before := b.now
	b.now = before.Add(49 * time.Hour)
	wantCode(t, g.get("/clips/"+sha), http.StatusSeeOther) // to the login
	wantCode(t, b.client().get("/view/"+token), http.StatusGone)
	b.now = before
	wantCode(t, open().get("/clips/"+sha), 200)
	wantCode(t, coach.post("/links/"+l[0].ID+"/revoke"), http.StatusSeeOther)
	wantCode(t, g.get("/clips/"+sha), http.StatusSeeOther)
	wantCode(t, b.client().get("/view/"+token), http.StatusGone)
	wantCode(t, coach.post("/hitters/"+h.ID+"/links", "days", "9999"), 422)
	// The link goes with the hitter.
	coach.post("/hitters/"+h.ID+"/links", "days", "2")
	wantCode(t, coach.post("/hitters/"+h.ID+"/delete", "name", "Ann"), http.StatusSeeOther)
	if l, _ := b.linksOf(t.Context(), h.ID); len(l) != 0 {
		t.Error("links are left: ", l)
	}
}

func TestSessions(t *testing.T) {
	b := newBench(t, true)
	c := b.as("coach")
	wantCode(t, c.get("/jobs"), 200)
	var rows int
	if _, err := b.one(t.Context(), []any{&rows}, `SELECT COUNT(*) FROM web_sessions WHERE hash = $1`, c.cookies[sessionCookie]); err != nil || rows != 0 {
		t.Error("the store holds the secret itself", err)
	}
	b.restart()
	wantCode(t, c.get("/jobs"), 200)
	stolen := *c
	stolen.cookies = map[string]string{sessionCookie: c.cookies[sessionCookie]}
	wantCode(t, c.post("/logout"), http.StatusSeeOther)
	wantCode(t, stolen.get("/jobs"), http.StatusSeeOther)

	c = b.as("coach")
	b.now = b.now.Add(b.o.Session + time.Second)
	wantCode(t, c.get("/jobs"), http.StatusSeeOther)
	c = b.as("coach")
	if err := SetPassword(b.o.Passwords, "coach", "another one", Instructor); err != nil {
		t.Fatal(err)
	}
	wantCode(t, c.get("/jobs"), http.StatusSeeOther) // the password changed
	h := b.as("helper")
	if err := SetPassword(b.o.Passwords, "helper", "", Viewer); err != nil {
		t.Fatal(err)
	}
	wantCode(t, h.get("/jobs"), http.StatusSeeOther) // taken out of the file
	if err := os.Remove(b.o.Passwords); err != nil {
		t.Fatal(err)
	}
	// Without the file, while it ran: a page of the network lets nobody in.
	b.o.Listen, b.Server.o.Listen = "0.0.0.0:1", "0.0.0.0:1"
	wantCode(t, b.client().get("/jobs"), http.StatusSeeOther)
}

func TestCookiesAreClosed(t *testing.T) {
	b := newBench(t, true)
	for _, tls := range []string{"", "cert.pem"} {
		b.Server.o.Cert = tls
		w := b.client().post("/login", "name", "coach", "password", "secret coach", "next", "/jobs")
		c := w.Result().Cookies()[0]
		if !c.HttpOnly || c.SameSite != http.SameSiteLaxMode || c.Secure != (tls != "") || c.Path != "/" || c.Domain != "" {
			t.Errorf("%+v", c)
		}
		if to := w.Header().Get("Location"); to != "/jobs" {
			t.Error(to)
		}
	}
}

func TestLoginLeadsToThisPageAlone(t *testing.T) {
	for next, want := range map[string]string{
		"/jobs?show=open": "/jobs?show=open", "": "/", "//evil.example": "/", "https://evil.example/": "/", `/\evil.example`: "/",
		"javascript:alert(1)": "/", "jobs": "/", "/a\nb": "/", "/\t/evil.example": "/",
	} {
		if got := localPath(next); got != want {
			t.Errorf("%q leads to %q, want %q", next, got, want)
		}
	}
}

// Wrong passwords are limited, from one address and from all; right ones and requests
// without one are not.
func TestBruteForce(t *testing.T) {
	b := newBench(t, true)
	c := b.client()
	for range 200 {
		wantCode(t, c.get("/jobs"), http.StatusSeeOther)
	}
	for range 2 * senderBurst {
		wantCode(t, c.post("/login", "name", "coach", "password", "secret coach"), http.StatusSeeOther)
	}
	c = b.client()
	for i := range senderBurst {
		name := []string{"coach", "nobody"}[i%2]
		wantCode(t, c.post("/login", "name", name, "password", "wrong"), http.StatusUnauthorized)
	}
	wantCode(t, c.post("/login", "name", "coach", "password", "wrong"), http.StatusTooManyRequests)
	wantCode(t, c.post("/login", "name", "coach", "password", "secret coach"), http.StatusTooManyRequests)
	away := b.client()
	away.from = "192.0.2.2:4000"
	wantCode(t, away.post("/login", "name", "coach", "password", "secret coach"), http.StatusSeeOther)
	b.now = b.now.Add(senderEvery)
	wantCode(t, c.post("/login", "name", "coach", "password", "secret coach"), http.StatusSeeOther)

	// Many addresses together, and the memory they take. No password is hashed here:
	// that would take a minute.
	l := newLimiter(func() time.Time { return b.now })
	got := 0
	for i := range mostSenders + 300 {
		r := &http.Request{RemoteAddr: fmt.Sprintf("10.%d.%d.%d:1", i>>16, i>>8&255, i&255)}
		if _, ok := l.attempt(senderOf(r)); ok {
			got++
		}
	}
	if got != allBurst {
		t.Error("tries: ", got)
	}
	if len(l.senders) > mostSenders {
		t.Error("senders: ", len(l.senders))
	}
	one, two := &http.Request{RemoteAddr: "[2001:db8::1]:1"}, &http.Request{RemoteAddr: "[2001:db8::ffff:2]:9"}
	if senderOf(one) != senderOf(two) {
		t.Error("one household counts as two")
	}
}

func TestPasswordFile(t *testing.T) {
	b := newBench(t, false)
	path := b.o.Passwords
	for _, bad := range [][2]string{{"a b", "long enough"}, {"a:b", "long enough"}, {"", "long enough"}, {"ann", "short"}, {"ann", strings.Repeat("x", 2000)}} {
		if SetPassword(path, bad[0], bad[1], Instructor) == nil {
			t.Error("taken: ", bad[0])
		}
	}
	b.password("ann", Instructor)
	st, err := os.Stat(path)
	if err != nil || st.Mode().Perm() != 0o600 {
		t.Fatal(st, err)
	}
	text, _ := os.ReadFile(path)
	if strings.Contains(string(text), "secret") {
		t.Error("the password stands in the file")
	}
	e, _ := (&passwordFile{path: path}).find("ann")
	if !checkPassword(e.hash, "secret ann") || checkPassword(e.hash, "secret an") || checkPassword("x", "secret ann") {
		t.Error("the check is wrong")
	}
	for _, bad := range []string{
		"ann:boss:" + e.hash, "ann:instructor:secret", "ann", "ann:instructor:$argon2id$v=19$m=99999999,t=2,p=1$" + strings.SplitN(e.hash, "$", 5)[4],
	} {
		if err := os.WriteFile(path, []byte(bad+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := readPasswords(path); err == nil || strings.Contains(err.Error(), "argon2id") {
			t.Error(bad, err)
		}
	}
	_ = os.WriteFile(path, text, 0o600)
	_ = os.Chmod(path, 0o644)
	if _, err := readPasswords(path); err == nil {
		t.Error("a file that others read is taken")
	}
}

// Without passwords the page is for this machine; the host that a browser names must
// be this machine too, or a page of somebody else's gets in by its own name.
func TestWhoMayListen(t *testing.T) {
	b := newBench(t, false)
	for listen, want := range map[string]bool{
		"127.0.0.1:1": true, "localhost:1": true, "[::1]:1": true, "127.9.9.9:1": true,
		":1": false, "0.0.0.0:1": false, "192.0.2.1:1": false, "[::]:1": false, "example.org:1": false,
	} {
		o := b.o
		o.Listen = listen
		if _, err := New(t.Context(), o, b.d); (err == nil) != want {
			t.Error(listen, err)
		}
	}
	for host, want := range map[string]int{"localhost:8765": 200, "127.0.0.1": 200, "[::1]:8765": 200, "evil.example": 421, "evil.example:8765": 421, "localhost.evil.example": 421, "": 421} {
		c := b.client()
		c.host = host
		wantCode(t, c.get("/jobs"), want)
	}
	b.password("helper", Viewer)
	if _, err := New(t.Context(), b.o, b.d); err == nil {
		t.Error("a file without an instructor is taken")
	}
	b.password("coach", Instructor)
	o := b.o
	o.Listen = ":1"
	if _, err := New(t.Context(), o, b.d); err != nil {
		t.Error(err)
	}
}

// Forms and uploads of other sites are refused, whichever way a browser tells.
func TestOtherSitesAreRefused(t *testing.T) {
	b := newBench(t, true)
	c := b.as("coach")
	for _, r := range b.routes() {
		method, path, _ := strings.Cut(r.pattern, " ")
		if method == "GET" || method == "HEAD" {
			continue
		}
		for _, h := range []map[string]string{
			{"Sec-Fetch-Site": "cross-site"},
			{"Sec-Fetch-Site": "same-site"},
			{"Sec-Fetch-Site": "", "Origin": "http://evil.example"},
			{"Sec-Fetch-Site": "", "Origin": "null"},
		} {
			w := c.do(method, strings.ReplaceAll(strings.NewReplacer("{$}", "", "{id}", "1", "{sha}", "1", "{act}", "retry").Replace(path), "{", ""), strings.NewReader("name=x"), h)
			if w.Code != http.StatusForbidden {
				t.Error(r.pattern, h, w.Code)
			}
		}
	}
	wantCode(t, c.do("POST", "/logout", nil, map[string]string{"Sec-Fetch-Site": "", "Origin": "http://localhost:8765"}), http.StatusSeeOther)
}
