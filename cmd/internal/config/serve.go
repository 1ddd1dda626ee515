package config

import (
	"fmt"
	"net"
	"os"
	"path/filepath"
	"time"
)

// ServeSettings are those of the web page.
type ServeSettings struct {
	// Listen is the address and port of the page. Default 127.0.0.1:8765, which
	// nobody but this machine reaches; any other address needs a password file.
	Listen string
	// Folder holds uploaded clips and their results. Default plantframe/academy
	// in the user's data folder.
	Folder string
	// Passwords is the file with names and passwords, written by plantframe
	// serve passwd. Default plantframe/passwords in the user's configuration
	// folder, when it is there.
	Passwords string
	// Cert and Key are the files of a certificate and its key (PEM): the page
	// is served by HTTPS. Default none.
	Cert, Key string
	// MaxClipMb is the size of the largest clip that may be uploaded, MB.
	// Default 2048: ten minutes of a phone at 4K.
	MaxClipMb int
	// MaxUploads is the number of uploads that may be unfinished at a time.
	// Default 300.
	MaxUploads int
	// KeepUploads is how long an upload that does not go on is kept for its
	// sender to come back. Default 168h.
	KeepUploads time.Duration
	// Session is how long somebody stays logged in. Default 12h.
	Session time.Duration
	// LinkDays is how many days a link to one hitter's reports lives, unless
	// another number is chosen when it is made. Default 14.
	LinkDays int
	// NoWork leaves the clips to workers that run elsewhere (plantframe work).
	// Default false.
	NoWork bool
}

func defaultServe() ServeSettings {
	return ServeSettings{
		Listen: "127.0.0.1:8765", MaxClipMb: 2048, MaxUploads: 300, KeepUploads: 7 * 24 * time.Hour,
		Session: 12 * time.Hour, LinkDays: 14,
	}
}

// ServeFolder returns the folder of uploaded clips and their results, absolute.
func (s Settings) ServeFolder() (string, error) {
	if s.Serve.Folder != "" {
		return filepath.Abs(s.Serve.Folder)
	}
	dir, err := dataDir()
	return filepath.Join(dir, "plantframe", "academy"), err
}

// PasswordFile returns the file of passwords, whether it is there or not.
func (s Settings) PasswordFile() (string, error) {
	if s.Serve.Passwords != "" {
		return filepath.Abs(s.Serve.Passwords)
	}
	dir, err := os.UserConfigDir()
	return filepath.Join(dir, "plantframe", "passwords"), err
}

func (s Settings) validateServe() error {
	w := s.Serve
	if _, port, err := net.SplitHostPort(w.Listen); err != nil || port == "" {
		return usage("", fmt.Sprintf("setting \"serve.listen\" is %q, it must be an address with a port", w.Listen), "such as 127.0.0.1:8765")
	}
	switch {
	case w.MaxClipMb < 1 || w.MaxUploads < 1 || w.LinkDays < 1 || w.LinkDays > 366:
		return usage("", "settings \"serve.max_clip_mb\", \"serve.max_uploads\" and \"serve.link_days\" must be 1 or more, the last up to 366", "")
	case w.KeepUploads <= 0 || w.Session <= 0:
		return usage("", "settings \"serve.keep_uploads\" and \"serve.session\" must be more than nothing", "")
	case (w.Cert == "") != (w.Key == ""):
		return usage("", "settings \"serve.cert\" and \"serve.key\" go together", "give both files, or none")
	}
	return nil
}
