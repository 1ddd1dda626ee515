package web

import (
	"context"
	"os"
	"path/filepath"
	"time"

	"plantframe/cmd/internal/queue"
	"plantframe/pipeline/swing"
)

// sweepEvery is how often uploads are looked for that are complete without anybody
// having said so: the server died after the last byte, or the database was away.
const sweepEvery = 20 * time.Second

// fileArrivals files completed uploads until ctx ends.
func (s *Server) fileArrivals(ctx context.Context) {
	s.sweep(ctx)
	tick := time.NewTicker(sweepEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case id := <-s.arrived:
			s.fileOne(ctx, id)
		case <-tick.C:
			s.sweep(ctx)
		}
	}
}

// sweep files all uploads whose bytes are complete.
func (s *Server) sweep(ctx context.Context) {
	list, err := s.uploads(ctx, `WHERE u.state IN ($1, $2, $3) ORDER BY u.created`, receiving, checking, filing)
	if err != nil {
		if ctx.Err() == nil {
			s.log.Warn("uploads cannot be looked for", "error", err)
		}
		return
	}
	for _, u := range list {
		if ctx.Err() == nil && (u.State != receiving || u.Size > 0 && u.Have == u.Size) {
			s.fileOne(ctx, u.ID)
		}
	}
}

// fileOne files one upload. What fails for a reason that is not the clip's is tried
// again by the next sweep, and said until then.
func (s *Server) fileOne(ctx context.Context, id string) {
	s.filing.Lock()
	defer s.filing.Unlock()
	u, ok, err := s.upload(ctx, id)
	if err != nil || !ok || !u.Open() {
		return
	}
	if err := s.file(ctx, &u); err != nil && ctx.Err() == nil {
		s.log.Warn("an upload cannot be filed yet", "upload", id, "error", err)
		u.Note = "it waits: " + s.d.Say(err)
		_ = s.change(ctx, &u)
	}
}

// file makes a clip of an upload whose bytes are all there: what it is, whether it was
// here before, its place, its job. Each step can be done twice, so that a crash between
// two of them loses nothing and doubles nothing.
func (s *Server) file(ctx context.Context, u *upload) error {
	var clip swing.Clip
	if u.State != filing {
		var done bool
		var err error
		if clip, done, err = s.inspect(ctx, u); done || err != nil {
			return err
		}
	}
	from := s.incoming.data(u.ID)
	if _, err := os.Lstat(u.Path); err != nil { // else it moved before a crash
		if err := os.MkdirAll(filepath.Dir(u.Path), 0o700); err != nil {
			return err
		}
		if err := os.Rename(from, u.Path); err != nil {
			return err
		}
		syncFolder(filepath.Dir(u.Path))
	}
	if clip.SHA256 == "" { // it was inspected before a crash
		var err error
		if clip, err = s.d.Probe(ctx, u.Path); err != nil {
			return err
		}
	}
	clip.Path = u.Path
	h, err := s.hitter(ctx, u.HitterID)
	if err != nil {
		return err
	}
	order, err := s.d.Order(ctx, clip, h)
	if err != nil {
		return err
	}
	job, _, err := s.d.Queue.Add(ctx, order, queue.Urgent)
	if err != nil {
		return err
	}
	if err := s.remember(ctx, u.Path, clip.SHA256, job.ID); err != nil {
		return err
	}
	u.State, u.Note, u.Job = queued, "", job.ID
	if err := s.change(ctx, u); err != nil {
		return err
	}
	if err := s.incoming.remove(u.ID); err != nil {
		s.log.Warn("what is left of an upload cannot be removed", "upload", u.ID, "error", err)
	}
	s.d.Added()
	return nil
}

// inspect looks into an upload and gives it its place; done = it needs none.
func (s *Server) inspect(ctx context.Context, u *upload) (clip swing.Clip, done bool, err error) {
	u.State, u.Note = checking, ""
	if err := s.change(ctx, u); err != nil {
		return clip, false, err
	}
	from := s.incoming.data(u.ID)
	if err := settle(from, u.Modified); err != nil {
		return clip, false, err
	}
	clip, err = s.d.Probe(ctx, from)
	if ctx.Err() != nil {
		return clip, false, ctx.Err()
	}
	if err != nil {
		if e, ok := swing.AsError(err); ok && e.Kind != swing.KindUnreadable && e.Kind != swing.KindMissing && e.Kind != swing.KindUsage {
			return clip, false, err // not the clip's fault
		}
		u.State, u.Note = refused, s.d.Say(err)
		return clip, true, s.conclude(ctx, u)
	}
	u.SHA256 = clip.SHA256
	note, err := s.sameAs(ctx, clip.SHA256)
	if err != nil {
		return clip, false, err
	}
	if note != "" {
		u.State, u.Note = known, note
		return clip, true, s.conclude(ctx, u)
	}
	u.State, u.Path = filing, filepath.Join(s.clipsFolder(), clip.SHA256[:2], clip.SHA256, u.Name)
	return clip, false, s.change(ctx, u)
}

// conclude settles an upload that becomes no clip: first its row, then its bytes.
func (s *Server) conclude(ctx context.Context, u *upload) error {
	if err := s.change(ctx, u); err != nil {
		return err
	}
	return s.incoming.remove(u.ID)
}

// sameAs says where content is that was here before; "" when it is new.
func (s *Server) sameAs(ctx context.Context, sha256 string) (string, error) {
	line, found, err := s.d.Records.Clip(ctx, nil, sha256)
	if err != nil {
		return "", err
	}
	if found {
		text := "this clip was here already, named " + line.File
		if line.Hitter != "" {
			text += ", of " + line.Hitter
		}
		return text, nil
	}
	seen, err := s.d.Queue.SameContent(ctx, sha256)
	if err != nil || len(seen) == 0 {
		return "", err
	}
	job, err := s.d.Queue.Get(ctx, seen[len(seen)-1].Job)
	if err != nil {
		return "", nil //nolint:nilerr // its job is gone: it is taken as new
	}
	text := "this clip was here already, named " + filepath.Base(job.Clip.Path)
	if job.Clip.Hitter != "" {
		text += ", of " + job.Clip.Hitter
	}
	return text, nil
}

// remember notes in the queue which file a clip's content has.
func (s *Server) remember(ctx context.Context, path, sha256 string, job int64) error {
	st, err := os.Stat(path)
	if err != nil {
		return err
	}
	rel, err := filepath.Rel(s.clipsFolder(), path)
	if err != nil {
		return err
	}
	return s.d.Queue.Remember(ctx, queue.Seen{
		Root: s.clipsFolder(), Path: filepath.ToSlash(rel), Size: st.Size(), Time: st.ModTime().UnixNano(), SHA256: sha256, Job: job,
	})
}

// settle brings the bytes of an upload onto the disk and gives the file the time that
// the browser told, which says when a clip was filmed if nothing else does.
func settle(path string, modified int64) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	err = f.Sync()
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err == nil && modified > 0 {
		t := time.UnixMilli(modified)
		err = os.Chtimes(path, t, t)
	}
	return err
}

// syncFolder makes a new name survive a power cut; not all file systems can.
func syncFolder(dir string) {
	if d, err := os.Open(dir); err == nil {
		_ = d.Sync()
		_ = d.Close()
	}
}
