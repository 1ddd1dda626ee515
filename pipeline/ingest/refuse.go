package ingest

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"strings"
	"unicode/utf8"

	"plantframe/pipeline/swing"
)

// refusal says in one sentence why ffprobe does not open a file. ffprobe says
// "invalid data" of almost anything, so the file's first bytes are looked at.
func refusal(op, path string, lines []string) *swing.Error {
	bad := func(msg, hint string) *swing.Error {
		return fail(op, path, swing.KindUnreadable, msg, hint, nil)
	}
	const again = "copy it from the phone again"
	head := firstBytes(path, 4096)
	starts := func(magics ...string) bool {
		for _, m := range magics {
			if bytes.HasPrefix(head, []byte(m)) {
				return true
			}
		}
		return false
	}
	text := strings.Join(lines, "\n")
	switch {
	case starts("#EXTM3U", "ffconcat ", "<?xml", "<MPD", "[playlist]", "<smil"):
		return bad("this is a list that names other files, not a video", "name the video files themselves")
	case starts("\xff\xd8\xff", "\x89PNG", "GIF8", "BM", "II*\x00", "MM\x00*") || isBrand(head, "heic", "heix", "mif1", "avif") ||
		starts("RIFF") && len(head) > 12 && string(head[8:12]) == "WEBP":
		return bad("this is a still picture, not a video", "choose the video")
	case starts("%PDF", "PK\x03\x04", "\x1f\x8b", "Rar!", "7z\xbc\xaf"):
		return bad("this is a document or an archive, not a video", "unpack it and choose the video")
	case starts("ID3", "OggS", "fLaC") || starts("RIFF") && len(head) > 12 && string(head[8:12]) == "WAVE":
		return bad("the file holds sound only, no video", "choose the video file")
	case isText(head):
		return bad("this is a text file, not a video", "choose the video file")
	case strings.Contains(text, "moov atom not found") && len(head) > 8 && isBox(string(head[4:8])):
		return bad("the recording was never finished: the table of its frames is missing",
			again+"; if the phone shows it, trim it there and save it as a new clip")
	case strings.Contains(text, "not on whitelist"):
		return bad("this kind of file is not read", "save it as MP4 or MOV")
	}
	return bad("this is not a video that can be read", again+", or save it as MP4")
}

// firstBytes returns up to n bytes of a file, fewer on any trouble.
func firstBytes(path string, n int) []byte {
	f, err := os.Open(path)
	if err != nil {
		return nil
	}
	defer f.Close()
	b := make([]byte, n)
	n, _ = io.ReadFull(f, b)
	return b[:n]
}

// isBrand tells whether the file calls itself one of these kinds of ISO media.
func isBrand(head []byte, brands ...string) bool {
	if len(head) < 12 || string(head[4:8]) != "ftyp" {
		return false
	}
	for _, b := range brands {
		if string(head[8:12]) == b {
			return true
		}
	}
	return false
}

// isBox tells whether four letters name a box that ISO media files start with.
func isBox(name string) bool {
	switch name {
	case "ftyp", "mdat", "wide", "free", "skip", "moov", "pnot":
		return true
	}
	return false
}

// isText tells whether bytes are plain text: valid UTF-8 without control
// characters, the last character perhaps cut.
func isText(b []byte) bool {
	if len(b) == 0 {
		return false
	}
	for i := 0; i < len(b); {
		r, n := utf8.DecodeRune(b[i:])
		if r == utf8.RuneError && n == 1 {
			return len(b)-i < utf8.UTFMax && !utf8.FullRune(b[i:])
		}
		if r < ' ' && r != '\n' && r != '\r' && r != '\t' && r != '\f' {
			return false
		}
		i += n
	}
	return true
}

// cutOff walks the top-level boxes of an ISO media file and tells whether one
// of them reaches beyond the end of the file, and how long the file should
// be, bytes. Other containers are not judged.
func cutOff(path string) (int64, bool) {
	f, err := os.Open(path)
	if err != nil {
		return 0, false
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return 0, false
	}
	var h [16]byte
	for at := int64(0); at < st.Size(); {
		n, _ := f.ReadAt(h[:], at)
		if n < 8 {
			return 0, false
		}
		if at == 0 && !isBox(string(h[4:8])) {
			return 0, false
		}
		size := int64(binary.BigEndian.Uint32(h[:4]))
		switch {
		case size == 0: // to the end of the file
			return 0, false
		case size == 1 && n == 16:
			size = int64(binary.BigEndian.Uint64(h[8:])) //nolint:gosec // checked below
		}
		if size < 8 || at+size < at {
			return 0, false
		}
		at += size
		if at > st.Size() {
			return at, true
		}
	}
	return 0, false
}

// cutOffWarning says how much of a clip is missing.
func cutOffWarning(want, have int64, s stream, t timetable) swing.Warning {
	text := fmt.Sprintf("The file is cut off: %.0f %% of it is missing.", 100*(1-float64(have)/float64(want)))
	if n := ratio(s.Frames + "/1"); n > float64(t.listed) {
		text = fmt.Sprintf("The file is cut off: %d of %.0f frames are there.", t.listed, n)
	}
	return swing.Warning{Code: "cut-off", Text: text}
}
