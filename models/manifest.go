package models

import (
	"bytes"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

//go:embed manifest/*.yaml own/*.onnx
var embedded embed.FS

// Manifest describes one network: where it comes from, what goes in and what comes out.
type Manifest struct {
	ID        string             `yaml:"id"`      // short name, such as "pose-heavy"
	Title     string             `yaml:"title"`   // one line for people
	Purpose   string             `yaml:"purpose"` // "detector" (finds people), "landmarks" (points of one person), "objects", "points" (a few points of a crop) or "sequence" (numbers over time, no picture)
	Licence   string             `yaml:"licence"` // SPDX name, or what is known
	Origin    string             `yaml:"origin"`  // who trained it and where that is written
	Source    Source             `yaml:"source"`
	Convert   string             `yaml:"convert"` // "tflite", "tfjs" or "none" (the source is ONNX already)
	SHA256    string             `yaml:"sha256"`  // of the ONNX file, hex
	Input     Input              `yaml:"input"`
	Keypoints string             `yaml:"keypoints"` // name of the keypoint set; empty for detectors
	Points    []string           `yaml:"points"`    // for the set "custom": names of the points in network order
	Decoder   string             `yaml:"decoder"`   // name of the decoder that reads the outputs
	Refine    string             `yaml:"refine"`    // decoder heatmap: "none", "quarter" or "taylor"; empty = quarter
	Params    map[string]float64 `yaml:"params"`    // numbers that the decoder asks for; may be empty
	Outputs   []Output           `yaml:"outputs"`

	folder string // of the user's manifest file; empty for embedded ones
}

// Source is where the network file comes from: an npm package, this program itself, or a file of the user's own.
type Source struct {
	Package       string `yaml:"package"` // npm package name
	Version       string `yaml:"version"` // exact version
	File          string `yaml:"file"`    // path inside the package
	SHA256        string `yaml:"sha256"`  // of that file, hex
	Weights       string `yaml:"weights"` // tfjs: path of the weight file inside the package
	WeightsSHA256 string `yaml:"weights_sha256"`
	Own           string `yaml:"own"`  // instead of a package: a file that the program carries (folder own)
	Path          string `yaml:"path"` // instead of a package: a file, relative to the manifest
}

// Input is the picture that a network takes. A byte p of channel c becomes (p - Mean[c]) / Std[c]. For the purpose
// "sequence" it is Steps x Channels numbers instead, and the entries of a picture are left out.
type Input struct {
	Name   string     `yaml:"name"`   // tensor name
	Width  int        `yaml:"width"`  // px
	Height int        `yaml:"height"` // px
	Layout string     `yaml:"layout"` // "nhwc" or "nchw"
	Colour string     `yaml:"colour"` // channel order, "rgb" or "bgr"
	Mean   [3]float32 `yaml:"mean"`   // in channel order, of 0..255
	Std    [3]float32 `yaml:"std"`    // in channel order, of 0..255; not 0

	Steps    int `yaml:"steps"`    // sequence: times
	Channels int `yaml:"channels"` // sequence: numbers per time
}

// Shape returns the shape of the input tensor, batch 1.
func (in Input) Shape() []int64 {
	if in.Steps > 0 {
		return []int64{1, int64(in.Steps), int64(in.Channels)}
	}
	if in.Layout == "nchw" {
		return []int64{1, 3, int64(in.Height), int64(in.Width)}
	}
	return []int64{1, int64(in.Height), int64(in.Width), 3}
}

// Output gives a tensor of the network the name under which a decoder asks for it.
type Output struct {
	Name   string  `yaml:"name"`   // as the decoder calls it, such as "heatmap"
	Tensor string  `yaml:"tensor"` // as the network calls it
	Shape  []int64 `yaml:"shape"`  // batch 1
}

// Manifests returns the embedded manifests in order of their ids.
func Manifests() ([]Manifest, error) {
	files, err := fs.Glob(embedded, "manifest/*.yaml")
	if err != nil {
		return nil, op("models.Manifests", err)
	}
	var all []Manifest
	for _, f := range files {
		b, err := embedded.ReadFile(f)
		if err != nil {
			return nil, op("models.Manifests", err)
		}
		m, err := parseManifest(b)
		if err != nil {
			return nil, op("models.Manifests", fmt.Errorf("%s: %w", path.Base(f), err))
		}
		all = append(all, m)
	}
	return all, nil
}

// Lookup returns the embedded manifest of that id. The error lists the ids there are.
func Lookup(id string) (Manifest, error) {
	all, err := Manifests()
	if err != nil {
		return Manifest{}, op("models.Lookup", err)
	}
	var ids []string
	for _, m := range all {
		if m.ID == id {
			return m, nil
		}
		ids = append(ids, m.ID)
	}
	return Manifest{}, &Error{
		Op: "models.Lookup", Msg: fmt.Sprintf("there is no model called %q", id),
		Hint: "the models are " + strings.Join(ids, ", ") + "; a network of your own is given by the path of its manifest file (.yaml)",
	}
}

// ReadManifest reads a manifest file of the user's own, for a network of the user's own: its source must be a path.
func ReadManifest(file string) (Manifest, error) {
	b, err := os.ReadFile(file)
	if err != nil {
		return Manifest{}, &Error{
			Op: "models.ReadManifest", Msg: "cannot read the model manifest " + file,
			Hint: "give the path of a YAML file that describes the network", Err: err,
		}
	}
	m, err := parseManifest(b)
	if err == nil && (m.Source.Path == "" || m.Convert != "none") { // own files are the program's
		err = errors.New("source.path must name an ONNX file and convert must be none")
	}
	if err != nil {
		return Manifest{}, &Error{
			Op: "models.ReadManifest", Msg: "the model manifest " + file + " is not usable",
			Hint: "correct the named entry; the manifests that come with the program show the form", Err: err,
		}
	}
	if m.folder, err = filepath.Abs(filepath.Dir(file)); err != nil {
		return Manifest{}, op("models.ReadManifest", err)
	}
	return m, nil
}

// Find is Lookup for an id and ReadManifest for a path that ends in .yaml or .yml.
func Find(idOrPath string) (Manifest, error) {
	if e := strings.ToLower(filepath.Ext(idOrPath)); e == ".yaml" || e == ".yml" {
		return ReadManifest(idOrPath)
	}
	return Lookup(idOrPath)
}

func parseManifest(b []byte) (Manifest, error) {
	var m Manifest
	d := yaml.NewDecoder(bytes.NewReader(b))
	d.KnownFields(true)
	if err := d.Decode(&m); err != nil {
		if errors.Is(err, io.EOF) {
			return m, errors.New("it is empty")
		}
		return m, err
	}
	return m, m.validate()
}

// idForm keeps ids usable as file names.
var idForm = regexp.MustCompile(`^[a-z0-9][a-z0-9._-]{0,63}$`)

// validate names the first entry that is missing or out of range.
func (m Manifest) validate() error {
	sum := func(s string) bool { b, err := hex.DecodeString(s); return err == nil && len(b) == 32 }
	s, in := m.Source, m.Input
	switch {
	case !idForm.MatchString(m.ID):
		return fmt.Errorf("id %q: want small letters, digits, dots and dashes", m.ID)
	case !slices.Contains([]string{"detector", "landmarks", "objects", "points", "sequence"}, m.Purpose):
		return fmt.Errorf("purpose %q: want detector, landmarks, objects, points or sequence", m.Purpose)
	case m.Convert != "tflite" && m.Convert != "tfjs" && m.Convert != "none":
		return fmt.Errorf("convert %q: want tflite, tfjs or none", m.Convert)
	case !sum(m.SHA256):
		return fmt.Errorf("sha256 %q: want 64 hexadecimal digits", m.SHA256)
	case s.Own != "" && (s.Package != "" || s.Path != "" || m.Convert != "none"):
		return errors.New("source: own stands alone, with convert none")
	case s.Own == "" && s.Path == "" && (s.Package == "" || s.Version == "" || s.File == "" || !sum(s.SHA256)):
		return errors.New("source: want package, version, file and sha256, or path")
	case s.Path != "" && s.Package != "":
		return errors.New("source: package and path exclude each other")
	case m.Convert == "tfjs" && (s.Weights == "" || !sum(s.WeightsSHA256)):
		return errors.New("source: want weights and weights_sha256 for tfjs")
	case in.Name == "":
		return errors.New("input.name is missing")
	case (m.Purpose == "sequence") != (in.Steps != 0 || in.Channels != 0):
		return errors.New("input.steps and input.channels belong to the purpose sequence")
	case m.Purpose == "sequence" && (in.Steps < 1 || in.Channels < 1 || in.Steps > 4096 || in.Channels > 4096):
		return fmt.Errorf("input: %d steps of %d channels, want 1 to 4096", in.Steps, in.Channels)
	case m.Purpose == "sequence": // the rest describes pictures
	case in.Width < 1 || in.Height < 1 || in.Width > 4096 || in.Height > 4096:
		return fmt.Errorf("input: %d x %d px, want 1 to 4096", in.Width, in.Height)
	case in.Layout != "nhwc" && in.Layout != "nchw":
		return fmt.Errorf("input.layout %q: want nhwc or nchw", in.Layout)
	case in.Colour != "rgb" && in.Colour != "bgr":
		return fmt.Errorf("input.colour %q: want rgb or bgr", in.Colour)
	case in.Std[0] == 0 || in.Std[1] == 0 || in.Std[2] == 0:
		return fmt.Errorf("input.std %v: must not hold 0", in.Std)
	}
	switch {
	case m.Decoder == "":
		return errors.New("decoder is missing")
	case len(m.Outputs) == 0:
		return errors.New("outputs are missing")
	}
	seen := map[string]bool{}
	for i, o := range m.Outputs {
		n := int64(1)
		for _, d := range o.Shape {
			if d < 1 || d > 1<<24 || n > 1<<27/d {
				return fmt.Errorf("outputs[%d].shape %v is out of range", i, o.Shape)
			}
			n *= d
		}
		if o.Name == "" || o.Tensor == "" || len(o.Shape) == 0 || seen[o.Name] {
			return fmt.Errorf("outputs[%d]: want name (used once), tensor and shape", i)
		}
		seen[o.Name] = true
	}
	return nil
}
