package models

import (
	"fmt"
	"testing"
)

// BenchmarkRun measures one picture through every installed network with one and with two threads. -benchmem shows that
// a run takes no memory on the Go side.
func BenchmarkRun(b *testing.B) {
	all, err := Manifests()
	if err != nil {
		b.Fatal(err)
	}
	for _, m := range all {
		for _, threads := range []int{1, 2} {
			b.Run(fmt.Sprintf("%s/threads=%d", m.ID, threads), func(b *testing.B) {
				s := open(b, m.ID, threads)
				pattern(m, s.Input())
				b.ReportAllocs()
				for b.Loop() {
					if err := s.Run(); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}

// BenchmarkOpen measures what a program start pays for the largest network.
func BenchmarkOpen(b *testing.B) {
	m, err := Lookup("pose-heavy")
	if err != nil {
		b.Fatal(err)
	}
	store := installed(b)
	for b.Loop() {
		s, err := store.Open(m, DefaultSessionOptions())
		if err != nil {
			b.Fatal(err)
		}
		if err := s.Close(); err != nil {
			b.Fatal(err)
		}
	}
}
