package config

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Heights that are taken for a hitter's, m: from a small child to more than
// any player. Outside it is a slip of the pen, mostly a missing unit.
const (
	leastHeight = 0.8
	mostHeight  = 2.5
)

const inch = 0.0254 // m

var (
	metric   = regexp.MustCompile(`^(\d+(?:[.,]\d+)?)(m|cm)?$`)
	imperial = regexp.MustCompile(`^(\d+)(?:ft|')(?:(\d+(?:[.,]\d+)?)(?:in|"|'')?)?$`)
)

// ParseHeight reads a body height and returns metres: "1.78", "1.78m",
// "178cm", "5ft10in", "5'10"". An empty text is 0 = not known.
func ParseHeight(text string) (float64, error) {
	s := strings.ToLower(strings.Join(strings.Fields(text), ""))
	if s == "" {
		return 0, nil
	}
	number := func(s string) float64 {
		x, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
		if err != nil {
			return math.NaN()
		}
		return x
	}
	var h float64
	if m := metric.FindStringSubmatch(s); m != nil {
		h = number(m[1])
		if m[2] == "cm" {
			h /= 100
		}
	} else if m := imperial.FindStringSubmatch(s); m != nil {
		h = number(m[1]) * 12 * inch
		if m[2] != "" {
			in := number(m[2])
			if in >= 12 {
				return 0, fmt.Errorf("is %q, which has more than 11 inches after the feet", text)
			}
			h += in * inch
		}
	} else {
		return 0, fmt.Errorf("is %q, write it like 1.78, 178cm or 5ft10in", text)
	}
	if !(h >= leastHeight && h <= mostHeight) {
		return 0, fmt.Errorf("is %q, %.4g m is no hitter's height; write it like 1.78, 178cm or 5ft10in", text, h)
	}
	return h, nil
}
