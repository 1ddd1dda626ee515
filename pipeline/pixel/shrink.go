package pixel

import "encoding/binary"

// maxShrink bounds the factor of shrink: the 16-bit lanes of its sums hold
// 255 * n * ceil(n/2) up to n = 22.
const maxShrink = 16

// evenBytes selects every second byte of a word, leaving 16-bit lanes.
const evenBytes = 0x00ff00ff00ff00ff

// image is a picture part: 3*w bytes a row, blue, green, red.
type image struct {
	w, h int
	pix  []byte
}

// shrink averages n x n blocks of src into dst, whose pixel (0,0) covers the
// block at source pixel (x0,y0); x0 and y0 are >= 0. Parts of a block outside
// src count as black, as everywhere in this package. dst.pix has 3*w*h bytes
// or more.
func shrink(dst, src image, x0, y0, n int) {
	// Rounded division by n*n: (sum*recip + half) >> 32.
	recip := (uint64(1)<<32 + uint64(n*n)/2) / uint64(n*n)
	stride := 3 * src.w
	for y := range dst.h {
		sy := y0 + y*n
		row := dst.pix[3*dst.w*y : 3*dst.w*(y+1)]
		// A pair of pixels is read as one word of 8 bytes, 2 too many: the
		// fast loop stops where that would leave the picture.
		fast := 0
		if sy+n <= src.h {
			fast = min(dst.w, (src.w-x0)/n)
			last := len(src.pix) - (sy+n-1)*stride - 8 // largest start of a word in the lowest row
			for fast > 0 && 3*(x0+(fast-1)*n)+6*(n/2-1) > last {
				fast--
			}
		}
		at := sy*stride + 3*x0
		switch n {
		case 2:
			halve(row[:3*fast], src.pix[at:], stride)
		case 3:
			third(row[:3*fast], src.pix[at:], stride)
		default:
			blocks(row[:3*fast], src.pix[at:], stride, n, recip)
		}
		for x := fast; x < dst.w; x++ {
			sum := blockSum(src, x0+x*n, sy, n)
			for c := range 3 {
				row[3*x+c] = byte((sum[c]*recip + 1<<31) >> 32)
			}
		}
	}
}

// The three functions below average one row of blocks. Words of 8 bytes split
// into 16-bit lanes, even = B0 R0 G1 B2 and odd = G0 B1 R1 G2; what a word
// holds beyond its pixels stays in the top lanes and runs out at the top.

// halve is blocks for n = 2.
func halve(dst, src []byte, stride int) {
	for len(dst) >= 3 {
		v, w := binary.LittleEndian.Uint64(src), binary.LittleEndian.Uint64(src[stride:])
		even := v&evenBytes + w&evenBytes
		odd := v>>8&evenBytes + w>>8&evenBytes
		dst[0] = byte((even + odd>>16 + 2) & 0xffff >> 2)
		dst[1] = byte((odd + even>>32 + 2) & 0xffff >> 2)
		dst[2] = byte((even>>16 + odd>>32 + 2) & 0xffff >> 2)
		dst, src = dst[3:], src[6:]
	}
}

// third is blocks for n = 3.
func third(dst, src []byte, stride int) {
	const ninth = (1<<16 + 4) / 9 // rounded division by 9 needs 8 more bits than the sum: 2295 < 2^12
	for len(dst) >= 3 {
		u, v, w := binary.LittleEndian.Uint64(src), binary.LittleEndian.Uint64(src[stride:]), binary.LittleEndian.Uint64(src[2*stride:])
		even := u&evenBytes + v&evenBytes + w&evenBytes
		odd := u>>8&evenBytes + v>>8&evenBytes + w>>8&evenBytes
		last := uint64(src[8]) + uint64(src[stride+8]) + uint64(src[2*stride+8])
		b := (even + even>>48 + odd>>16) & 0xffff
		g := (odd + odd>>48 + even>>32) & 0xffff
		r := (even>>16+odd>>32)&0xffff + last
		dst[0] = byte((b*ninth + 1<<15) >> 16)
		dst[1] = byte((g*ninth + 1<<15) >> 16)
		dst[2] = byte((r*ninth + 1<<15) >> 16)
		dst, src = dst[3:], src[9:]
	}
}

// blocks fills dst with the means of n x n blocks; recip is 2^32/n^2.
func blocks(dst, src []byte, stride, n int, recip uint64) {
	for x := 0; 3*x < len(dst); x++ {
		base := 3 * x * n
		var even, odd uint64
		for range n {
			o := base
			for range n / 2 {
				v := binary.LittleEndian.Uint64(src[o:])
				even += v & evenBytes
				odd += v >> 8 & evenBytes
				o += 6
			}
			if n&1 == 1 {
				even += uint64(src[o]) | uint64(src[o+2])<<16
				odd += uint64(src[o+1])
			}
			base += stride
		}
		b := even&0xffff + odd>>16&0xffff
		g := odd&0xffff + even>>32&0xffff
		r := even>>16&0xffff + odd>>32&0xffff
		dst[3*x] = byte((b*recip + 1<<31) >> 32)
		dst[3*x+1] = byte((g*recip + 1<<31) >> 32)
		dst[3*x+2] = byte((r*recip + 1<<31) >> 32)
	}
}

// blockSum adds the pixels of a block that lie inside src.
func blockSum(src image, x0, y0, n int) (sum [3]uint64) {
	for y := y0; y < min(y0+n, src.h); y++ {
		for x := x0; x < min(x0+n, src.w); x++ {
			p := src.pix[3*(y*src.w+x):]
			sum[0] += uint64(p[0])
			sum[1] += uint64(p[1])
			sum[2] += uint64(p[2])
		}
	}
	return sum
}
