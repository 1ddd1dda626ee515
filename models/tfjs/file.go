package tfjs

import (
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"sort"
	"strconv"
	"strings"
)

// file is the part of model.json that a conversion reads.
type file struct {
	Format        string `json:"format"`
	ModelTopology *struct {
		Node []node `json:"node"`
	} `json:"modelTopology"`
	WeightsManifest []struct {
		Weights []weightSpec `json:"weights"`
	} `json:"weightsManifest"`
	Signature struct {
		Outputs map[string]struct {
			Name string `json:"name"`
		} `json:"outputs"`
	} `json:"signature"`
	UserDefinedMetadata struct {
		Signature struct {
			Outputs map[string]struct {
				Name string `json:"name"`
			} `json:"outputs"`
		} `json:"signature"`
	} `json:"userDefinedMetadata"`
}

// node is one operator of the graph.
type node struct {
	Name  string          `json:"name"`
	Op    string          `json:"op"`
	Input []string        `json:"input"`
	Attr  map[string]attr `json:"attr"`
}

// attr is one attribute in the JSON form of TensorFlow's AttrValue: exactly one field is set, and zero values may be
// left out.
type attr struct {
	S     text   `json:"s"`
	I     number `json:"i"`
	F     number `json:"f"`
	B     bool   `json:"b"`
	Type  any    `json:"type"`
	Shape *struct {
		Dim []struct {
			Size number `json:"size"`
		} `json:"dim"`
		UnknownRank bool `json:"unknownRank"`
	} `json:"shape"`
	List *struct {
		S []text   `json:"s"`
		I []number `json:"i"`
	} `json:"list"`
}

// number is a JSON number or a number written as text, as 64-bit integers are in the JSON form of protocol buffers.
type number float64

// UnmarshalJSON reads either form.
func (n *number) UnmarshalJSON(b []byte) error {
	s := strings.Trim(string(b), `"`)
	if s == "null" {
		return nil
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return fmt.Errorf("%.40q is not a number", s)
	}
	*n = number(v)
	return nil
}

// int returns the number as an integer; it fails on fractions and on values that float64 does not hold exactly.
func (n number) int() (int64, error) {
	const exact = 1 << 53
	v := int64(0)
	if n > -exact && n < exact {
		v = int64(n)
	}
	if number(v) != n {
		return 0, fmt.Errorf("%v is not a usable integer", float64(n))
	}
	return v, nil
}

// text is base64, as bytes are in the JSON form of protocol buffers, or a list of character codes, which older
// converters write.
type text string

// UnmarshalJSON reads either form.
func (t *text) UnmarshalJSON(b []byte) error {
	var codes []byte
	if len(b) > 0 && b[0] == '[' {
		var list []uint8
		var wide []uint16
		if err := json.Unmarshal(b, &wide); err != nil {
			return fmt.Errorf("a text is not a list of character codes: %w", err)
		}
		for _, c := range wide {
			if c > 0x7f {
				return fmt.Errorf("a text holds the character code %d", c)
			}
			list = append(list, uint8(c))
		}
		codes = list
	} else {
		var s string
		if err := json.Unmarshal(b, &s); err != nil {
			return fmt.Errorf("a text is neither base64 nor character codes: %w", err)
		}
		var err error
		if codes, err = base64.StdEncoding.DecodeString(s); err != nil {
			return fmt.Errorf("a text is not base64: %.40q", s)
		}
	}
	*t = text(codes)
	return nil
}

// parse reads model.json. It fails on malformed or cut JSON, on another kind of model and on too many nodes.
func parse(b []byte) (*file, error) {
	if len(b) > maxJSON {
		return nil, fmt.Errorf("model.json has %d bytes, more than %d", len(b), maxJSON)
	}
	f := &file{}
	if err := json.Unmarshal(b, f); err != nil {
		return nil, fmt.Errorf("model.json cannot be read: %w", err)
	}
	if f.Format != "" && f.Format != "graph-model" {
		return nil, fmt.Errorf("model.json is a %q; only a graph-model can be converted", f.Format)
	}
	if f.ModelTopology == nil || len(f.ModelTopology.Node) == 0 {
		return nil, errors.New("model.json holds no graph (modelTopology.node is missing or empty)")
	}
	if n := len(f.ModelTopology.Node); n > maxNodes {
		return nil, fmt.Errorf("model.json lists %d nodes, more than %d", n, maxNodes)
	}
	return f, nil
}

// outputs lists the outputs of the signature, sorted by name.
func (f *file) outputs() ([]Output, error) {
	signature := f.Signature.Outputs
	if len(signature) == 0 {
		signature = f.UserDefinedMetadata.Signature.Outputs
	}
	if len(signature) == 0 {
		return nil, errors.New("model.json has no signature; name the outputs to keep")
	}
	var list []Output
	for key, o := range signature {
		from := o.Name
		if from == "" {
			from = key
		}
		name, _ := splitPort(key)
		list = append(list, Output{Node: from, Name: name})
	}
	sort.Slice(list, func(i, j int) bool { return list[i].Name < list[j].Name })
	return list, nil
}

// splitPort takes "name:2" apart; without a port it is 0. A port that is no number belongs to the name.
func splitPort(ref string) (name string, port int) {
	i := strings.LastIndexByte(ref, ':')
	if i < 0 {
		return ref, 0
	}
	p, err := strconv.Atoi(ref[i+1:])
	if err != nil || p < 0 {
		return ref, 0
	}
	return ref[:i], p
}
