package tfjs

import (
	"errors"
	"fmt"
	"math"
)

// weightSpec describes one weight as the manifest lists it. The bytes of all weights follow each other in the order
// of the manifest.
type weightSpec struct {
	Name         string   `json:"name"`
	Shape        []number `json:"shape"`
	Dtype        string   `json:"dtype"`
	Quantization *struct {
		Dtype string  `json:"dtype"`
		Scale float64 `json:"scale"`
		Min   float64 `json:"min"`
	} `json:"quantization"`
}

// weight is a weight whose bytes are known to be there, not yet decoded.
type weight struct {
	spec  *weightSpec
	shape []int64
	data  []byte
}

// stored returns the element type in the file and its size in bytes.
func (s *weightSpec) stored() (string, int64, error) {
	t := s.Dtype
	if s.Quantization != nil {
		t = s.Quantization.Dtype
	}
	switch t {
	case "float32", "int32":
		return t, 4, nil
	case "float16", "uint16":
		return t, 2, nil
	case "uint8", "bool":
		return t, 1, nil
	case "":
		return "", 0, errors.New("its type is missing")
	}
	return "", 0, fmt.Errorf("its type %q is not supported", t)
}

// weights cuts the bytes of all shards, joined in manifest order, into the weights that the manifest lists. It fails
// when there are fewer or more bytes than listed. The weights share memory with data.
func (f *file) weights(data []byte) (map[string]*weight, error) {
	all := map[string]*weight{}
	at := int64(0)
	for g := range f.WeightsManifest {
		group := f.WeightsManifest[g].Weights
		for i := range group {
			s := &group[i]
			shape := make([]int64, len(s.Shape))
			for j, d := range s.Shape {
				var err error
				if shape[j], err = d.int(); err != nil {
					return nil, fmt.Errorf("weight %q: its shape: %w", s.Name, err)
				}
			}
			n, err := count(shape)
			if err != nil {
				return nil, fmt.Errorf("weight %q: %w", s.Name, err)
			}
			_, size, err := s.stored()
			if err != nil {
				return nil, fmt.Errorf("weight %q: %w", s.Name, err)
			}
			end := at + n*size // both at most 2^31 or so, and at never exceeds len(data)
			if end > int64(len(data)) {
				return nil, fmt.Errorf("the weight file is cut: weight %q needs bytes %d to %d, and it has %d",
					s.Name, at, end, len(data))
			}
			if all[s.Name] != nil {
				return nil, fmt.Errorf("weight %q is listed twice", s.Name)
			}
			all[s.Name] = &weight{spec: s, shape: shape, data: data[at:end]}
			at = end
		}
	}
	if at != int64(len(data)) {
		return nil, fmt.Errorf("the weight file has %d bytes, model.json lists %d: they do not belong together",
			len(data), at)
	}
	return all, nil
}

// constant decodes the weight. Half precision is kept; affine quantisation is undone as value*scale + min.
func (w *weight) constant() (*constant, error) {
	stored, _, err := w.spec.stored()
	if err != nil {
		return nil, err
	}
	c := &constant{shape: w.shape, data: w.data}
	target := w.spec.Dtype
	switch {
	case stored == target && stored == "float32":
		c.kind = float32Kind
	case stored == "float16" && target == "float32":
		c.kind = float16Kind
	case stored == "int32" && target == "int32":
		c.kind = int32Kind
	case stored == "bool" && target == "bool":
		c.kind, c.data = int32Kind, widen(w.data, 1, func(v uint32) uint32 { return min(v, 1) })
	case (stored == "uint8" || stored == "uint16") && w.spec.Quantization != nil &&
		(target == "float32" || target == "int32"):
		size := 1
		if stored == "uint16" {
			size = 2
		}
		q := w.spec.Quantization
		if math.IsNaN(q.Scale) || math.IsInf(q.Scale, 0) || math.IsNaN(q.Min) || math.IsInf(q.Min, 0) {
			return nil, fmt.Errorf("its quantisation is scale %v, min %v", q.Scale, q.Min)
		}
		if target == "int32" {
			c.kind = int32Kind
			c.data = widen(w.data, size, func(v uint32) uint32 {
				return uint32(int32(math.Round(float64(v)*q.Scale + q.Min)))
			})
		} else {
			c.kind = float32Kind
			c.data = widen(w.data, size, func(v uint32) uint32 {
				return math.Float32bits(float32(float64(v)*q.Scale + q.Min))
			})
		}
	default:
		return nil, fmt.Errorf("%s stored as %s is not supported", target, stored)
	}
	return c, nil
}
