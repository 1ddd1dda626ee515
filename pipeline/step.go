package pipeline

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"time"
)

// Artifacts keeps stage results between runs. Implementations are safe for
// concurrent use. A failing Put costs time at the next run, never a result.
type Artifacts interface {
	// Get returns the bytes stored under key; false when there are none.
	Get(key string) ([]byte, bool, error)
	// Put stores data under key, replacing what was there, all or nothing.
	Put(key string, data []byte) error
}

// run is the state of one Run: the key chain and the things handed in.
type run struct {
	ctx  context.Context
	key  string // hash of everything the next stage depends on
	deps Deps
	// computed counts the steps that were not loaded, by name; tests read it.
	computed map[string]int
}

// step loads the artifact of a stage or computes and stores it. version is
// raised when the stage's code changes its answers; opts is everything
// besides the previous artifact that the answer depends on.
func step[T any](r *run, name string, version int, opts any, compute func() (T, error)) (T, error) {
	var zero T
	key, err := chain(r.key, name, version, opts)
	if err != nil {
		return zero, err
	}
	r.key = key
	log := r.deps.Log.With("stage", name)
	if r.deps.Artifacts != nil {
		if v, ok := load[T](r.deps.Artifacts, key, log); ok {
			return v, nil
		}
	}
	if err := r.ctx.Err(); err != nil {
		return zero, err
	}
	start := time.Now()
	v, err := compute()
	if err != nil {
		return zero, err
	}
	r.computed[name]++
	log.Debug("stage done", "took", time.Since(start).Round(time.Millisecond))
	if r.deps.Artifacts != nil {
		if err := save(r.deps.Artifacts, key, v); err != nil {
			log.Warn("result of the stage could not be kept for the next run", "error", err)
		}
	}
	return v, nil
}

// chain returns the key of a stage's artifact.
func chain(prev, name string, version int, opts any) (string, error) {
	b, err := json.Marshal(opts)
	if err != nil {
		return "", fmt.Errorf("key of stage %s: %w", name, err)
	}
	h := sha256.New()
	fmt.Fprintf(h, "%s\n%s\n%d\n%s", prev, name, version, b)
	return hex.EncodeToString(h.Sum(nil)), nil
}

// load reads an artifact; an unreadable one counts as absent.
func load[T any](a Artifacts, key string, log *slog.Logger) (T, bool) {
	var v T
	data, ok, err := a.Get(key)
	if err != nil || !ok {
		if err != nil {
			log.Warn("stored result of the stage could not be read", "error", err)
		}
		return v, false
	}
	zr, err := gzip.NewReader(bytes.NewReader(data))
	var plain []byte
	if err == nil {
		plain, err = io.ReadAll(zr) // to the end, so that the checksum is compared
	}
	if err == nil {
		err = json.Unmarshal(plain, &v)
	}
	if err != nil {
		var zero T
		log.Warn("stored result of the stage is damaged and is computed again", "error", err)
		return zero, false
	}
	return v, true
}

// save stores an artifact as gzipped JSON.
func save(a Artifacts, key string, v any) error {
	var buf bytes.Buffer
	zw := gzip.NewWriter(&buf)
	if err := json.NewEncoder(zw).Encode(v); err != nil {
		return err
	}
	if err := zw.Close(); err != nil {
		return err
	}
	return a.Put(key, buf.Bytes())
}
