package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/store"
	"plantframe/pipeline/swing"
)

// keeper puts results of a batch into the store. It opens the store with the
// first clip that has a hitter, so that other runs touch nothing.
type keeper struct {
	settings config.Settings
	told     store.Hitter // what flags and settings say of the hitters
	shot     time.Time    // day given by the user; zero = found per clip

	once    sync.Once
	records *store.Records
	err     error
}

// storeTimeout is how long storing one clip may take; it takes some ms, or a
// second when many wait for one file.
const storeTimeout = 30 * time.Second

// newKeeper returns the keeper of a run. told tells which settings were given
// rather than defaults.
func newKeeper(s config.Settings, shot string, told func(flag string) bool) (*keeper, error) {
	k := &keeper{settings: s}
	d := config.Default()
	if s.Bats != d.Bats {
		k.told.Bats = swing.Bats(s.Bats)
	}
	k.told.HeightM, _ = config.ParseHeight(s.Height) // checked by Validate
	if s.Level != d.Level || told("level") {
		k.told.Level = s.Level
	}
	if s.Sport != d.Sport || told("sport") {
		k.told.Sport = s.Sport
	}
	if shot == "" {
		return k, nil
	}
	day, err := time.ParseInLocation(time.DateOnly, shot, time.Local)
	if err != nil || day.After(time.Now().Add(24*time.Hour)) {
		return nil, &swing.Error{
			Op: "analyze", Frame: -1, Kind: swing.KindUsage, Msg: fmt.Sprintf("--shot is %q, it must be a day that has been", shot),
			Hint: "write it like 2026-03-04",
		}
	}
	k.shot = day
	return k, nil
}

// hitter returns whose clip a file is: the hitter of the settings, else the one of
// its folders, else "".
func (k *keeper) hitter(clip string) string {
	if k == nil {
		return ""
	}
	if name := store.CleanName(k.settings.Hitter); name != "" {
		return name
	}
	name, _, _ := store.FromFolders(clip)
	return name
}

// open opens the store once; nil records without an error when it is switched off.
func (k *keeper) open(ctx context.Context) (*store.Records, error) {
	k.once.Do(func() { k.records, k.err = openRecords(ctx, k.settings) })
	return k.records, k.err
}

// openRecords opens the store of the settings; nil when it is switched off.
func openRecords(ctx context.Context, s config.Settings) (*store.Records, error) {
	where, err := s.Records()
	if err != nil {
		return nil, &swing.Error{
			Op: "store", Frame: -1, Kind: swing.KindUsage, Msg: "there is no folder for the store", Hint: "name one with the setting store", Err: err,
		}
	}
	if where == "" {
		return nil, nil
	}
	return store.Open(ctx, where)
}

// keep stores the analysis of a clip whose files lie in dir. Clips without a hitter
// are not stored. What goes wrong is a warning: the files are there.
func (k *keeper) keep(ctx context.Context, a swing.Analysis, dir string) []swing.Warning {
	name := k.hitter(a.Clip.Path)
	if name == "" {
		return nil
	}
	// The files are published: a stopped run still stores what belongs to them,
	// but does not wait for a server that is gone.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), storeTimeout)
	defer cancel()
	err := k.try(ctx, a, dir, name)
	if err == nil {
		return nil
	}
	e := explain(err)
	return []swing.Warning{{Code: "not-stored", Text: "the results are written, but not in the store: " + e.Message + "; " + e.Hint}}
}

func (k *keeper) try(ctx context.Context, a swing.Analysis, dir, name string) error {
	r, err := k.open(ctx)
	if err != nil || r == nil {
		return err
	}
	e, err := newEntry(a, dir)
	if err != nil {
		return err
	}
	e.Hitter = k.told
	e.Hitter.Name = name
	if !k.shot.IsZero() {
		e.Shot, e.ShotSource = k.shot, "user"
	}
	_, err = r.Save(ctx, nil, e)
	return err
}

// close gives the store back.
func (k *keeper) close() {
	if k != nil && k.records != nil {
		_ = k.records.Close()
	}
}

// newEntry reads back what was written into the folder of a clip, for the store:
// the very bytes of the analysis, and the plant of each swing as a picture.
func newEntry(a swing.Analysis, dir string) (store.Entry, error) {
	doc, err := os.ReadFile(filepath.Join(dir, analysisFile))
	if err != nil {
		return store.Entry{}, writing(dir, err)
	}
	abs, err := filepath.Abs(dir)
	if err != nil {
		abs = dir
	}
	e := store.Entry{Analysis: a, Document: doc, Folder: abs}
	e.Shot, e.ShotSource = store.ShotDay(a.Clip.Path, time.Now())
	for _, s := range a.Swings {
		m, err := readPNG(filepath.Join(dir, stillsFolder, fmt.Sprintf("%d-%s.png", s.Index, swing.Plant)))
		if err != nil {
			return e, err
		}
		if m == nil {
			continue
		}
		b, err := asJPEG(cut(m, hitterAt(m.Bounds(), &s, swing.Plant, a.Clip.Width)), stillSide)
		if err != nil {
			return e, writing(dir, err)
		}
		e.Stills = append(e.Stills, store.Still{Swing: s.Index, Event: swing.Plant, Type: "image/jpeg", Data: b})
	}
	return e, nil
}
