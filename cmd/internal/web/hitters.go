package web

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"os"
	"regexp"
	"slices"
	"strconv"

	"plantframe/cmd/internal/queue"
	"plantframe/cmd/internal/store"
	"plantframe/pipeline/swing"
)

// hitterForm is the form of a hitter's number.
var hitterForm = regexp.MustCompile(`^[0-9a-f]{16}$`)

// hitter finds a hitter by number; the error says when there is none.
func (s *Server) hitter(ctx context.Context, id string) (store.Hitter, error) {
	if !hitterForm.MatchString(id) {
		return store.Hitter{}, notFound()
	}
	h, err := s.d.Records.FindHitter(ctx, nil, id)
	if e, ok := swing.AsError(err); ok && e.Kind == swing.KindMissing || err == nil && h.ID != id {
		return h, notFound() // a name may look like a number
	}
	return h, err
}

type hittersView struct {
	frame
	Hitters        []store.Hitter
	Levels, Sports []string
}

func (s *Server) hittersPage(w http.ResponseWriter, r *http.Request) error {
	v := &hittersView{frame: s.frame(r, "Hitters", "hitters"), Levels: s.d.Levels, Sports: s.d.Sports}
	var err error
	if v.Hitters, err = s.d.Records.Hitters(r.Context(), nil); err != nil {
		return err
	}
	s.pages.show(w, http.StatusOK, "hitters", v)
	return nil
}

// hitterSave adds a hitter or changes what is known of one.
func (s *Server) hitterSave(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return badForm(err)
	}
	f := r.PostForm
	h := store.Hitter{Name: store.CleanName(f.Get("name")), Bats: swing.Bats(f.Get("bats")), Level: f.Get("level"), Sport: f.Get("sport"), Adult: f.Get("adult") == "yes"}
	wrong := ""
	switch {
	case h.Name == "":
		wrong = "A hitter needs a name."
	case h.Bats != "" && h.Bats != swing.Right && h.Bats != swing.Left:
		wrong = "The side is left or right."
	case h.Level != "" && !slices.Contains(s.d.Levels, h.Level), h.Sport != "" && !slices.Contains(s.d.Sports, h.Sport):
		wrong = "Choose level and sport from the lists."
	}
	if wrong != "" {
		return refuse(http.StatusUnprocessableEntity, "%s", wrong)
	}
	if text := f.Get("height"); text != "" {
		m, err := s.d.Height(text)
		if err != nil {
			return refuse(http.StatusUnprocessableEntity, "The height cannot be read; write it like 1.78, 178cm or 5ft10in.")
		}
		h.HeightM = m
	}
	if h.Adult && h.Level == "" {
		h.Level = "adult"
	}
	h, err := s.d.Records.SetHitter(r.Context(), nil, h)
	if err != nil {
		return err
	}
	to := "/hitters/" + h.ID
	if f.Get("next") == "upload" {
		to = "/upload?hitter=" + h.ID
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
	return nil
}

type hitterView struct {
	frame
	Hitter         store.Hitter
	Height         string
	Clips          []store.ClipLine
	More           bool
	Links          []linkRow
	LinkDays       int
	Passwords      bool
	Levels, Sports []string
}

type linkRow struct {
	link
	Address string
	Over    bool
}

func (s *Server) hitterPage(w http.ResponseWriter, r *http.Request) error {
	ctx, p := r.Context(), personOf(r)
	h, err := s.hitter(ctx, r.PathValue("id"))
	if err == nil && !p.sees(h.ID) {
		err = notFound()
	}
	if err != nil {
		return err
	}
	v := &hitterView{
		frame: s.frame(r, h.Name, "hitters"), Hitter: h, LinkDays: s.o.LinkDays, Levels: s.d.Levels, Sports: s.d.Sports,
	}
	if h.HeightM > 0 {
		v.Height = strconv.FormatFloat(h.HeightM, 'f', 2, 64)
	}
	if v.Clips, v.More, err = s.d.Records.Clips(ctx, nil, h.ID, perPage, 0); err != nil {
		return err
	}
	if list, _ := s.passwords.entries(); len(list) > 0 {
		v.Passwords = true
	}
	if p.Instructor() {
		links, err := s.linksOf(ctx, h.ID)
		if err != nil {
			return err
		}
		for _, l := range links {
			row := linkRow{link: l, Over: l.Expires <= stamp(s.now())}
			if !row.Over && !l.Revoked {
				scheme := "http://"
				if s.o.Cert != "" {
					scheme = "https://"
				}
				row.Address = scheme + r.Host + "/view/" + s.token(l)
			}
			v.Links = append(v.Links, row)
		}
	}
	s.pages.show(w, http.StatusOK, "hitter", v)
	return nil
}

// hitterProgress is the page over time, drawn as plantframe progress draws it.
func (s *Server) hitterProgress(w http.ResponseWriter, r *http.Request) error {
	h, err := s.hitter(r.Context(), r.PathValue("id"))
	if err == nil && !personOf(r).sees(h.ID) {
		err = notFound()
	}
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := s.d.Progress(r.Context(), &b, h); err != nil {
		return err
	}
	return s.givePage(w, b.Bytes(), "/hitters/"+h.ID, "Back to "+h.Name)
}

func (s *Server) rosterPage(w http.ResponseWriter, r *http.Request) error {
	var b bytes.Buffer
	if err := s.d.Roster(r.Context(), &b, func(id string) string { return "/hitters/" + id + "/progress" }); err != nil {
		return err
	}
	return s.givePage(w, b.Bytes(), "/hitters", "Back to the hitters")
}

// hitterDelete removes a hitter with all clips, results, jobs, uploads and links.
func (s *Server) hitterDelete(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return badForm(err)
	}
	ctx := context.WithoutCancel(r.Context())
	h, err := s.hitter(ctx, r.PathValue("id"))
	if err != nil {
		return err
	}
	if store.CleanName(r.PostForm.Get("name")) != h.Name {
		return refuse(http.StatusUnprocessableEntity, "Write the name of the hitter to say that you are sure.")
	}
	uploads, err := s.uploads(ctx, `WHERE u.hitter_id = $1`, h.ID)
	if err != nil {
		return err
	}
	shas := map[string]bool{}
	for _, u := range uploads {
		if u.State == receiving || u.State == checking {
			if err := s.drop(ctx, u.ID); err != nil {
				return err
			}
		}
		if u.State == queued || u.State == filing {
			shas[u.SHA256] = true
		}
	}
	jobs, err := s.d.Queue.List(ctx, queue.Filter{Hitter: h.Name})
	if err != nil {
		return err
	}
	for _, j := range jobs {
		shas[j.Clip.SHA256] = true
	}
	for {
		list, more, err := s.d.Records.Clips(ctx, nil, h.ID, 500, 0)
		if err != nil {
			return err
		}
		for _, l := range list {
			shas[l.SHA256] = true
		}
		for sha := range shas {
			if err := s.removeOf(ctx, sha, h.ID); err != nil {
				return err
			}
		}
		clear(shas)
		if !more {
			break
		}
	}
	if _, err := s.d.Records.DeleteHitter(ctx, nil, h.ID); err != nil {
		return err
	}
	http.Redirect(w, r, "/hitters", http.StatusSeeOther)
	return nil
}

// removeOf removes a clip if it is a hitter's: one that was given to somebody else
// after its job stays.
func (s *Server) removeOf(ctx context.Context, sha256, hitterID string) error {
	c, err := s.clip(ctx, sha256)
	var p *problem
	if errors.As(err, &p) { // nothing of it is left but, perhaps, the file of a cut-off upload
		if shaForm.MatchString(sha256) {
			return os.RemoveAll(s.clipsFolder() + "/" + sha256[:2] + "/" + sha256)
		}
		return nil
	}
	if err != nil || c.HitterID != hitterID {
		return err
	}
	return s.remove(ctx, c)
}
