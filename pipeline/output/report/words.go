package report

import (
	"html/template"
	"net/url"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// capital begins a text with a capital.
func capital(t string) string {
	first, n := utf8.DecodeRuneInString(t)
	if n == 0 {
		return t
	}
	return string(unicode.ToUpper(first)) + t[n:]
}

// href makes a relative link of path elements: names of files may hold anything,
// and none is taken for a scheme or a host.
func href(parts ...string) template.URL {
	var out []string
	for _, p := range parts {
		for _, q := range strings.Split(p, "/") {
			out = append(out, url.PathEscape(q))
		}
	}
	return template.URL("./" + strings.Join(out, "/")) //nolint:gosec // escaped, and relative by its first two characters
}

var numbered = regexp.MustCompile(`-(\d+)$`)

// fileWords calls a file by what it is.
func fileWords(file string) string {
	base, ext, _ := strings.Cut(file, ".")
	which := ""
	if m := numbered.FindStringSubmatch(base); m != nil {
		base, which = strings.TrimSuffix(base, m[0]), " "+m[1]
	}
	switch base + "." + ext {
	case "report.html":
		return "report" + which
	case "report.pdf":
		return "sheet" + which
	case "overlay.mp4":
		return "video" + which
	case "side-by-side.mp4":
		return "side by side" + which
	case "measures.csv":
		return "all measures (CSV)"
	}
	return file
}
