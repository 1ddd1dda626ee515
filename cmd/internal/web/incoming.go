package web

import (
	"context"
	"errors"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"
)

// States of an upload.
const (
	receiving = "receiving" // bytes are missing
	checking  = "checking"  // all bytes are there
	filing    = "filing"    // its place is known: it moves there and gets its job
	queued    = "queued"    // it is a clip with a job
	known     = "known"     // its content was here already
	refused   = "refused"   // it is no clip that can be analysed
)

// incoming is the folder of uploads, beside the clips so that a finished one moves
// without being copied. Its name begins with a dot: a watcher passes over it.
type incoming struct {
	dir string
	mu  sync.Mutex // decides about new uploads one after the other
}

func (i *incoming) data(id string) string { return filepath.Join(i.dir, id) }
func (i *incoming) info(id string) string { return filepath.Join(i.dir, id+".info") }

// remove takes the files of an upload away.
func (i *incoming) remove(id string) error {
	for _, p := range []string{i.data(id), i.info(id)} {
		if err := os.Remove(p); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	return nil
}

// openIncoming makes the folders; clips may show minors, so they are private.
func (s *Server) openIncoming() error {
	s.incoming.dir = filepath.Join(s.clipsFolder(), ".incoming")
	for _, dir := range []string{s.o.Folder, s.clipsFolder(), s.incoming.dir, s.resultFolder(), s.compareFolder()} {
		if err := os.MkdirAll(dir, 0o700); err != nil {
			return err
		}
	}
	return s.openTus()
}

// upload is one row of the uploads.
type upload struct {
	ID, Name, HitterID, Hitter, State, Note, SHA256, Path string
	Size, Modified, Job, Have                             int64 // Modified: ms since 1970, 0 = not told; Have: bytes, while receiving
	Created, Changed                                      string
}

// Percent is how much has arrived.
func (u upload) Percent() int {
	if u.Size <= 0 {
		return 0
	}
	return int(100 * min(u.Have, u.Size) / u.Size)
}

// Open tells whether something is still to happen.
func (u upload) Open() bool { return u.State == receiving || u.State == checking || u.State == filing }

const uploadColumns = `u.id, u.name, u.hitter_id, h.name, u.state, u.note, u.sha256, u.path, u.size, u.modified, u.job, u.created, u.changed
	FROM web_uploads u JOIN hitters h ON h.id = u.hitter_id`

func (s *Server) uploads(ctx context.Context, where string, args ...any) ([]upload, error) {
	var out []upload
	err := s.db.Query(ctx, func(scan func(...any) error) error {
		var u upload
		err := scan(&u.ID, &u.Name, &u.HitterID, &u.Hitter, &u.State, &u.Note, &u.SHA256, &u.Path, &u.Size, &u.Modified, &u.Job, &u.Created, &u.Changed)
		out = append(out, u)
		return err
	}, `SELECT `+uploadColumns+` `+where, args...)
	for i := range out {
		if out[i].State == receiving {
			if st, err := os.Stat(s.incoming.data(out[i].ID)); err == nil {
				out[i].Have = st.Size()
			}
		}
	}
	return out, err
}

// upload returns one row; false when it is not there.
func (s *Server) upload(ctx context.Context, id string) (upload, bool, error) {
	list, err := s.uploads(ctx, `WHERE u.id = $1`, id)
	if err != nil || len(list) == 0 {
		return upload{}, false, err
	}
	return list[0], true, nil
}

// begin takes a new upload, or says why not. size is -1 when it is not known.
func (s *Server) begin(ctx context.Context, name, hitterID string, size, modified int64) (upload, error) {
	s.incoming.mu.Lock()
	defer s.incoming.mu.Unlock()
	clean := s.clipName(name)
	switch {
	case clean == "":
		return upload{}, refuse(422, "%q is not the name of a clip: it must end in one of %s.", cut(name, 80), strings.Join(s.d.Extensions, ", "))
	case size == 0:
		return upload{}, refuse(422, "%s is empty.", clean)
	case size > s.o.MaxClip:
		return upload{}, refuse(413, "%s is larger than %d MB.", clean, s.o.MaxClip>>20)
	}
	h, err := s.hitter(ctx, hitterID)
	if err != nil {
		return upload{}, refuse(422, "Choose whose clip %s is.", clean)
	}
	var n, expected int64
	open, err := s.uploads(ctx, `WHERE u.state IN ($1, $2, $3)`, receiving, checking, filing)
	if err != nil {
		return upload{}, err
	}
	for _, u := range open {
		n++
		if u.State == receiving {
			expected += max(0, u.Size-u.Have)
		}
	}
	if n >= int64(s.o.MaxUploads) {
		return upload{}, refuse(429, "%d uploads are unfinished, which is the most there may be. Wait for them, or remove some.", n)
	}
	if free, err := s.d.Free(s.incoming.dir); err == nil && free-expected-max(0, size) < s.o.MinFree {
		return upload{}, refuse(507, "The disk of the server has no room for %s.", clean)
	}
	now := s.now()
	if modified < 0 || modified > now.UnixMilli() {
		modified = 0
	}
	u := upload{ID: random(16), Name: clean, HitterID: h.ID, Hitter: h.Name, State: receiving, Size: size, Modified: modified, Created: stamp(now), Changed: stamp(now)}
	_, err = s.db.Exec(ctx, `INSERT INTO web_uploads (id, name, hitter_id, size, modified, state, note, sha256, path, job, created, changed)
		VALUES ($1, $2, $3, $4, $5, $6, '', '', '', 0, $7, $7)`, u.ID, u.Name, u.HitterID, u.Size, u.Modified, u.State, u.Created)
	if err == nil {
		s.hub.send(event{upload: &u})
	}
	return u, err
}

// longestClipName bounds a name, bytes: file systems take 255, and results add to it.
const longestClipName = 100

// clipName makes a file name of what a browser calls a file: its last part, printable
// characters that no file system minds, no dot in front. "" when it is no clip.
func (s *Server) clipName(name string) string {
	name = path.Base(strings.ReplaceAll(strings.ToValidUTF8(name, ""), `\`, "/"))
	ext := strings.ToLower(path.Ext(name))
	if !slices.Contains(s.d.Extensions, ext) {
		return ""
	}
	stem := strings.Map(func(r rune) rune {
		switch {
		case strings.ContainsRune(`<>:"|?*`, r), !unicode.IsPrint(r):
			return '_'
		}
		return r
	}, strings.TrimSuffix(name, path.Ext(name)))
	stem = strings.Trim(stem, ". ")
	for len(stem) > longestClipName {
		_, n := utf8.DecodeLastRuneInString(stem)
		stem = stem[:len(stem)-n]
	}
	if stem == "" {
		stem = "clip"
	}
	return stem + ext
}

// cut shortens a text for a message, characters.
func cut(s string, n int) string {
	rs := []rune(s)
	if len(rs) <= n {
		return s
	}
	return string(rs[:n]) + "..."
}

// change writes the state of an upload and tells those who look on.
func (s *Server) change(ctx context.Context, u *upload) error {
	u.Changed = stamp(s.now())
	_, err := s.db.Exec(ctx, `UPDATE web_uploads SET name = $2, size = $3, state = $4, note = $5, sha256 = $6, path = $7, job = $8, changed = $9 WHERE id = $1`,
		u.ID, u.Name, u.Size, u.State, u.Note, u.SHA256, u.Path, u.Job, u.Changed)
	c := *u
	s.hub.send(event{upload: &c})
	return err
}

// drop removes an upload with its bytes.
func (s *Server) drop(ctx context.Context, id string) error {
	if err := s.incoming.remove(id); err != nil {
		return err
	}
	_, err := s.db.Exec(ctx, `DELETE FROM web_uploads WHERE id = $1`, id)
	return err
}

// tidy removes, now and every hour, uploads that nobody goes on with, files that belong
// to none, rows that are old, and sessions that are over.
func (s *Server) tidy(ctx context.Context) {
	tick := time.NewTicker(time.Hour)
	defer tick.Stop()
	for {
		if err := s.tidyOnce(ctx); err != nil && ctx.Err() == nil {
			s.log.Warn("uploads could not be tidied", "error", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// keepRows is how long finished uploads are listed.
const keepRows = 30 * 24 * time.Hour

func (s *Server) tidyOnce(ctx context.Context) error {
	now := s.now()
	open, err := s.uploads(ctx, `WHERE u.state = $1`, receiving)
	if err != nil {
		return err
	}
	live := map[string]bool{}
	for _, u := range open {
		last, _ := time.Parse(time.RFC3339, u.Changed)
		if st, err := os.Stat(s.incoming.data(u.ID)); err == nil && st.ModTime().After(last) {
			last = st.ModTime()
		}
		if now.Sub(last) <= s.o.KeepUploads {
			live[u.ID] = true
			continue
		}
		if err := s.drop(ctx, u.ID); err != nil {
			return err
		}
	}
	rest, err := s.uploads(ctx, `WHERE u.state IN ($1, $2)`, checking, filing)
	if err != nil {
		return err
	}
	for _, u := range rest {
		live[u.ID] = true
	}
	files, err := os.ReadDir(s.incoming.dir)
	if err != nil {
		return err
	}
	for _, f := range files {
		id, _, _ := strings.Cut(f.Name(), ".")
		info, err := f.Info()
		// A minute's grace: the row of a new upload is written before its file.
		if err == nil && !live[id] && now.Sub(info.ModTime()) > time.Minute {
			_ = os.Remove(filepath.Join(s.incoming.dir, f.Name()))
		}
	}
	if _, err := s.db.Exec(ctx, `DELETE FROM web_uploads WHERE state IN ($1, $2, $3) AND changed < $4`, queued, known, refused, stamp(now.Add(-keepRows))); err != nil {
		return err
	}
	_, err = s.db.Exec(ctx, `DELETE FROM web_sessions WHERE expires < $1`, stamp(now))
	return err
}
