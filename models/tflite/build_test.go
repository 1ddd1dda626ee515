package tflite_test

import (
	"encoding/binary"
	"math"

	flatbuffers "github.com/google/flatbuffers/go"
)

// net describes a tiny TFLite file for a test; build writes it as the schema asks, with the FlatBuffers builder.
type net struct {
	tensors []tensor
	inputs  []int
	outputs []int
	ops     []op
	version uint32 // schema version, 0 = 3
}

type tensor struct {
	name   string
	shape  []int32
	kind   byte // 0 float32, 1 float16, 2 int32
	data   []byte
	sparse *sparse
}

type op struct {
	code    int
	custom  string
	in, out []int32
	options []option
}

// option is one field of an options table: 'b' a byte, 'i' an int32.
type option struct {
	id    int
	kind  byte
	value int
}

type sparse struct {
	order    []int32
	blockMap []int32
	dense    []int32 // sizes of the axes before the last, all dense
	segments []int
	indices  []int
	width    byte // element type of the lists: 1 int32, 2 uint16, 3 uint8
}

func (n net) build() []byte {
	b := flatbuffers.NewBuilder(1024)
	buffers := []flatbuffers.UOffsetT{table(b)} // buffer 0 is the empty one
	var tensors []flatbuffers.UOffsetT
	for _, t := range n.tensors {
		number := 0
		if t.data != nil {
			d := b.CreateByteVector(t.data)
			number = len(buffers)
			buffers = append(buffers, table(b, ref(0, d)))
		}
		fields := []func(*flatbuffers.Builder){
			ref(0, int32s(b, t.shape)), scalar(1, 'b', int(t.kind)), scalar(2, 'i', number), ref(3, b.CreateString(t.name)),
		}
		if t.sparse != nil {
			fields = append(fields, ref(6, t.sparse.build(b)))
		}
		tensors = append(tensors, table(b, fields...))
	}
	var codes, ops []flatbuffers.UOffsetT
	for i, o := range n.ops {
		fields := []func(*flatbuffers.Builder){scalar(0, 'b', min(o.code, 127)), scalar(3, 'i', o.code)}
		if o.custom != "" {
			fields = append(fields, ref(1, b.CreateString(o.custom)))
		}
		codes = append(codes, table(b, fields...))
		var options []func(*flatbuffers.Builder)
		for _, x := range o.options {
			options = append(options, scalar(x.id, x.kind, x.value))
		}
		ops = append(ops, table(b, scalar(0, 'i', i), ref(1, int32s(b, o.in)), ref(2, int32s(b, o.out)),
			scalar(3, 'b', 1), ref(4, table(b, options...))))
	}
	graph := table(b, ref(0, list(b, tensors)), ref(1, int32s(b, narrow(n.inputs))), ref(2, int32s(b, narrow(n.outputs))), ref(3, list(b, ops)))
	version := int(n.version)
	if version == 0 {
		version = 3
	}
	b.FinishWithFileIdentifier(table(b, scalar(0, 'i', version), ref(1, list(b, codes)),
		ref(2, list(b, []flatbuffers.UOffsetT{graph})), ref(4, list(b, buffers))), []byte("TFL3"))
	return b.FinishedBytes()
}

func (s *sparse) build(b *flatbuffers.Builder) flatbuffers.UOffsetT {
	var dims []flatbuffers.UOffsetT
	for _, d := range s.dense {
		dims = append(dims, table(b, scalar(0, 'b', 0), scalar(1, 'i', int(d))))
	}
	indexList := func(v []int) flatbuffers.UOffsetT {
		size := map[byte]int{1: 4, 2: 2, 3: 1}[s.width]
		b.StartVector(size, len(v), size)
		for i := len(v) - 1; i >= 0; i-- {
			switch s.width {
			case 1:
				b.PrependInt32(int32(v[i]))
			case 2:
				b.PrependUint16(uint16(v[i]))
			case 3:
				b.PrependByte(byte(v[i]))
			}
		}
		return table(b, ref(0, b.EndVector(len(v))))
	}
	dims = append(dims, table(b, scalar(0, 'b', 1),
		scalar(2, 'b', int(s.width)), ref(3, indexList(s.segments)), scalar(4, 'b', int(s.width)), ref(5, indexList(s.indices))))
	fields := []func(*flatbuffers.Builder){ref(0, int32s(b, s.order)), ref(2, list(b, dims))}
	if s.blockMap != nil {
		fields = append(fields, ref(1, int32s(b, s.blockMap)))
	}
	return table(b, fields...)
}

// table writes a table of up to eight fields. Scalars are written even when they equal the default.
func table(b *flatbuffers.Builder, fields ...func(*flatbuffers.Builder)) flatbuffers.UOffsetT {
	b.StartObject(8)
	for _, f := range fields {
		f(b)
	}
	return b.EndObject()
}

func scalar(id int, kind byte, v int) func(*flatbuffers.Builder) {
	return func(b *flatbuffers.Builder) {
		if kind == 'b' {
			b.PrependByte(byte(v))
		} else {
			b.PrependInt32(int32(v))
		}
		b.Slot(id)
	}
}

func ref(id int, o flatbuffers.UOffsetT) func(*flatbuffers.Builder) {
	return func(b *flatbuffers.Builder) { b.PrependUOffsetTSlot(id, o, 0) }
}

func list(b *flatbuffers.Builder, v []flatbuffers.UOffsetT) flatbuffers.UOffsetT {
	return b.CreateVectorOfTables(v)
}

func int32s(b *flatbuffers.Builder, v []int32) flatbuffers.UOffsetT {
	b.StartVector(4, len(v), 4)
	for i := len(v) - 1; i >= 0; i-- {
		b.PrependInt32(v[i])
	}
	return b.EndVector(len(v))
}

func narrow(v []int) []int32 {
	out := make([]int32, len(v))
	for i, x := range v {
		out[i] = int32(x)
	}
	return out
}

func activation(name string, shape ...int32) tensor { return tensor{name: name, shape: shape} }

func floats(name string, shape []int32, v ...float32) tensor {
	var d []byte
	for _, x := range v {
		d = binary.LittleEndian.AppendUint32(d, math.Float32bits(x))
	}
	return tensor{name: name, shape: shape, data: d}
}

func ints(name string, shape []int32, v ...int32) tensor {
	var d []byte
	for _, x := range v {
		d = binary.LittleEndian.AppendUint32(d, uint32(x))
	}
	return tensor{name: name, shape: shape, kind: 2, data: d}
}

// halves is a float16 constant. Only numbers that float16 holds exactly are given by the tests.
func halves(name string, shape []int32, v ...float32) tensor {
	var d []byte
	for _, x := range v {
		d = binary.LittleEndian.AppendUint16(d, half(x))
	}
	return tensor{name: name, shape: shape, kind: 1, data: d}
}

// half cuts a float32 to the bits of a float16 (no rounding, normal numbers and zero only).
func half(x float32) uint16 {
	u := math.Float32bits(x)
	sign := uint16(u >> 16 & 0x8000)
	if x == 0 {
		return sign
	}
	return sign | uint16(int(u>>23&0xff)-127+15)<<10 | uint16(u>>13&0x3ff)
}
