package store

import (
	"encoding/binary"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"time"
)

// dated finds a day in a name: 2026-03-04, 2026_03_04, 2026.03.04 or 20260304, with
// no further digit beside it.
var dated = regexp.MustCompile(`(?:^|\D)(20\d\d)([-_.]?)(\d\d)([-_.]?)(\d\d)(?:\D|$)`)

// dayIn returns the day that a name tells, in local time.
func dayIn(name string) (time.Time, bool) {
	m := dated.FindStringSubmatch(name)
	if m == nil || m[2] != m[4] {
		return time.Time{}, false
	}
	t, err := time.ParseInLocation(time.DateOnly, m[1]+"-"+m[3]+"-"+m[5], time.Local)
	return t, err == nil
}

// whole is a folder name that is a day and nothing else.
var whole = regexp.MustCompile(`^20\d\d[-_.]?\d\d[-_.]?\d\d$`)

// FromFolders reads roster data from the folders of a clip: HITTER/DATE/clip, where
// DATE is the whole name of the folder that holds the clip, such as 2026-03-04 or
// 20260304. Any other path says nothing: ok is false.
func FromFolders(clip string) (hitter string, day time.Time, ok bool) {
	abs, err := filepath.Abs(clip)
	if err != nil {
		return "", day, false
	}
	dir := filepath.Dir(abs)
	date := filepath.Base(dir)
	if !whole.MatchString(date) {
		return "", day, false
	}
	day, ok = dayIn(date)
	parent := filepath.Dir(dir)
	hitter = CleanName(filepath.Base(parent))
	if !ok || parent == dir || filepath.Dir(parent) == parent || hitter == "" {
		return "", day, false
	}
	return hitter, day, true
}

// ShotDay tells when a clip was filmed and how that is known: from a folder whose
// name is a day ("folder"), a day in the file's name ("name"), the time that the
// camera wrote into the clip ("clip"), or else the file's own time ("file"), which
// copying may change. Days after now are not believed.
func ShotDay(clip string, now time.Time) (day time.Time, source string) {
	// A clock that runs ahead, or another time zone, is forgiven a day.
	latest := now.Add(24 * time.Hour)
	if name := filepath.Base(filepath.Dir(clip)); whole.MatchString(name) {
		if t, ok := dayIn(name); ok && t.Before(latest) {
			return t, "folder"
		}
	}
	if t, ok := dayIn(filepath.Base(clip)); ok && t.Before(latest) {
		return t, "name"
	}
	if t, ok := clipTime(clip); ok && t.Before(latest) {
		return t.Local(), "clip"
	}
	if st, err := os.Stat(clip); err == nil && st.ModTime().Before(latest) {
		return st.ModTime(), "file"
	}
	return now, "file"
}

// epoch is where clips of the MP4 family count time from (ISO/IEC 14496-12, movie
// header box).
var epoch = time.Date(1904, 1, 1, 0, 0, 0, 0, time.UTC)

// earliest is a time before which no camera wrote such clips; clips without a
// clock, or with one that was never set, say less.
var earliest = time.Date(2000, 1, 2, 0, 0, 0, 0, time.UTC)

// clipTime reads the creation time of a clip of the MP4 family: moov/mvhd. Nothing
// else is read of the file.
func clipTime(path string) (time.Time, bool) {
	f, err := os.Open(path)
	if err != nil {
		return time.Time{}, false
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil || !st.Mode().IsRegular() {
		return time.Time{}, false
	}
	from, to, ok := box(f, "moov", 0, st.Size())
	if ok {
		from, to, ok = box(f, "mvhd", from, to)
	}
	var b [12]byte
	if !ok || to-from < int64(len(b)) {
		return time.Time{}, false
	}
	if _, err := f.ReadAt(b[:], from); err != nil {
		return time.Time{}, false
	}
	seconds := uint64(binary.BigEndian.Uint32(b[4:8]))
	if b[0] == 1 { // 64 bit times
		seconds = binary.BigEndian.Uint64(b[4:12])
	}
	if seconds > 1<<33 { // later than the year 2176: not a time
		return time.Time{}, false
	}
	t := epoch.Add(time.Duration(seconds) * time.Second)
	return t, t.After(earliest)
}

// mostBoxes bounds the walk through a file that is no clip.
const mostBoxes = 1000

// box finds the content of a box among those from an offset to another.
func box(r io.ReaderAt, name string, from, to int64) (start, end int64, ok bool) {
	var h [16]byte
	for range mostBoxes {
		if to-from < 8 {
			break
		}
		if _, err := r.ReadAt(h[:8], from); err != nil {
			break
		}
		size, head := int64(binary.BigEndian.Uint32(h[:4])), int64(8)
		switch size {
		case 0: // to the end
			size = to - from
		case 1: // 64 bit length
			if _, err := r.ReadAt(h[8:16], from+8); err != nil {
				return 0, 0, false
			}
			size, head = int64(binary.BigEndian.Uint64(h[8:16])&(1<<62-1)), 16
		}
		if size < head || size > to-from {
			break
		}
		if string(h[4:8]) == name {
			return from + head, from + size, true
		}
		from += size
	}
	return 0, 0, false
}
