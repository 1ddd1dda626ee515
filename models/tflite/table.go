package tflite

import (
	"errors"
	"fmt"

	flatbuffers "github.com/google/flatbuffers/go"
)

// ErrFormat marks files that are no TFLite files, or damaged ones.
var ErrFormat = errors.New("no usable TFLite file")

// ErrUnsupported marks sound files that use something which the conversion does not know.
var ErrUnsupported = errors.New("not supported by the TFLite conversion")

// table is one FlatBuffers table. The FlatBuffers runtime trusts its input and panics on a bad offset, so the reads
// here check the bounds first and leave only the decoding of scalars to it. A zero table reads as "all fields absent".
type table struct {
	b      []byte
	pos    int // of the table in b
	vtable int // of its field offsets in b
	fields int // number of fields that the vtable lists
}

// damaged is panicked by the reads of this file and turned into an error by guard; it never leaves the package.
// It keeps some eighty field reads free of error plumbing.
type damaged struct{ what string }

// guard turns a damaged panic into an error that wraps ErrFormat.
func guard(err *error) {
	switch p := recover().(type) {
	case nil:
	case damaged:
		*err = fmt.Errorf("%w: %s", ErrFormat, p.what)
	default:
		panic(p)
	}
}

func fail(format string, args ...any) { panic(damaged{fmt.Sprintf(format, args...)}) }

// need fails when the n bytes from pos do not lie inside b.
func need(b []byte, pos, n int) {
	if pos < 0 || n < 0 || pos > len(b) || n > len(b)-pos {
		fail("it points to byte %d of %d (cut off or damaged)", pos+n, len(b))
	}
}

func u32(b []byte, pos int) int {
	need(b, pos, 4)
	return int(flatbuffers.GetUint32(b[pos:]))
}

func root(b []byte) table {
	return at(b, u32(b, 0))
}

// at reads the header of the table at pos.
func at(b []byte, pos int) table {
	need(b, pos, 4)
	vt := pos - int(flatbuffers.GetInt32(b[pos:]))
	need(b, vt, 4)
	size := int(flatbuffers.GetUint16(b[vt:]))
	if size < 4 || size%2 != 0 {
		fail("the field list at byte %d has an impossible size", vt)
	}
	need(b, vt, size)
	return table{b: b, pos: pos, vtable: vt, fields: (size - 4) / 2}
}

// field returns the position of field id, or 0 when the file leaves it out.
func (t table) field(id, size int) int {
	if id >= t.fields {
		return 0
	}
	off := int(flatbuffers.GetUint16(t.b[t.vtable+4+2*id:]))
	if off == 0 {
		return 0
	}
	need(t.b, t.pos+off, size)
	return t.pos + off
}

func (t table) byteAt(id, absent int) int {
	if p := t.field(id, 1); p != 0 {
		return int(t.b[p])
	}
	return absent
}

func (t table) int32At(id, absent int) int {
	if p := t.field(id, 4); p != 0 {
		return int(flatbuffers.GetInt32(t.b[p:]))
	}
	return absent
}

func (t table) uint64At(id int) uint64 {
	if p := t.field(id, 8); p != 0 {
		return flatbuffers.GetUint64(t.b[p:])
	}
	return 0
}

// child returns the table that field id points to; ok is false when the field is absent.
func (t table) child(id int) (c table, ok bool) {
	p := t.field(id, 4)
	if p == 0 {
		return table{}, false
	}
	return at(t.b, p+u32(t.b, p)), true
}

// vector returns the position of the first element and the number of elements of field id, 0 when absent.
func (t table) vector(id, elem int) (pos, n int) {
	p := t.field(id, 4)
	if p == 0 {
		return 0, 0
	}
	v := p + u32(t.b, p)
	n = u32(t.b, v)
	if n > len(t.b)/elem {
		fail("a list of %d elements does not fit into %d bytes (cut off or damaged)", n, len(t.b))
	}
	need(t.b, v+4, n*elem)
	return v + 4, n
}

// bytes returns field id as bytes that share memory with the file.
func (t table) bytes(id int) []byte {
	p, n := t.vector(id, 1)
	return t.b[p : p+n]
}

func (t table) ints(id int) []int {
	p, n := t.vector(id, 4)
	v := make([]int, n)
	for i := range v {
		v[i] = int(flatbuffers.GetInt32(t.b[p+4*i:]))
	}
	return v
}

func (t table) tables(id int) []table {
	p, n := t.vector(id, 4)
	v := make([]table, n)
	for i := range v {
		q := p + 4*i
		v[i] = at(t.b, q+u32(t.b, q))
	}
	return v
}
