package output

import "bytes"

// inlineBytes is how long a container without large parts may be to stay on
// one line; about what an editor shows without a scroll bar.
const inlineBytes = 200

// layout indents compact JSON so that a person can read and compare it:
// small objects and lists of plain numbers stay on one line, the points of
// one frame take one line, everything else is opened up. The input must be
// valid JSON without white space between tokens.
func layout(src []byte) []byte {
	src = bytes.TrimSpace(src)
	var out bytes.Buffer
	out.Grow(len(src) + len(src)/4)
	write(&out, src, 0)
	out.WriteByte('\n')
	return out.Bytes()
}

// write lays out one value that fills src.
func write(out *bytes.Buffer, src []byte, depth int) {
	if len(src) == 0 || (src[0] != '{' && src[0] != '[') || inline(src) {
		out.Write(src)
		return
	}
	closing := src[len(src)-1]
	out.WriteByte(src[0])
	for i, part := range parts(src[1 : len(src)-1]) {
		if i > 0 {
			out.WriteByte(',')
		}
		newline(out, depth+1)
		if src[0] == '{' {
			k := stringEnd(part) + 1 // past the key and its colon
			out.Write(part[:k])
			out.WriteByte(' ')
			part = part[k:]
		}
		write(out, part, depth+1)
	}
	newline(out, depth)
	out.WriteByte(closing)
}

func newline(out *bytes.Buffer, depth int) {
	out.WriteByte('\n')
	for range depth {
		out.WriteString("  ")
	}
}

// inline reports whether a container stays on one line: short objects with
// nothing but lists inside, and lists (of lists) of plain values.
func inline(src []byte) bool {
	depth, deepest, objects := 0, 0, 0
	for i := 0; i < len(src); i++ {
		switch src[i] {
		case '"':
			i += stringEnd(src[i:]) - 1
		case '[', '{':
			if src[i] == '{' {
				objects++
			}
			depth++
			deepest = max(deepest, depth)
		case ']', '}':
			depth--
		}
	}
	if src[0] == '{' {
		return objects == 1 && deepest <= 2 && len(src) <= inlineBytes
	}
	return objects == 0 && deepest <= 2
}

// parts splits the inside of a container at its own commas.
func parts(src []byte) [][]byte {
	var out [][]byte
	depth, from := 0, 0
	for i := 0; i < len(src); i++ {
		switch src[i] {
		case '"':
			i += stringEnd(src[i:]) - 1
		case '[', '{':
			depth++
		case ']', '}':
			depth--
		case ',':
			if depth == 0 {
				out = append(out, src[from:i])
				from = i + 1
			}
		}
	}
	if from < len(src) {
		out = append(out, src[from:])
	}
	return out
}

// stringEnd returns the length of the string literal that src begins with,
// both quotes included.
func stringEnd(src []byte) int {
	for i := 1; i < len(src); i++ {
		switch src[i] {
		case '\\':
			i++
		case '"':
			return i + 1
		}
	}
	return len(src)
}
