package models

import (
	"fmt"
	"os"
	"path/filepath"
	"sync"

	ort "github.com/yalue/onnxruntime_go"
)

// SessionOptions of Open.
type SessionOptions struct {
	Threads int  // threads inside one Run, 1 to 64, default 1; more = lower latency as long as cores are free
	Spin    bool // let waiting threads burn their core, default no: 10-19 % faster alone, 1.5-2.5 times slower on busy cores
}

// DefaultSessionOptions returns one thread, no spinning.
func DefaultSessionOptions() SessionOptions { return SessionOptions{Threads: 1} }

// Validate names the first option out of range.
func (o SessionOptions) Validate() error {
	if o.Threads < 1 || o.Threads > 64 {
		return &Error{Op: "models.SessionOptions", Msg: fmt.Sprintf("%d threads for a network: want 1 to 64", o.Threads)}
	}
	return nil
}

// Session is an opened network with its tensors. It is for one goroutine at a time: Run reads and writes the same
// memory each time. Twin gives another goroutine its own. Close each when done.
type Session struct {
	network *network
	binding *ort.IoBinding
	input   *ort.Tensor[float32]
	tensors []*ort.Tensor[float32]
	outputs map[string][]float32 // by the names of the manifest
}

// network is what a session and its twins share: the weights and the plan of
// the computation. The library lets several goroutines run it at once as long
// as each has its own tensors.
type network struct {
	session *ort.DynamicAdvancedSession
	path    string
	in      Tensor
	out     []Output
	mu      sync.Mutex
	users   int
}

// environment guards the start of ONNX Runtime, which exists once per process by its nature; that is why this is the
// one variable of the package.
var environment struct {
	sync.Mutex
	started bool
}

func start(library string) error {
	environment.Lock()
	defer environment.Unlock()
	if environment.started || ort.IsInitialized() {
		return nil
	}
	path, err := filepath.Abs(library) // the loader wants a slash in the name
	if err != nil {
		return err
	}
	// The published Linux builds report use to their maker over the network
	// unless told not to, from the moment they start. Nothing leaves this
	// machine: the variable is read before anything is sent, the call keeps it
	// so.
	if err := os.Setenv(noReports, "1"); err != nil {
		return err
	}
	tidyHeap()
	ort.SetSharedLibraryPath(path)
	// Errors are returned; the library shall not print them as well.
	if err := ort.InitializeEnvironment(ort.WithLogLevelFatal()); err != nil {
		return err
	}
	if err := ort.DisableTelemetry(); err != nil {
		return err
	}
	environment.started = true
	return nil
}

// noReports is the variable by which ONNX Runtime is told not to report its
// use.
const noReports = "ORT_DISABLE_TELEMETRY"

// Open makes a session of an installed network, or of the user's own one whose checksum and tensors it compares with
// the manifest first. It takes 20 to 300 ms.
func (s Store) Open(m Manifest, o SessionOptions) (*Session, error) {
	const name = "models.Open"
	path := s.Path(m)
	for _, st := range s.List([]Manifest{m}) {
		if st.Problem != "" {
			return nil, &Error{Op: name, Msg: fmt.Sprintf("%s (%s): %s", st.ID, st.Path, st.Problem), Hint: st.Hint}
		}
	}
	if m.Source.Path != "" {
		if problem, hint := check(path, m.SHA256, false); problem != "" {
			return nil, &Error{Op: name, Msg: m.ID + ": " + problem, Hint: hint}
		}
	}
	if err := s.Start(); err != nil {
		return nil, op(name, err)
	}
	if m.Source.Path != "" {
		if err := compare(path, m); err != nil {
			return nil, &Error{
				Op: name, Msg: "the network " + path + " does not fit its manifest",
				Hint: "correct the manifest, or check that the file is a whole ONNX file", Err: err,
			}
		}
	}
	return OpenTensors(path, Tensor{Name: m.Input.Name, Shape: m.Input.Shape()}, m.Outputs, o)
}

// Start loads the ONNX Runtime library of the store, once per process. Open calls it.
func (s Store) Start() error {
	if err := start(s.LibraryPath()); err != nil {
		return &Error{
			Op: "models.Start", Msg: "the ONNX Runtime library cannot be loaded",
			Hint: "run: plantframe models install (it needs glibc 2.28 or later and libstdc++)", Err: err,
		}
	}
	return nil
}

// Tensor names a float32 tensor of a network and its shape.
type Tensor struct {
	Name  string
	Shape []int64
}

// OpenTensors makes a session of any ONNX file from a description of its tensors; Start must have been called.
// A wrong name is an error here, a wrong shape one of Run.
func OpenTensors(path string, input Tensor, outputs []Output, o SessionOptions) (_ *Session, err error) {
	if err := o.Validate(); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			err = &Error{
				Op: "models.OpenTensors", Msg: "the network " + path + " cannot be opened",
				Hint: "run: plantframe models verify", Err: err,
			}
		}
	}()
	options, err := o.runtime()
	if err != nil {
		return nil, err
	}
	defer func() { _ = options.Destroy() }()
	n := &network{path: path, in: input, out: outputs}
	names := make([]string, len(outputs))
	for i, out := range outputs {
		names[i] = out.Tensor
	}
	if n.session, err = ort.NewDynamicAdvancedSession(path, []string{input.Name}, names, options); err != nil {
		return nil, err
	}
	s, err := n.bind()
	if err != nil {
		_ = n.session.Destroy()
	}
	return s, err
}

// Twin returns a session of the same network with tensors of its own, for another goroutine. It shares the weights and
// costs only the tensors.
func (s *Session) Twin() (*Session, error) {
	t, err := s.network.bind()
	if err != nil {
		return nil, &Error{
			Op: "models.Twin", Msg: "the network " + s.network.path + " cannot be used a second time",
			Hint: "free some memory", Err: err,
		}
	}
	return t, nil
}

// bind makes the tensors of one more user.
func (n *network) bind() (_ *Session, err error) {
	s := &Session{outputs: map[string][]float32{}}
	defer func() {
		if err != nil {
			_ = s.Close()
		}
	}()
	if s.input, err = ort.NewEmptyTensor[float32](n.in.Shape); err != nil {
		return nil, fmt.Errorf("input %s: %w", n.in.Name, err)
	}
	if s.binding, err = n.session.CreateIoBinding(); err != nil {
		return nil, err
	}
	if err = s.binding.BindInput(n.in.Name, s.input); err != nil {
		return nil, fmt.Errorf("input %s: %w", n.in.Name, err)
	}
	for _, out := range n.out {
		t, err := ort.NewEmptyTensor[float32](out.Shape)
		if err != nil {
			return nil, fmt.Errorf("output %s: %w", out.Name, err)
		}
		s.tensors = append(s.tensors, t)
		s.outputs[out.Name] = t.GetData()
		if err = s.binding.BindOutput(out.Tensor, t); err != nil {
			return nil, fmt.Errorf("output %s: %w", out.Name, err)
		}
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	n.users++
	s.network = n
	return s, nil
}

// leave counts a user less and gives the weights back after the last.
func (n *network) leave() error {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.users--; n.users > 0 {
		return nil
	}
	return n.session.Destroy()
}

// runtime turns the options into those of the library.
func (o SessionOptions) runtime() (_ *ort.SessionOptions, err error) {
	r, err := ort.NewSessionOptions()
	if err != nil {
		return nil, err
	}
	spin := "0"
	if o.Spin {
		spin = "1"
	}
	for _, set := range []func() error{
		func() error { return r.SetIntraOpNumThreads(o.Threads) },
		func() error { return r.SetInterOpNumThreads(1) },
		func() error { return r.AddSessionConfigEntry("session.intra_op.allow_spinning", spin) },
	} {
		if err := set(); err != nil {
			_ = r.Destroy()
			return nil, err
		}
	}
	return r, nil
}

// compare checks the tensors of the user's network against the manifest before anything is allocated.
func compare(path string, m Manifest) error {
	inputs, outputs, err := ort.GetInputOutputInfo(path)
	if err != nil {
		return err
	}
	if len(inputs) != 1 {
		return fmt.Errorf("it has %d inputs, want 1", len(inputs))
	}
	if err := fits("input", inputs, m.Input.Name, m.Input.Shape()); err != nil {
		return err
	}
	for _, o := range m.Outputs {
		if err := fits("output", outputs, o.Tensor, o.Shape); err != nil {
			return err
		}
	}
	return nil
}

func fits(what string, have []ort.InputOutputInfo, name string, shape []int64) error {
	var names []string
	for _, h := range have {
		names = append(names, h.Name)
		if h.Name != name {
			continue
		}
		if h.DataType != ort.TensorElementDataTypeFloat {
			return fmt.Errorf("%s %q holds %v, want float32", what, name, h.DataType)
		}
		same := len(h.Dimensions) == len(shape)
		for i := 0; same && i < len(shape); i++ {
			same = h.Dimensions[i] == shape[i] || h.Dimensions[i] < 0 // below 0 = free
		}
		if !same {
			return fmt.Errorf("%s %q has shape %v, the manifest says %v", what, name, h.Dimensions, shape)
		}
		return nil
	}
	return fmt.Errorf("no %s is called %q (there are %q)", what, name, names)
}

// Input returns the memory of the input tensor in the order of Input.Shape of the manifest. Fill it, then call Run.
func (s *Session) Input() []float32 { return s.input.GetData() }

// Run computes the outputs of what Input holds and blocks until they are there. It does not allocate.
func (s *Session) Run() error {
	if err := s.network.session.RunWithBinding(s.binding); err != nil {
		return &Error{Op: "models.Run", Msg: "the network failed", Hint: "run: plantframe models verify", Err: err}
	}
	return nil
}

// Output returns the memory of an output by its name in the manifest, nil if there is none of that name. It is
// overwritten by the next Run.
func (s *Session) Output(name string) []float32 { return s.outputs[name] }

// Close gives the memory back. The slices of Input and Output must not be used after it. A second Close does nothing.
func (s *Session) Close() error {
	var first error
	note := func(err error) {
		if err != nil && first == nil {
			first = &Error{Op: "models.Close", Msg: "a network did not close", Err: err}
		}
	}
	if s.binding != nil {
		note(s.binding.Destroy())
		s.binding = nil
	}
	if s.input != nil {
		note(s.input.Destroy())
		s.input = nil
	}
	for _, t := range s.tensors {
		note(t.Destroy())
	}
	s.tensors, s.outputs = nil, nil
	if s.network != nil {
		note(s.network.leave())
		s.network = nil
	}
	return first
}
