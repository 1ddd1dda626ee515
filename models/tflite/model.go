package tflite

import (
	"fmt"

	flatbuffers "github.com/google/flatbuffers/go"
)

// Element types of the schema (enum TensorType) that are met here.
const (
	typeFloat32 = 0
	typeFloat16 = 1
	typeInt32   = 2
)

// Limits that keep a damaged file from asking for absurd memory. The largest network here has 1 M elements a tensor.
const (
	maxElements = 1 << 24
	maxRank     = 8
)

// model is the part of a TFLite file that the conversion reads.
type model struct {
	codes     []opcode
	tensors   []tensor
	inputs    []int
	outputs   []int
	operators []operator
}

type opcode struct {
	builtin int
	custom  string
}

// tensor is an activation (no data) or a constant.
type tensor struct {
	name     string
	shape    []int
	kind     int    // element type
	data     []byte // little-endian elements; nil for activations. Shares memory with the file
	sparsity *sparsity
}

type operator struct {
	code    opcode
	inputs  []int // tensor numbers, -1 = optional input left out
	outputs []int
	options table
}

// sparsity tells how a constant that leaves out its zeros is laid out (table SparsityParameters).
type sparsity struct {
	order    []int
	blockMap []int
	dims     []dimension
}

type dimension struct {
	csr      bool // compressed: only the listed indices are stored
	size     int  // number of entries when dense
	segments []int
	indices  []int
}

// parse reads the file. Every error wraps ErrFormat or ErrUnsupported.
func parse(b []byte) (m *model, err error) {
	defer guard(&err)
	if len(b) < 8 || string(b[4:8]) != "TFL3" {
		return nil, fmt.Errorf("%w: the mark TFL3 is missing", ErrFormat)
	}
	r := root(b)
	if v := r.int32At(0, 0); v != 3 {
		return nil, fmt.Errorf("%w: schema version %d, want 3", ErrUnsupported, v)
	}
	m = &model{}
	for _, c := range r.tables(1) {
		m.codes = append(m.codes, readCode(c))
	}
	graphs := r.tables(2)
	if len(graphs) != 1 {
		return nil, fmt.Errorf("%w: %d subgraphs, want 1", ErrUnsupported, len(graphs))
	}
	var buffers [][]byte
	for _, t := range r.tables(4) {
		if t.uint64At(1) > 1 {
			return nil, fmt.Errorf("%w: weights outside the FlatBuffers part", ErrUnsupported)
		}
		buffers = append(buffers, t.bytes(0))
	}
	g := graphs[0]
	for i, t := range g.tables(0) {
		m.tensors = append(m.tensors, readTensor(t, i, buffers))
	}
	m.inputs, m.outputs = g.ints(1), g.ints(2)
	for i, t := range g.tables(3) {
		m.operators = append(m.operators, readOperator(t, i, m.codes))
	}
	m.checkNumbers()
	return m, nil
}

// readCode: the number moved from a byte to an int32 when it outgrew it; the larger of the two is the valid one.
func readCode(t table) opcode {
	old := t.byteAt(0, 0)
	if old > 127 {
		old -= 256 // signed byte
	}
	return opcode{builtin: max(old, t.int32At(3, 0)), custom: string(t.bytes(1))}
}

func readTensor(t table, i int, buffers [][]byte) tensor {
	x := tensor{name: string(t.bytes(3)), shape: t.ints(0), kind: t.byteAt(1, 0)}
	buffer := t.int32At(2, 0)
	if buffer < 0 || buffer >= len(buffers) {
		fail("tensor %d (%s) names buffer %d of %d", i, x.name, buffer, len(buffers))
	}
	if d := buffers[buffer]; len(d) > 0 {
		x.data = d
	}
	if len(x.shape) > maxRank || elements(x.shape) < 0 {
		fail("tensor %d (%s) has the impossible shape %v", i, x.name, x.shape)
	}
	if s, ok := t.child(6); ok {
		x.sparsity = readSparsity(s)
	}
	if x.data != nil && x.sparsity == nil {
		if size := elementSize(x.kind); size > 0 && len(x.data) != size*elements(x.shape) {
			fail("tensor %d (%s) of shape %v holds %d bytes", i, x.name, x.shape, len(x.data))
		}
	}
	return x
}

func readSparsity(t table) *sparsity {
	s := &sparsity{order: t.ints(0), blockMap: t.ints(1)}
	for _, d := range t.tables(2) {
		s.dims = append(s.dims, dimension{
			csr: d.byteAt(0, 0) == 1, size: d.int32At(1, 0),
			segments: indexVector(d, 2), indices: indexVector(d, 4),
		})
	}
	return s
}

// indexVector reads the union SparseIndexVector (type in field id, table in field id+1): int32, uint16 or uint8 values.
func indexVector(t table, id int) []int {
	v, ok := t.child(id + 1)
	if !ok {
		return nil
	}
	switch t.byteAt(id, 0) {
	case 1:
		return v.ints(0)
	case 2:
		p, n := v.vector(0, 2)
		out := make([]int, n)
		for i := range out {
			out[i] = int(flatbuffers.GetUint16(v.b[p+2*i:]))
		}
		return out
	case 3:
		out := make([]int, 0, 16)
		for _, x := range v.bytes(0) {
			out = append(out, int(x))
		}
		return out
	}
	return nil
}

func readOperator(t table, i int, codes []opcode) operator {
	c := t.int32At(0, 0)
	if c < 0 || c >= len(codes) {
		fail("operator %d names kind %d of %d", i, c, len(codes))
	}
	o := operator{code: codes[c], inputs: t.ints(1), outputs: t.ints(2)}
	if options, ok := t.child(4); ok {
		o.options = options
	}
	return o
}

// checkNumbers fails when a tensor number points outside the list of tensors.
func (m *model) checkNumbers() {
	check := func(what string, lowest int, v []int) {
		for _, x := range v {
			if x < lowest || x >= len(m.tensors) {
				fail("%s names tensor %d of %d", what, x, len(m.tensors))
			}
		}
	}
	check("the input list", 0, m.inputs)
	check("the output list", 0, m.outputs)
	for i, o := range m.operators {
		what := fmt.Sprintf("operator %d (%s)", i, o.code)
		check(what, -1, o.inputs)
		check(what, 0, o.outputs)
	}
}

// elements is the product of the dimensions, -1 when a dimension is below 1 or the product above maxElements.
func elements(shape []int) int {
	n := 1
	for _, d := range shape {
		if d < 1 || d > maxElements || n > maxElements/d {
			return -1
		}
		n *= d
	}
	return n
}

// elementSize is in bytes, 0 for types that are not used here.
func elementSize(kind int) int {
	switch kind {
	case typeFloat32, typeInt32:
		return 4
	case typeFloat16:
		return 2
	}
	return 0
}
