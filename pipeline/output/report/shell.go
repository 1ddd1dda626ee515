package report

import (
	"bytes"
	"embed"
	"encoding/base64"
	"html/template"
	"io"

	"plantframe/pipeline/swing"
)

//go:embed base.html page.html progress.html roster.html index.html style.css
var files embed.FS

// shell is what every page has.
type shell struct {
	Style template.CSS
	Title string
}

// image is a picture of a page.
type image struct {
	Src  template.URL
	Name string
	Alt  string
}

// inline puts a picture into the page itself.
func inline(p Picture, name, alt string) *image {
	return &image{
		Src:  template.URL("data:" + p.Type + ";base64," + base64.StdEncoding.EncodeToString(p.Data)), //nolint:gosec // our own picture
		Name: name, Alt: alt,
	}
}

// dressed is a view that takes the common style.
type dressed interface{ dress(css template.CSS) }

func (s *shell) dress(css template.CSS) { s.Style = css }

// execute writes a page, whole or not at all. Errors are *swing.Error.
func execute(op, clip string, w io.Writer, name string, v dressed) error {
	t, err := template.New(name).ParseFS(files, "base.html", name)
	if err != nil {
		return internal(op, err)
	}
	css, err := files.ReadFile("style.css")
	if err != nil {
		return internal(op, err)
	}
	v.dress(template.CSS(css)) //nolint:gosec // our own style
	var b bytes.Buffer
	if err := t.Execute(&b, v); err != nil {
		return internal(op, err)
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return full(op, clip, err)
	}
	return nil
}

// full says that the disk or its like does not take a page.
func full(op, clip string, err error) error {
	return &swing.Error{
		Op: op, Clip: clip, Frame: -1, Kind: swing.KindOutput, Msg: "the report cannot be written",
		Hint: "check that the output folder is writable and the disk is not full", Err: err,
	}
}
