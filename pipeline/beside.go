package pipeline

import (
	"sync"

	"plantframe/pipeline/bat"
	"plantframe/pipeline/camera"
	"plantframe/pipeline/pose"
	"plantframe/pipeline/swing"
)

// sightings collects what the bat's network says of each frame, which is asked
// of several frames at once.
type sightings struct {
	finder *bat.Finder // nil: no bat is looked for
	all    []bat.Sighting

	mu      sync.Mutex
	pending map[int]bat.Sighting // by frame
}

// look is a pose.Each.Beside.
func (s *sightings) look(lane int, f swing.Frame, p swing.Pose) error {
	if s.finder == nil {
		return nil
	}
	got, err := s.finder.Look(lane%s.finder.Lanes(), f, p)
	if err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.pending == nil {
		s.pending = map[int]bat.Sighting{}
	}
	s.pending[f.Index] = got
	return nil
}

// take puts the sighting of a frame that look has seen in its place.
func (s *sightings) take(p swing.Pose) {
	if s.finder == nil {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.finder.Note(p)
	s.all = append(s.all, s.pending[p.Frame])
	delete(s.pending, p.Frame)
}

// sideline follows the camera's motion while the networks work on the next
// frames.
type sideline struct {
	jobs chan sight
	done chan struct{}
	mu   sync.Mutex
	err  error // the first of the camera stage
}

// sight is one frame for the camera stage.
type sight struct {
	frame swing.Frame
	avoid []swing.Box
}

// newSideline starts the goroutine; end ends it.
func newSideline(cam *camera.Follower) *sideline {
	// With this much room, a frame is done before its picture is reused: see
	// pose.Each.
	s := &sideline{jobs: make(chan sight, pose.AtOnce-1), done: make(chan struct{})}
	go func() {
		defer close(s.done)
		for j := range s.jobs {
			if s.failed() == nil {
				s.fail(cam.Add(j.frame, j.avoid))
			}
		}
	}()
	return s
}

func (s *sideline) failed() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.err
}

func (s *sideline) fail(err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.err = err
}

// add hands a frame over; it returns the error of an earlier one.
func (s *sideline) add(f swing.Frame, p swing.Pose, others []swing.Box) error {
	avoid := append([]swing.Box{}, others...)
	if p.Found {
		avoid = append(avoid, pose.BodyBox(p))
	}
	s.jobs <- sight{f, avoid}
	return s.failed()
}

// end waits for the frames handed over.
func (s *sideline) end() error {
	close(s.jobs)
	<-s.done
	return s.failed()
}
