package web

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// link is a way to one hitter's results without a password.
type link struct {
	ID, HitterID, MadeBy, Created, Expires string
	Revoked                                bool
}

// token is what stands in the address: the link's number, the end of its time and a
// signature over both and the hitter. Without the key of the store nobody makes one,
// and no part can be changed.
func (s *Server) token(l link) string {
	text := l.ID + "." + strconv.FormatInt(unix(l.Expires), 36)
	return text + "." + base64.RawURLEncoding.EncodeToString(s.sign(text, l.HitterID))
}

func (s *Server) sign(text, hitterID string) []byte {
	m := hmac.New(sha256.New, s.key)
	m.Write([]byte("link\n" + text + "\n" + hitterID))
	return m.Sum(nil)
}

func unix(stamp string) int64 {
	t, err := time.Parse(time.RFC3339, stamp)
	if err != nil {
		return 0
	}
	return t.Unix()
}

// link returns the link of a token; false when it is not one of ours, over, or revoked.
func (s *Server) link(ctx context.Context, token string) (link, bool, error) {
	text, sig, ok := cutLast(token, ".")
	id, _, ok2 := strings.Cut(text, ".")
	got, err := base64.RawURLEncoding.DecodeString(sig)
	if !ok || !ok2 || err != nil || len(token) > 200 {
		return link{}, false, nil
	}
	l := link{ID: id}
	var revoked int64
	found, err := s.one(ctx, []any{&l.HitterID, &l.MadeBy, &l.Created, &l.Expires, &revoked},
		`SELECT hitter_id, made_by, created, expires, revoked FROM web_links WHERE id = $1`, id)
	if err != nil || !found {
		return link{}, false, err
	}
	good := hmac.Equal(got, s.sign(text, l.HitterID)) && s.token(l) == token
	return l, good && revoked == 0 && stamp(s.now()) < l.Expires, nil
}

func cutLast(s, sep string) (before, after string, found bool) {
	if i := strings.LastIndex(s, sep); i >= 0 {
		return s[:i], s[i+len(sep):], true
	}
	return s, "", false
}

// openLink takes a link: it becomes a cookie, so that the address shows it no more.
func (s *Server) openLink(w http.ResponseWriter, r *http.Request) error {
	l, ok, err := s.link(r.Context(), r.PathValue("token"))
	if err != nil {
		return err
	}
	if !ok {
		return &problem{status: http.StatusGone, text: "This link does not work any more.", hint: "Ask your instructor for a new one."}
	}
	left := time.Unix(unix(l.Expires), 0).Sub(s.now())
	http.SetCookie(w, s.cookie(linkCookie, r.PathValue("token"), max(left, time.Minute)))
	http.Redirect(w, r, "/hitters/"+l.HitterID, http.StatusSeeOther)
	return nil
}

// linksOf lists the links of a hitter, the latest first.
func (s *Server) linksOf(ctx context.Context, hitterID string) ([]link, error) {
	var out []link
	err := s.db.Query(ctx, func(scan func(...any) error) error {
		l := link{HitterID: hitterID}
		var revoked int64
		err := scan(&l.ID, &l.MadeBy, &l.Created, &l.Expires, &revoked)
		l.Revoked = revoked != 0
		out = append(out, l)
		return err
	}, `SELECT id, made_by, created, expires, revoked FROM web_links WHERE hitter_id = $1 ORDER BY created DESC, id`, hitterID)
	return out, err
}

func (s *Server) makeLink(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return badForm(err)
	}
	h, err := s.hitter(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	if list, _ := s.passwords.entries(); len(list) == 0 {
		return refuse(http.StatusConflict, "Links are for people on the network: set a password first (plantframe serve passwd NAME).")
	}
	days := s.o.LinkDays
	if text := r.PostForm.Get("days"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > 366 {
			return refuse(http.StatusUnprocessableEntity, "A link lives 1 to 366 days.")
		}
		days = n
	}
	now := s.now()
	_, err = s.db.Exec(r.Context(), `INSERT INTO web_links (id, hitter_id, made_by, created, expires, revoked) VALUES ($1, $2, $3, $4, $5, 0)`,
		random(12), h.ID, personOf(r).Name, stamp(now), stamp(now.AddDate(0, 0, days)))
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/hitters/"+h.ID+"#links", http.StatusSeeOther)
	return nil
}

func (s *Server) revokeLink(w http.ResponseWriter, r *http.Request) error {
	var hitter string
	found, err := s.one(r.Context(), []any{&hitter}, `SELECT hitter_id FROM web_links WHERE id = $1`, r.PathValue("id"))
	if err != nil {
		return err
	}
	if !found {
		return notFound()
	}
	if _, err := s.db.Exec(r.Context(), `UPDATE web_links SET revoked = 1 WHERE id = $1`, r.PathValue("id")); err != nil {
		return err
	}
	http.Redirect(w, r, "/hitters/"+hitter+"#links", http.StatusSeeOther)
	return nil
}
