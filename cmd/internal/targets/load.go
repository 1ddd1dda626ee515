package targets

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"plantframe/configs"
	"plantframe/pipeline/judge"
	"plantframe/pipeline/swing"
)

// Want says which files are used; each is a name of one that comes with the
// program, or the path of a file of the user's own.
type Want struct {
	Targets string // such as "youth-softball" or "my-bands.yaml"; "" = Level-Sport; "none" = nothing is judged
	Level   string
	Sport   string
	Texts   string // "en" or a file
	Drills  string // a file; "" = the program's own
}

// Levels and Sports for which the program has bands of its own.
func Levels() []string { return []string{"youth", "high-school", "adult"} }

// Sports lists the sports, see Levels.
func Sports() []string { return []string{"baseball", "softball"} }

// Names lists the targets that come with the program.
func Names() []string {
	found, _ := fs.Glob(configs.Files, "targets/*.yaml") // the pattern is good
	for i, f := range found {
		found[i] = strings.TrimSuffix(filepath.Base(f), ".yaml")
	}
	return found
}

// Load reads what w names. Errors are *swing.Error of KindUsage with file and
// line, or of KindMissing when a file is not there.
func Load(w Want) (judge.Targets, error) {
	if w.Targets == "none" {
		return judge.Targets{}, nil
	}
	name := w.Targets
	if name == "" {
		name = w.Level + "-" + w.Sport
	}
	drills, err := loadDrills(w.Drills)
	if err != nil {
		return judge.Targets{}, err
	}
	words, err := loadTexts(w.Texts)
	if err != nil {
		return judge.Targets{}, err
	}
	f, err := loadBands(name, nil)
	if err != nil {
		return judge.Targets{}, err
	}
	return f.targets(words, drills)
}

// open reads a file of the program by its name, or one of the user by its path. A
// word without a dot or a slash is a name.
func open(kind, folder, name string) (source, error) {
	if !strings.ContainsAny(name, "./\\") {
		data, err := configs.Files.ReadFile(folder + "/" + name + ".yaml")
		if err == nil {
			return source{"configs/" + folder + "/" + name + ".yaml", data}, nil
		}
		var have []string
		found, _ := fs.Glob(configs.Files, folder+"/*.yaml")
		for _, f := range found {
			have = append(have, strings.TrimSuffix(filepath.Base(f), ".yaml"))
		}
		return source{}, &swing.Error{
			Op: "targets.Load", Frame: -1, Kind: swing.KindUsage, Msg: "there are no " + kind + " named " + name,
			Hint: "name one of " + strings.Join(have, ", ") + ", or a file such as ./my.yaml",
		}
	}
	st, err := os.Stat(name)
	if err == nil && st.Size() > maxFile {
		return source{}, source{name: name}.wrong(0, "this is not a file of "+kind, "the file is larger than %d MB", maxFile>>20)
	}
	data, err := os.ReadFile(name)
	if err != nil {
		e := &swing.Error{Op: "targets.Load", Frame: -1, Kind: swing.KindMissing, Msg: "there is no file of " + kind + " " + name, Hint: "check the path"}
		if !errors.Is(err, fs.ErrNotExist) {
			var pe *fs.PathError
			errors.As(err, &pe)
			e.Kind, e.Msg = swing.KindUsage, "the file of "+kind+" "+name+" cannot be read"
			if pe != nil {
				e.Err = pe.Err
			}
		}
		return source{}, e
	}
	return source{name, data}, nil
}

// file is one file of bands, with those it is based on already merged in.
type file struct {
	source
	name, level, sport, origin string
	bands                      []raw
}

// loadBands reads a file and what it is based on. seen guards against circles.
func loadBands(name string, seen []string) (file, error) {
	src, err := open("targets", "targets", name)
	if err != nil {
		return file{}, err
	}
	f := file{source: src}
	n, err := src.root()
	if err != nil {
		return f, err
	}
	es, err := src.entries(n, "the file", "name", "level", "sport", "based_on", "origin", "bands")
	if err != nil {
		return f, err
	}
	var list *yaml.Node
	for _, e := range es {
		var text string
		if e.key != "bands" {
			if text, err = src.text(e); err != nil {
				return f, err
			}
		}
		switch e.key {
		case "name":
			f.name = text
		case "level":
			f.level = text
		case "sport":
			f.sport = text
		case "origin":
			if f.origin = text; !slices.Contains(origins(), text) {
				return f, src.wrong(e.line, oneOf(origins()), "origin is %q", text)
			}
		case "based_on":
			if slices.Contains(seen, text) || len(seen) > 8 {
				return f, src.wrong(e.line, "let one of them stand on its own", "the files are based on each other in a circle")
			}
			base, err := loadBands(beside(src.name, text), append(seen, text))
			if err != nil {
				if s, ok := swing.AsError(err); ok && s.Clip == "" {
					return f, src.wrong(e.line, s.Hint, "%s", s.Msg)
				}
				return f, err
			}
			f.bands = base.bands
			f.level, f.sport = or(f.level, base.level), or(f.sport, base.sport)
		case "bands":
			list = e.value
		}
	}
	if list == nil || list.Kind != yaml.SequenceNode {
		return f, src.wrong(n.Line, "compare it with configs/targets/adult-baseball.yaml", "the file has no list of bands")
	}
	return f, f.merge(list)
}

// beside resolves a path in a file against the file's folder.
func beside(file, name string) string {
	if !strings.ContainsAny(name, "./\\") || filepath.IsAbs(name) {
		return name
	}
	return filepath.Join(filepath.Dir(file), name)
}

func or(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

func origins() []string {
	return []string{"instructor", "learned", "common practice, no source"}
}
