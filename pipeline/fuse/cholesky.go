package fuse

import "math"

// cholesky factors a symmetric positive matrix in place (lower triangle).
func cholesky(a []float64, n int) bool {
	for j := range n {
		rj := a[j*n : j*n+j+1]
		d := rj[j]
		for _, v := range rj[:j] {
			d -= v * v
		}
		if !(d > 0) {
			return false
		}
		d = math.Sqrt(d)
		rj[j] = d
		for i := j + 1; i < n; i++ {
			ri := a[i*n : i*n+j+1]
			v := ri[j]
			for k, x := range rj[:j] {
				v -= x * ri[k]
			}
			ri[j] = v / d
		}
	}
	return true
}

// solveCholesky solves L L' X = B in place for a B of so many columns, row by row.
func solveCholesky(l []float64, n int, b []float64, columns int) {
	for i := range n {
		row := b[i*columns : (i+1)*columns]
		for k := range i {
			c := l[i*n+k]
			if c == 0 {
				continue
			}
			for j, v := range b[k*columns : (k+1)*columns] {
				row[j] -= c * v
			}
		}
		d := 1 / l[i*n+i]
		for j := range row {
			row[j] *= d
		}
	}
	for i := n - 1; i >= 0; i-- {
		row := b[i*columns : (i+1)*columns]
		for k := i + 1; k < n; k++ {
			c := l[k*n+i]
			if c == 0 {
				continue
			}
			for j, v := range b[k*columns : (k+1)*columns] {
				row[j] -= c * v
			}
		}
		d := 1 / l[i*n+i]
		for j := range row {
			row[j] *= d
		}
	}
}
