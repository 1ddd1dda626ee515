package store

import (
	"slices"
	"sync"
)

// Memory keeps entries in the process. The zero value is empty and ready.
type Memory struct {
	mu sync.Mutex
	m  map[string][]byte
}

// Get returns a copy of the bytes stored under key; false when there are none.
func (s *Memory) Get(key string) ([]byte, bool, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	b, ok := s.m[key]
	return slices.Clone(b), ok, nil
}

// Put stores a copy of data under key.
func (s *Memory) Put(key string, data []byte) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.m == nil {
		s.m = map[string][]byte{}
	}
	s.m[key] = slices.Clone(data)
	return nil
}

// None keeps nothing: every run computes everything.
type None struct{}

// Get finds nothing.
func (None) Get(string) ([]byte, bool, error) { return nil, false, nil }

// Put forgets data.
func (None) Put(string, []byte) error { return nil }
