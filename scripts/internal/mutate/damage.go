package main

import (
	"encoding/binary"
	"fmt"
	"math/rand/v2"
)

// mutate returns a damaged copy of data and says what was done.
func mutate(r *rand.Rand, data []byte) (string, []byte) {
	b := append([]byte(nil), data...)
	at := r.IntN(len(b))
	length := 1 + r.IntN(max(1, min(len(b)-at, 1<<uint(r.IntN(14)))))
	switch r.IntN(7) {
	case 0:
		n := 1 << uint(r.IntN(8))
		for range n {
			b[r.IntN(len(b))] ^= 1 << uint(r.IntN(8))
		}
		return fmt.Sprintf("%d bits turned", n), b
	case 1:
		return fmt.Sprintf("cut off at byte %d of %d", at, len(b)), b[:at]
	case 2:
		for i := at; i < at+length; i++ {
			b[i] = byte(r.Uint32())
		}
		return fmt.Sprintf("%d bytes at %d overwritten", length, at), b
	case 3:
		clear(b[at : at+length])
		return fmt.Sprintf("%d bytes at %d set to 0", length, at), b
	case 4:
		return fmt.Sprintf("%d bytes at %d cut out", length, at), append(b[:at], b[at+length:]...)
	case 5:
		part := append([]byte(nil), b[at:at+length]...)
		return fmt.Sprintf("%d bytes at %d doubled", length, at), append(b[:at+length], append(part, b[at+length:]...)...)
	}
	boxes := boxesOf(b, 0, len(b), nil)
	if len(boxes) == 0 {
		return "nothing", b
	}
	box := boxes[r.IntN(len(boxes))]
	kind := string(b[box+4 : box+8])
	if r.IntN(4) == 0 {
		copy(b[box+4:], "free")
		return fmt.Sprintf("box %s at %d hidden", kind, box), b
	}
	size := []uint32{0, 1, 7, 8, 0x7fffffff, 0xffffffff, r.Uint32(), binary.BigEndian.Uint32(b[box:]) + uint32(r.IntN(64)) - 32}[r.IntN(8)]
	binary.BigEndian.PutUint32(b[box:], size)
	return fmt.Sprintf("box %s at %d given the size %d", kind, box, size), b
}

// boxesOf lists where the boxes of an ISO base media file (ISO/IEC 14496-12)
// begin, those inside others too.
func boxesOf(b []byte, from, to int, out []int) []int {
	for from+8 <= to {
		size := int(binary.BigEndian.Uint32(b[from:]))
		if size < 8 || from+size > to {
			return out
		}
		out = append(out, from)
		switch string(b[from+4 : from+8]) {
		case "moov", "trak", "mdia", "minf", "stbl", "edts", "dinf", "udta", "moof", "traf", "mvex":
			out = boxesOf(b, from+8, from+size, out)
		}
		from += size
	}
	return out
}
