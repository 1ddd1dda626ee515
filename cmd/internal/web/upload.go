package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"regexp"
	"strconv"
	"time"

	"github.com/tus/tusd/v2/pkg/filestore"
	"github.com/tus/tusd/v2/pkg/handler"
	"github.com/tus/tusd/v2/pkg/memorylocker"
	"golang.org/x/exp/slog"

	"plantframe/cmd/internal/store"
)

// openTus makes the handler of resumable uploads. Only what our script uses is there:
// create, ask, go on, end. One server works in a folder (the caller sees to that), so
// locks live in memory and a killed server leaves none.
func (s *Server) openTus() error {
	files := filestore.New(s.incoming.dir)
	files.DirModePerm, files.FileModePerm = 0o700, 0o600
	c := handler.NewStoreComposer()
	c.UseCore(files)
	c.UseTerminater(files)
	c.UseLocker(memorylocker.New())
	var err error
	s.tus, err = handler.NewUnroutedHandler(handler.Config{
		StoreComposer: c, BasePath: "/uploads/", MaxSize: s.o.MaxClip,
		DisableDownload: true, DisableConcatenation: true, Cors: &handler.CorsConfig{Disable: true},
		Logger:         slog.New(slog.NewTextHandler(io.Discard, nil)),
		NetworkTimeout: s.o.Slow, GracefulRequestCompletionTimeout: time.Second,
		PreUploadCreateCallback: func(h handler.HookEvent) (handler.HTTPResponse, handler.FileInfoChanges, error) {
			var r handler.HTTPResponse
			modified, _ := strconv.ParseInt(h.Upload.MetaData["modified"], 10, 64)
			u, err := s.begin(h.Context, h.Upload.MetaData["filename"], h.Upload.MetaData["hitter"], h.Upload.Size, modified)
			var p *problem
			switch {
			case errors.As(err, &p):
				return r, handler.FileInfoChanges{}, handler.Error{ErrorCode: "ERR_REFUSED", Message: p.text, HTTPResponse: handler.HTTPResponse{
					StatusCode: p.status, Body: p.text + "\n", Header: handler.HTTPHeader{"Content-Type": "text/plain; charset=utf-8"},
				}}
			case err != nil:
				s.log.Error("an upload could not begin", "error", err)
				return r, handler.FileInfoChanges{}, handler.NewError("ERR_STORE", "the upload cannot begin now", http.StatusInternalServerError)
			}
			return r, handler.FileInfoChanges{ID: u.ID, MetaData: handler.MetaData{}}, nil
		},
		PreFinishResponseCallback: func(h handler.HookEvent) (handler.HTTPResponse, error) {
			s.arrive(h.Upload.ID)
			return handler.HTTPResponse{}, nil
		},
	})
	return err
}

// arrive says that an upload is complete; when nobody takes it now, the next sweep
// finds it.
func (s *Server) arrive(id string) {
	select {
	case s.arrived <- id:
	default:
	}
}

// uploadID is the form of our numbers of uploads, which are names of files.
var uploadID = regexp.MustCompile(`^[0-9a-f]{32}$`)

func (s *Server) tusCreate(w http.ResponseWriter, r *http.Request) error {
	s.runTus(w, r, s.tus.PostFile)
	return nil
}

// tusHead tells how much has arrived. What was filed in the meantime is complete: the
// last answer may have been lost.
func (s *Server) tusHead(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	u, ok, err := s.upload(r.Context(), id)
	if err != nil {
		return err
	}
	if ok && u.State != receiving {
		size := strconv.FormatInt(u.Size, 10)
		w.Header().Set("Tus-Resumable", "1.0.0")
		w.Header().Set("Upload-Offset", size)
		w.Header().Set("Upload-Length", size)
		w.WriteHeader(http.StatusOK)
		return nil
	}
	return s.tusOne(w, r, s.tus.HeadFile)
}

func (s *Server) tusPatch(w http.ResponseWriter, r *http.Request) error {
	return s.tusOne(w, r, s.tus.PatchFile)
}

// tusDelete ends an upload for good; one that is complete is a clip already.
func (s *Server) tusDelete(w http.ResponseWriter, r *http.Request) error {
	u, ok, err := s.upload(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	if ok && u.State != receiving {
		return refuse(http.StatusConflict, "It has arrived already.")
	}
	if err := s.tusOne(w, r, s.tus.DelFile); err != nil {
		return err
	}
	if ok {
		return s.drop(context.WithoutCancel(r.Context()), u.ID)
	}
	return nil
}

func (s *Server) tusOne(w http.ResponseWriter, r *http.Request, do http.HandlerFunc) error {
	if !uploadID.MatchString(r.PathValue("id")) {
		return notFound()
	}
	s.runTus(w, r, do)
	return nil
}

func (s *Server) runTus(w http.ResponseWriter, r *http.Request, do http.HandlerFunc) {
	r.Header.Del("X-HTTP-Method-Override")
	http.StripPrefix("/uploads/", s.tus.Middleware(do)).ServeHTTP(&relative{w}, r)
}

// relative makes the address of a new upload one without a host: behind a proxy we do
// not know how people call us.
type relative struct{ http.ResponseWriter }

func (r *relative) WriteHeader(status int) {
	h := r.Header()
	if to := h.Get("Location"); to != "" {
		if m := locationPath.FindString(to); m != "" {
			h.Set("Location", m)
		}
	}
	r.ResponseWriter.WriteHeader(status)
}

var locationPath = regexp.MustCompile(`/uploads/[0-9a-f]{32}$`)

// Unwrap is for http.ResponseController.
func (r *relative) Unwrap() http.ResponseWriter { return r.ResponseWriter }

type uploadView struct {
	frame
	Hitters    []store.Hitter
	Chosen     string
	Uploads    []uploadRow
	Accept     string
	MaxMB      int64
	Extensions []string
	Levels     []string
	Sports     []string
}

type uploadRow struct {
	upload
	Who person
}

// recentUploads is how many uploads are listed.
const recentUploads = 200

func (s *Server) uploadPage(w http.ResponseWriter, r *http.Request) error {
	hitters, err := s.d.Records.Hitters(r.Context(), nil)
	if err != nil {
		return err
	}
	list, err := s.uploads(r.Context(), `ORDER BY CASE WHEN u.state = $1 THEN 0 ELSE 1 END, u.changed DESC, u.id LIMIT $2`, receiving, recentUploads)
	if err != nil {
		return err
	}
	v := &uploadView{
		frame: s.frame(r, "Upload", "upload"), Hitters: hitters, Chosen: r.URL.Query().Get("hitter"), MaxMB: s.o.MaxClip >> 20,
		Extensions: s.d.Extensions, Levels: s.d.Levels, Sports: s.d.Sports,
	}
	for i, e := range s.d.Extensions {
		if i > 0 {
			v.Accept += ","
		}
		v.Accept += e
	}
	for _, u := range list {
		v.Uploads = append(v.Uploads, uploadRow{u, v.Who})
	}
	s.pages.show(w, http.StatusOK, "upload", v)
	return nil
}

func (s *Server) removeUpload(w http.ResponseWriter, r *http.Request) error {
	u, ok, err := s.upload(r.Context(), r.PathValue("id"))
	switch {
	case err != nil:
		return err
	case !ok:
		return notFound()
	case u.State == checking || u.State == filing:
		return refuse(http.StatusConflict, "It is just being looked at. Try again in a moment.")
	}
	if err := s.drop(r.Context(), u.ID); err != nil {
		return err
	}
	http.Redirect(w, r, "/upload", http.StatusSeeOther)
	return nil
}

// plainUpload takes clips from a form, for browsers without script. Each file is written
// as it comes; nothing is kept in memory. What was interrupted has to be sent again.
func (s *Server) plainUpload(w http.ResponseWriter, r *http.Request) error {
	w = s.longTransfer(w)
	form, err := r.MultipartReader()
	if err != nil {
		return refuse(http.StatusBadRequest, "No clips were sent.")
	}
	hitter, taken := "", 0
	for {
		_ = http.NewResponseController(w).SetReadDeadline(time.Now().Add(s.o.Slow))
		part, err := form.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return refuse(http.StatusBadRequest, "The clips did not arrive whole.")
		}
		switch {
		case part.FormName() == "hitter":
			b, err := io.ReadAll(io.LimitReader(part, 100))
			if err != nil {
				return refuse(http.StatusBadRequest, "The clips did not arrive whole.")
			}
			hitter = string(b)
		case part.FormName() == "clips" && part.FileName() != "":
			if err := s.plainOne(w, r, part, hitter); err != nil {
				return err
			}
			taken++
		}
	}
	if taken == 0 {
		return refuse(http.StatusUnprocessableEntity, "Choose one clip or more first.")
	}
	http.Redirect(w, r, "/upload?hitter="+urlEscape(hitter), http.StatusSeeOther)
	return nil
}

func (s *Server) plainOne(w http.ResponseWriter, r *http.Request, part *multipart.Part, hitter string) (err error) {
	u, err := s.begin(r.Context(), part.FileName(), hitter, -1, 0)
	if err != nil {
		return err
	}
	ctx := context.WithoutCancel(r.Context())
	defer func() {
		if err != nil {
			_ = s.drop(ctx, u.ID)
		}
	}()
	f, err := os.OpenFile(s.incoming.data(u.ID), os.O_CREATE|os.O_WRONLY|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	u.Size, err = s.copyClip(f, part, http.NewResponseController(w))
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	switch {
	case err != nil:
		return err
	case u.Size == 0:
		return refuse(http.StatusUnprocessableEntity, "%s is empty.", u.Name)
	}
	if err := s.change(ctx, &u); err != nil {
		return err
	}
	s.arrive(u.ID)
	return nil
}

// copyClip writes a clip of unknown size, within the limits on size and room.
func (s *Server) copyClip(f io.Writer, from io.Reader, rc *http.ResponseController) (int64, error) {
	const piece, look = 64 << 10, 64 << 20
	for n := int64(0); ; {
		_ = rc.SetReadDeadline(time.Now().Add(s.o.Slow))
		k, err := io.CopyN(f, from, piece)
		n += k
		switch {
		case errors.Is(err, io.EOF):
			return n, nil
		case err != nil:
			return n, &problem{status: http.StatusBadRequest, text: "The clip did not arrive whole.", hint: fmt.Sprintf("It stopped after %d MB.", n>>20)}
		case n > s.o.MaxClip:
			return n, refuse(http.StatusRequestEntityTooLarge, "A clip is larger than %d MB.", s.o.MaxClip>>20)
		}
		if n%look == 0 {
			if free, err := s.d.Free(s.incoming.dir); err == nil && free < s.o.MinFree {
				return n, refuse(http.StatusInsufficientStorage, "The disk of the server is full.")
			}
		}
	}
}
