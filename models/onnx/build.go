package onnx

import (
	"encoding/binary"
	"fmt"
	"math"

	"google.golang.org/protobuf/proto"
)

// Format versions that this package writes.
const (
	IRVersion = 8  // file format version, ONNX 1.12
	Opset     = 17 // operator set of the default domain
)

// Producer is written into every file as its producer_name.
const Producer = "plantframe"

// Int is an integer attribute of a node.
func Int(name string, v int64) *AttributeProto {
	return &AttributeProto{Name: &name, Type: AttributeProto_INT.Enum(), I: &v}
}

// Ints is an attribute that lists integers.
func Ints(name string, v ...int64) *AttributeProto {
	return &AttributeProto{Name: &name, Type: AttributeProto_INTS.Enum(), Ints: v}
}

// Float is a float attribute of a node.
func Float(name string, v float32) *AttributeProto {
	return &AttributeProto{Name: &name, Type: AttributeProto_FLOAT.Enum(), F: &v}
}

// Floats is an attribute that lists floats.
func Floats(name string, v ...float32) *AttributeProto {
	return &AttributeProto{Name: &name, Type: AttributeProto_FLOATS.Enum(), Floats: v}
}

// String is a text attribute of a node.
func String(name, v string) *AttributeProto {
	return &AttributeProto{Name: &name, Type: AttributeProto_STRING.Enum(), S: []byte(v)}
}

// Node is one operator call. An empty input name means "this optional input is absent".
func Node(op string, inputs, outputs []string, attrs ...*AttributeProto) *NodeProto {
	n := &NodeProto{OpType: &op, Input: inputs, Output: outputs, Attribute: attrs}
	if len(outputs) > 0 {
		n.Name = proto.String(op + "/" + outputs[0])
	}
	return n
}

// Raw is a constant tensor from little-endian bytes of the given element type. The bytes are kept, not copied.
// Its length is not checked against dims.
func Raw(name string, t TensorProto_DataType, dims []int64, data []byte) *TensorProto {
	return &TensorProto{Name: &name, DataType: proto.Int32(int32(t)), Dims: dims, RawData: data}
}

// Float32s is a constant float32 tensor.
func Float32s(name string, dims []int64, v []float32) *TensorProto {
	b := make([]byte, 0, 4*len(v))
	for _, x := range v {
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(x))
	}
	return Raw(name, TensorProto_FLOAT, dims, b)
}

// Float16s is a constant float16 tensor from IEEE half-precision bit patterns.
func Float16s(name string, dims []int64, bits []uint16) *TensorProto {
	b := make([]byte, 0, 2*len(bits))
	for _, x := range bits {
		b = binary.LittleEndian.AppendUint16(b, x)
	}
	return Raw(name, TensorProto_FLOAT16, dims, b)
}

// Int64s is a constant int64 tensor of one dimension, the form that shapes, pads and axes take.
func Int64s(name string, v ...int64) *TensorProto {
	b := make([]byte, 0, 8*len(v))
	for _, x := range v {
		b = binary.LittleEndian.AppendUint64(b, uint64(x))
	}
	return Raw(name, TensorProto_INT64, []int64{int64(len(v))}, b)
}

// Value names a tensor with its type and shape, for the inputs and outputs of a graph. A dimension below 0 is free.
func Value(name string, t TensorProto_DataType, dims ...int64) *ValueInfoProto {
	shape := &TensorShapeProto{}
	for i, d := range dims {
		dim := &TensorShapeProto_Dimension{}
		if d < 0 {
			dim.Value = &TensorShapeProto_Dimension_DimParam{DimParam: fmt.Sprintf("%s_%d", name, i)}
		} else {
			dim.Value = &TensorShapeProto_Dimension_DimValue{DimValue: d}
		}
		shape.Dim = append(shape.Dim, dim)
	}
	return &ValueInfoProto{Name: &name, Type: &TypeProto{Value: &TypeProto_TensorType{
		TensorType: &TypeProto_Tensor{ElemType: proto.Int32(int32(t)), Shape: shape},
	}}}
}

// Model wraps a graph as a file of IRVersion and Opset. meta pairs (key, value, key, value ...) become metadata_props.
func Model(g *GraphProto, meta ...string) *ModelProto {
	m := &ModelProto{
		IrVersion:    proto.Int64(IRVersion),
		ProducerName: proto.String(Producer),
		OpsetImport:  []*OperatorSetIdProto{{Domain: proto.String(""), Version: proto.Int64(Opset)}},
		Graph:        g,
	}
	m.MetadataProps = Metadata(meta...)
	return m
}

// Metadata makes metadata_props from key, value, key, value ...; a last key without value is left out.
func Metadata(pairs ...string) []*StringStringEntryProto {
	var props []*StringStringEntryProto
	for i := 0; i+1 < len(pairs); i += 2 {
		props = append(props, &StringStringEntryProto{Key: &pairs[i], Value: &pairs[i+1]})
	}
	return props
}

// Marshal writes the file. Equal models give equal bytes: the schema holds no maps and fields go out in order.
func Marshal(m *ModelProto) ([]byte, error) {
	return proto.MarshalOptions{Deterministic: true}.Marshal(m)
}

// Unmarshal reads a file. It fails on bytes that are no protobuf message of this schema, and on a file without a graph.
func Unmarshal(b []byte) (*ModelProto, error) {
	m := &ModelProto{}
	if err := proto.Unmarshal(b, m); err != nil {
		return nil, fmt.Errorf("no ONNX file: %w", err)
	}
	if m.Graph == nil {
		return nil, fmt.Errorf("no ONNX file: it holds no graph")
	}
	return m, nil
}
