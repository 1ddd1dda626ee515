package pipeline

import (
	"context"
	"errors"
	"sync"
	"testing"
)

// memory is an Artifacts that forgets at the end of the test.
type memory struct {
	mu   sync.Mutex
	data map[string][]byte
	fail error
}

func (m *memory) Get(key string) ([]byte, bool, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	d, ok := m.data[key]
	return d, ok, m.fail
}

func (m *memory) Put(key string, data []byte) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.fail != nil {
		return m.fail
	}
	m.data[key] = append([]byte(nil), data...)
	return nil
}

// chainOf runs four steps that depend on each other and returns the result
// and how many were computed.
func chainOf(t *testing.T, a Artifacts, opts [4]int) (int, int) {
	t.Helper()
	r := &run{ctx: context.Background(), key: "clip", deps: Deps{Artifacts: a}.withDefaults(), computed: map[string]int{}}
	sum := 0
	for i, name := range []string{"one", "two", "three", "four"} {
		v, err := step(r, name, 1, opts[i], func() (int, error) { return sum + opts[i], nil })
		if err != nil {
			t.Fatal(err)
		}
		sum = v
	}
	n := 0
	for _, c := range r.computed {
		n += c
	}
	return sum, n
}

func TestStepComputesOnlyWhatChanged(t *testing.T) {
	a := &memory{data: map[string][]byte{}}
	for _, c := range []struct {
		name      string
		opts      [4]int
		sum, runs int
	}{
		{"first run", [4]int{1, 2, 3, 4}, 10, 4},
		{"unchanged", [4]int{1, 2, 3, 4}, 10, 0},
		{"third option changed", [4]int{1, 2, 5, 4}, 12, 2},
		{"second option changed", [4]int{1, 7, 3, 4}, 15, 3},
		{"back to the first", [4]int{1, 2, 3, 4}, 10, 0},
	} {
		sum, runs := chainOf(t, a, c.opts)
		if sum != c.sum || runs != c.runs {
			t.Errorf("%s: sum %d after %d computed steps, want %d after %d", c.name, sum, runs, c.sum, c.runs)
		}
	}
}

func TestStepSurvivesDamagedAndFailingStores(t *testing.T) {
	a := &memory{data: map[string][]byte{}}
	chainOf(t, a, [4]int{1, 2, 3, 4})
	for k := range a.data {
		a.data[k] = a.data[k][:len(a.data[k])/2]
	}
	if sum, runs := chainOf(t, a, [4]int{1, 2, 3, 4}); sum != 10 || runs != 4 {
		t.Errorf("damaged artifacts: sum %d, %d computed; want 10, 4", sum, runs)
	}
	a.fail = errors.New("disk full")
	if sum, runs := chainOf(t, a, [4]int{1, 2, 3, 9}); sum != 15 || runs != 4 {
		t.Errorf("failing store: sum %d, %d computed; want 15, 4", sum, runs)
	}
}

func TestStepStopsWhenCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	r := &run{ctx: ctx, deps: Deps{}.withDefaults(), computed: map[string]int{}}
	_, err := step(r, "one", 1, nil, func() (int, error) { t.Error("computed after cancel"); return 0, nil })
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want context.Canceled", err)
	}
}
