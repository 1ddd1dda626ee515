package pixel

import "encoding/binary"

// run is a stretch of one output row whose source pixels all lie inside the
// picture, with two bytes to spare behind the last. Places are fixed point
// with 32 fraction bits; a pixel pair is read as one word of 8 bytes.
//
// A word splits into lanes of 16 bits, even = B0 R0 G1 and odd = G0 B1 R1.
// Interpolating between the upper and the lower word is one multiplication for
// all lanes: t<<8 + (l-t)*w has, lane by lane, the value t*(256-w) + l*w, which
// is never negative and fits 16 bits, so borrows between lanes cancel.
type run struct {
	pix          []byte
	stride       int
	x, y, du, dv int64
}

// rgb fills dst with red, green, blue of successive pixels. It is any with the
// tensor offsets known to the compiler: the common case, a third faster.
func (r run) rgb(dst []float32, scale, bias [3]float32) {
	pix, stride := r.pix, r.stride
	x, y := r.x, r.y
	for len(dst) >= 3 {
		at := int(y>>32)*stride + int(x>>32)*3
		top := binary.LittleEndian.Uint64(pix[at:])
		low := binary.LittleEndian.Uint64(pix[at+stride:])
		wy := uint64(y) >> 24 & 0xff
		wx := int32(uint64(x) >> 24 & 0xff)
		t := top & evenBytes
		even := t<<8 + (low&evenBytes-t)*wy
		t = top >> 8 & evenBytes
		odd := t<<8 + (low>>8&evenBytes-t)*wy
		c := int32(even >> 16 & 0xffff)
		dst[0] = float32(c<<8+(int32(odd>>32&0xffff)-c)*wx)*scale[2] + bias[2]
		c = int32(odd & 0xffff)
		dst[1] = float32(c<<8+(int32(even>>32&0xffff)-c)*wx)*scale[1] + bias[1]
		c = int32(even & 0xffff)
		dst[2] = float32(c<<8+(int32(odd>>16&0xffff)-c)*wx)*scale[0] + bias[0]
		dst = dst[3:]
		x, y = x+r.du, y+r.dv
	}
}

// any fills n pixels in the layout and order of s, the first at dst[0].
func (r run) any(dst []float32, n int, s *Sampler) {
	// Copies: the compiler must assume that dst overlaps s.
	scale, bias, step := s.scale, s.bias, s.step
	ob, og, or := s.at[0], s.at[1], s.at[2]
	x, y := r.x, r.y
	for range n {
		at := int(y>>32)*r.stride + int(x>>32)*3
		top := binary.LittleEndian.Uint64(r.pix[at:])
		low := binary.LittleEndian.Uint64(r.pix[at+r.stride:])
		wy := uint64(y) >> 24 & 0xff
		wx := int32(uint64(x) >> 24 & 0xff)
		t := top & evenBytes
		even := t<<8 + (low&evenBytes-t)*wy
		t = top >> 8 & evenBytes
		odd := t<<8 + (low>>8&evenBytes-t)*wy
		c := int32(even & 0xffff)
		dst[ob] = float32(c<<8+(int32(odd>>16&0xffff)-c)*wx)*scale[0] + bias[0]
		c = int32(odd & 0xffff)
		dst[og] = float32(c<<8+(int32(even>>32&0xffff)-c)*wx)*scale[1] + bias[1]
		c = int32(even >> 16 & 0xffff)
		dst[or] = float32(c<<8+(int32(odd>>32&0xffff)-c)*wx)*scale[2] + bias[2]
		ob, og, or = ob+step, og+step, or+step
		x, y = x+r.du, y+r.dv
	}
}
