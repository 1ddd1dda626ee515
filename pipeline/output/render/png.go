package render

import (
	"bufio"
	"compress/zlib"
	"encoding/binary"
	"hash/crc32"
	"io"
	"os"
)

// writePNG writes c as an 8-bit RGB picture (PNG, W3C recommendation). The
// library's encoder tries five filters on every row, which for a photograph
// costs several times what it saves; here every row is stored as the
// difference to the row above.
func writePNG(c *canvas, path string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_TRUNC, 0o644)
	if err != nil {
		return err
	}
	b := bufio.NewWriterSize(f, 1<<16)
	err = encodePNG(b, c)
	if err == nil {
		err = b.Flush()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	return err
}

func encodePNG(w io.Writer, c *canvas) error {
	if _, err := io.WriteString(w, "\x89PNG\r\n\x1a\n"); err != nil {
		return err
	}
	head := binary.BigEndian.AppendUint32(nil, uint32(c.w))
	head = binary.BigEndian.AppendUint32(head, uint32(c.h))
	head = append(head, 8, 2, 0, 0, 0) // bits, RGB, deflate, filters by row, not interlaced
	if err := writeChunk(w, "IHDR", head); err != nil {
		return err
	}
	data := bufio.NewWriterSize(chunks{w}, 1<<16)
	z, err := zlib.NewWriterLevel(data, zlib.BestSpeed)
	if err != nil {
		return err
	}
	const filterUp = 2
	row := make([]byte, 1+3*c.w)
	row[0] = filterUp
	above := make([]byte, 3*c.w) // the row before the first counts as black
	for y := range c.h {
		cur := c.pix[3*c.w*y : 3*c.w*(y+1)]
		out := row[1:]
		for i := 0; i+2 < len(cur); i += 3 {
			out[i] = cur[i+2] - above[i+2]
			out[i+1] = cur[i+1] - above[i+1]
			out[i+2] = cur[i] - above[i]
		}
		if _, err := z.Write(row); err != nil {
			return err
		}
		above = cur
	}
	if err := z.Close(); err != nil {
		return err
	}
	if err := data.Flush(); err != nil {
		return err
	}
	return writeChunk(w, "IEND", nil)
}

// chunks writes each piece it gets as an IDAT chunk.
type chunks struct{ w io.Writer }

func (c chunks) Write(p []byte) (int, error) {
	if err := writeChunk(c.w, "IDAT", p); err != nil {
		return 0, err
	}
	return len(p), nil
}

func writeChunk(w io.Writer, kind string, data []byte) error {
	head := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
	head = append(head, kind...)
	sum := crc32.Update(crc32.ChecksumIEEE(head[4:]), crc32.IEEETable, data)
	for _, b := range [][]byte{head, data, binary.BigEndian.AppendUint32(nil, sum)} {
		if _, err := w.Write(b); err != nil {
			return err
		}
	}
	return nil
}
