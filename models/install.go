package models

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"plantframe/models/onnx"
	"plantframe/models/tfjs"
	"plantframe/models/tflite"
)

// Steps of an installation, in Event.
const (
	StepWaiting = "waiting" // another installation into the same folder is running
	StepFetch   = "fetch"   // a package is being fetched; Item is name@version
	StepConvert = "convert" // a network is being converted; Item is its id
	StepDone    = "done"    // a network or the library is in place; Item is its id, or onnxruntime
	StepPresent = "present" // it was in place before
)

// Event reports how far Install is.
type Event struct {
	Step  string // one of the Step constants
	Item  string
	N, Of int // things in place so far, of all wanted
}

// InstallOptions of Install.
type InstallOptions struct {
	NPM      string      // npm client: a program name or path; default "npm"
	Progress func(Event) // called from the goroutine of Install; may be nil
}

// DefaultInstallOptions returns the npm client on the search path and no progress.
func DefaultInstallOptions() InstallOptions { return InstallOptions{NPM: "npm"} }

// Installed is what Install did.
type Installed struct {
	New     []string // ids put in place
	Present []string // ids that were in place
	Fetched int64    // bytes of packages fetched
}

// Install puts the ONNX Runtime library and the networks of the manifests in place. What is there with the right
// checksum is kept without asking the network; what is missing or damaged is fetched, checked, converted and checked
// again. Files appear whole or not at all. Several installations into one folder wait for each other.
func (s Store) Install(ctx context.Context, all []Manifest, o InstallOptions) (Installed, error) {
	r, err := s.install(ctx, all, o)
	return r, op("models.Install", err)
}

func (s Store) install(ctx context.Context, all []Manifest, o InstallOptions) (Installed, error) {
	l, err := here()
	if err != nil {
		return Installed{}, err
	}
	goods := []good{{
		id: "onnxruntime", path: s.LibraryPath(), sha256: l.sha256, pkg: libraryPackage + "@" + libraryVersion,
		source: Source{Package: libraryPackage, Version: libraryVersion, File: l.file, SHA256: l.sha256},
	}}
	for _, m := range all {
		if m.Source.Path != "" {
			continue // the user's own file is used where it is
		}
		g := good{id: m.ID, path: s.Path(m), sha256: m.SHA256, source: m.Source, m: m}
		if m.Source.Own == "" {
			g.pkg = m.Source.Package + "@" + m.Source.Version
		}
		goods = append(goods, g)
	}
	return s.put(ctx, goods, o)
}

// put brings the goods into the folder.
func (s Store) put(ctx context.Context, goods []good, o InstallOptions) (done Installed, err error) {
	total := len(goods)
	tell := func(step, item string) {
		if o.Progress != nil {
			o.Progress(Event{Step: step, Item: item, N: len(done.New) + len(done.Present), Of: total})
		}
	}
	// First without the lock, so that a folder that is complete may be read-only.
	goods, done.Present = absent(goods)
	for _, id := range done.Present {
		tell(StepPresent, id)
	}
	if len(goods) == 0 {
		return done, nil
	}
	if err := os.MkdirAll(s.dir, 0o755); err != nil {
		return done, writing(s.dir, err)
	}
	unlock, err := lock(ctx, filepath.Join(s.dir, ".lock"), func() { tell(StepWaiting, s.dir) })
	if err != nil {
		if context.Cause(ctx) != nil {
			return done, &Error{Msg: "the installation was stopped", Err: err}
		}
		return done, writing(s.dir, err)
	}
	defer unlock()
	sweep(s.dir)
	goods, there := absent(goods) // what another installation brought meanwhile
	for _, id := range there {
		done.Present = append(done.Present, id)
		tell(StepPresent, id)
	}
	for len(goods) > 0 {
		// All files of one package are taken in one go.
		var now, later []good
		for _, g := range goods {
			if g.pkg == goods[0].pkg {
				now = append(now, g)
			} else {
				later = append(later, g)
			}
		}
		told := func(step string, g good) {
			if step == StepDone {
				done.New = append(done.New, g.id)
			}
			tell(step, g.id)
		}
		var n int64
		if now[0].pkg == "" {
			err = s.fromProgram(now, told)
		} else {
			tell(StepFetch, now[0].pkg)
			n, err = s.fromPackage(ctx, now, o.NPM, told)
		}
		done.Fetched += n
		if err != nil {
			return done, err
		}
		goods = later
	}
	return done, nil
}

// good is one file to put in place. m is the zero value for the library, which is not converted.
type good struct {
	id, path, sha256 string
	pkg              string // name@version; empty for a file that the program carries
	source           Source
	m                Manifest
}

func absent(goods []good) (left []good, there []string) {
	for _, g := range goods {
		if present(g.path, g.sha256) {
			there = append(there, g.id)
		} else {
			left = append(left, g)
		}
	}
	return left, there
}

// fromProgram puts files in place that the program carries.
func (s Store) fromProgram(goods []good, tell func(step string, g good)) error {
	for _, g := range goods {
		b, err := embedded.ReadFile("own/" + g.source.Own)
		if err == nil && sum(b) != g.sha256 {
			err = errors.New("its checksum is not that of the manifest")
		}
		if err != nil {
			return &Error{
				Msg:  "the network " + g.id + " is not in the program as it should be",
				Hint: "this is a fault of the program: please report it", Err: err,
			}
		}
		if err := writeFile(g.path, bytes.NewReader(b)); err != nil {
			return writing(g.path, err)
		}
		tell(StepDone, g)
	}
	return nil
}

// fromPackage fetches the package that all goods share and puts them in place. It returns the size of the package.
func (s Store) fromPackage(ctx context.Context, goods []good, npm string, tell func(step string, g good)) (int64, error) {
	temp, err := os.MkdirTemp(s.dir, tempPrefix)
	if err != nil {
		return 0, writing(s.dir, err)
	}
	defer func() { _ = os.RemoveAll(temp) }()
	tarball, err := fetch(ctx, npm, temp, goods[0].source.Package, goods[0].source.Version)
	if err != nil {
		return 0, err
	}
	info, err := os.Stat(tarball)
	if err != nil {
		return 0, writing(tarball, err)
	}
	wanted, sums := map[string]bool{}, map[string]string{}
	for _, g := range goods {
		wanted[g.source.File] = true
		sums[g.source.File] = g.source.SHA256
		if g.source.Weights != "" {
			wanted[g.source.Weights] = true
			sums[g.source.Weights] = g.source.WeightsSHA256
		}
	}
	files := map[string][]byte{}
	err = unpack(tarball, wanted, func(file string, r io.Reader) error {
		b, err := io.ReadAll(r)
		if err != nil {
			return err
		}
		if got := sum(b); got != sums[file] {
			return &Error{
				Msg:  fmt.Sprintf("%s of %s has the wrong checksum (SHA-256 %s, want %s)", file, goods[0].pkg, got, sums[file]),
				Hint: "the package is not the published one: check which registry npm uses (npm config get registry)",
			}
		}
		files[file] = b
		return nil
	})
	if err != nil {
		return info.Size(), err
	}
	for _, g := range goods {
		if err := context.Cause(ctx); err != nil {
			return info.Size(), &Error{Msg: "the installation was stopped", Err: err}
		}
		b := files[g.source.File]
		if g.m.Convert != "" && g.m.Convert != "none" {
			tell(StepConvert, g)
			if b, err = convert(g.m, b, files[g.source.Weights]); err != nil {
				return info.Size(), &Error{
					Msg:  "the network " + g.id + " cannot be converted",
					Hint: "this is a fault of the program or its manifest: please report it", Err: err,
				}
			}
		}
		if got := sum(b); got != g.sha256 {
			return info.Size(), &Error{
				Msg:  fmt.Sprintf("the converted network %s has the wrong checksum (SHA-256 %s, the manifest says %s)", g.id, got, g.sha256),
				Hint: "this is a fault of the program or its manifest: please report it",
			}
		}
		if err := writeFile(g.path, bytes.NewReader(b)); err != nil {
			return info.Size(), writing(g.path, err)
		}
		tell(StepDone, g)
	}
	return info.Size(), nil
}

// convert turns the source files of m into the bytes of an ONNX file with the outputs that the manifest lists.
func convert(m Manifest, file, weights []byte) ([]byte, error) {
	var tensors []string
	for _, o := range m.Outputs {
		tensors = append(tensors, o.Tensor)
	}
	var model *onnx.ModelProto
	var err error
	switch m.Convert {
	case "tflite":
		model, err = tflite.Convert(file, tflite.Options{Outputs: tensors})
	case "tfjs":
		options := tfjs.DefaultOptions()
		options.InputName = m.Input.Name
		for _, tensor := range tensors {
			options.Outputs = append(options.Outputs, tfjs.Output{Node: tensor})
		}
		model, err = tfjs.Convert(file, weights, options)
	default:
		return nil, fmt.Errorf("there is no conversion called %q", m.Convert)
	}
	if err != nil {
		return nil, err
	}
	model.Graph.Name = &m.ID
	model.MetadataProps = onnx.Metadata( // so that the file still says what it is when it is copied away
		"title", m.Title, "licence", m.Licence, "origin", m.Origin,
		"source", fmt.Sprintf("npm %s@%s %s", m.Source.Package, m.Source.Version, m.Source.File),
		"source_sha256", m.Source.SHA256, "converted_from", m.Convert)
	return onnx.Marshal(model)
}
