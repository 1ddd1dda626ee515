package main

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"maps"
	"os"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/queue"
	"plantframe/cmd/internal/targets"
	"plantframe/models"
	"plantframe/pipeline/judge"
	"plantframe/pipeline/swing"
)

// identity is what results depend on besides the clip and the settings.
type identity struct {
	Models  []swing.ModelRef // that look at pictures
	Lift    swing.ModelRef
	Targets judge.Targets
}

// identify finds the networks and targets that settings ask for.
func identify(s config.Settings) (identity, error) {
	var id identity
	dir, err := models.DefaultDir()
	if err != nil {
		return id, err
	}
	c, err := chooseModels(models.NewStore(dir), s)
	if err != nil {
		return id, err
	}
	id.Models, id.Lift = c.refs(), swing.ModelRef{ID: c.lift.ID, SHA256: c.lift.SHA256}
	id.Targets, err = targets.Load(s.Judging())
	return id, err
}

// orders makes the orders for clips that are all analysed with the same
// settings.
type orders struct {
	settings config.Settings
	key      string
}

// newOrders checks the settings and what they need, so that a mistake is said
// before the first clip.
func (a *app) newOrders(s config.Settings) (*orders, error) {
	s = s.Absolute()
	id, err := a.identify(s)
	if err != nil {
		return nil, err
	}
	key, err := orderKey(s, id)
	return &orders{settings: s, key: key}, err
}

// orderKey is the hash of settings and networks that makes two orders for one
// clip the same. Whose clip it is does not matter to it; the program's version
// does not either: rerun asks about that.
func orderKey(s config.Settings, id identity) (string, error) {
	o := s.Effective()
	delete(o, "hitter")
	maps.Copy(o, targetsUsed(id.Targets))
	b, err := json.Marshal(map[string]any{"settings": o, "models": id.Models, "lift": id.Lift, "pictures": !s.NoOverlay})
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:]), nil
}

// order makes the order for one clip.
func (o *orders) order(c swing.Clip, out, folder, hitter, session, source string) queue.Clip {
	s := o.settings
	s.Hitter = hitter
	frames := c.Frames
	if frames == 0 {
		frames = int(c.Duration * 60) // only bounds the time
	}
	return queue.Clip{
		SHA256: c.SHA256, Key: o.key, Path: c.Path, Frames: frames, Out: out, Folder: folder,
		Hitter: hitter, Session: session, Source: source, Settings: s.Carry(),
	}
}

// openQueue opens the queue of the settings.
func (a *app) openQueue(s config.Settings) (queue.Options, error) {
	o, err := s.JobOptions()
	if err != nil {
		return o, &swing.Error{
			Op: "queue", Frame: -1, Kind: swing.KindUsage, Msg: "there is no folder for the list of jobs",
			Hint: "name a place with the setting store", Err: err,
		}
	}
	return o, nil
}

// workerFolder is where workers of this machine leave their locks.
func workerFolder() (string, error) {
	dir, err := config.WorkDir()
	if err == nil {
		err = os.MkdirAll(dir, 0o700)
	}
	if err != nil {
		return "", writing(dir, err)
	}
	return dir, nil
}
