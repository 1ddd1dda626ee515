package config

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"
	"time"
)

// An order carries all that a result depends on, and nothing of the machine that
// wrote it.
func TestSettingsTravel(t *testing.T) {
	s := Default()
	s.Hitter, s.Height, s.Quality, s.NoOverlay = "Ann \"A\"", "1.78", "fast", true
	s.Ingest.MaxPixels, s.Render.Hold = 123_456_789, 0.25
	s.Out, s.Store, s.Jobs, s.Queue.Attempts, s.Watch.Quiet = "/elsewhere", "none", 7, 9, time.Minute

	here := Default()
	here.Out, here.Threads, here.Ingest.FFmpeg = "/mine", 3, "/opt/ffmpeg"
	got, err := here.Take(s.Carry())
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got.Effective(), s.Effective()) || !got.NoOverlay {
		t.Errorf("what a result depends on did not travel:\n%v\n%v", got.Effective(), s.Effective())
	}
	if got.Out != "/mine" || got.Threads != 3 || got.Ingest.FFmpeg != "/opt/ffmpeg" || got.Jobs != 0 || got.Queue.Attempts != 3 {
		t.Errorf("settings of the machine were replaced: %+v", got)
	}
	all, err := here.Take(s.CarryAll())
	if err != nil || !reflect.DeepEqual(all, s) {
		t.Errorf("%v\n%+v\n%+v", err, all, s)
	}
	if _, err := here.Take(json.RawMessage(`{"qualty":"fast"}`)); err == nil || !strings.Contains(err.Error(), "qualty") {
		t.Error(err)
	}
	if _, err := here.Take(json.RawMessage(`{"quality":"good"}`)); err == nil {
		t.Error("a wrong value was taken")
	}
}

func TestServicesChangeNoResult(t *testing.T) {
	s := Default()
	s.Queue.Attempts, s.Watch.Beside = 5, true
	if !reflect.DeepEqual(s.Effective(), Default().Effective()) {
		t.Error("settings of jobs are among those of results")
	}
	s.Queue.RetryAfter = 0
	if err := s.Validate(); err == nil || !strings.Contains(err.Error(), "queue.retry_after") {
		t.Error(err)
	}
}

// What a result says of its settings gives them back.
func TestSettingsOfAResult(t *testing.T) {
	s := Default()
	s.Hitter, s.Height, s.Level, s.Ingest.MaxPixels, s.Render.Hold = "Ann", "1.78", "youth", 123_456_789, 0.25
	b, err := json.Marshal(s.Effective())
	if err != nil {
		t.Fatal(err)
	}
	var read map[string]any
	if err := json.Unmarshal(b, &read); err != nil {
		t.Fatal(err)
	}
	read["of_an_older_version"], read["targets_sha256"] = true, "1234"
	got, err := Default().TakeEffective(read)
	if err != nil || !reflect.DeepEqual(got, s) {
		t.Errorf("%v\n%+v\n%+v", err, got, s)
	}
}
