package rise

import "math"

// triangularise turns a (m rows, n columns, row by row, m ≥ n) into the triangle R of its QR factorisation, in its first
// n rows, and b into Qᵀb, by Householder reflections.
func triangularise(a, b []float64, m, n int) {
	for k := range n {
		norm := 0.0
		for i := k; i < m; i++ {
			norm += a[i*n+k] * a[i*n+k]
		}
		norm = math.Sqrt(norm)
		if norm == 0 {
			continue
		}
		if a[k*n+k] > 0 {
			norm = -norm
		}
		// The reflection's vector v is kept in column k below the diagonal, with its head apart.
		head := a[k*n+k] - norm
		beta := -1 / (norm * head)
		reflect := func(col []float64, stride, at int) {
			dot := head * col[k*stride+at]
			for i := k + 1; i < m; i++ {
				dot += a[i*n+k] * col[i*stride+at]
			}
			dot *= beta
			col[k*stride+at] -= dot * head
			for i := k + 1; i < m; i++ {
				col[i*stride+at] -= dot * a[i*n+k]
			}
		}
		for j := k + 1; j < n; j++ {
			reflect(a, n, j)
		}
		reflect(b, 1, 0)
		a[k*n+k] = norm
		for i := k + 1; i < m; i++ {
			a[i*n+k] = 0
		}
	}
}

// dampedStep solves min |R·step + Qᵀr|² + λ|scale·step|² into f.step.
func (f *fitter) dampedStep() {
	n := len(f.p)
	copy(f.damped, f.tri)
	clear(f.damped[n*n:])
	for i := range n {
		f.rhs[i], f.rhs[n+i] = -f.qtr[i], 0
		d := f.scale[i]
		if d == 0 || f.held[i] {
			d = 1
		}
		f.damped[(n+i)*n+i] = math.Sqrt(f.lambda) * d
	}
	triangularise(f.damped, f.rhs, 2*n, n)
	backSubstitute(f.damped, f.rhs, f.step, n)
}

// backSubstitute solves R·x = b for the upper triangle R. A zero on the diagonal gives a zero.
func backSubstitute(r, b, x []float64, n int) {
	for i := n - 1; i >= 0; i-- {
		s := b[i]
		for j := i + 1; j < n; j++ {
			s -= r[i*n+j] * x[j]
		}
		if x[i] = 0; r[i*n+i] != 0 {
			x[i] = s / r[i*n+i]
		}
	}
}

// covariance is (RᵀR)⁻¹, with zero rows and columns for held parameters.
func (f *fitter) covariance() []float64 {
	n := len(f.p)
	inv := f.damped[:n*n] // R⁻¹, column by column
	for j := range n {
		clear(f.rhs)
		if !f.held[j] {
			f.rhs[j] = 1
		}
		backSubstitute(f.tri, f.rhs, f.step, n)
		for i := range n {
			inv[i*n+j] = f.step[i]
		}
	}
	for i := range n {
		for j := range n {
			s := 0.0
			for k := range n {
				s += inv[i*n+k] * inv[j*n+k]
			}
			f.cov[i*n+j] = s
		}
	}
	return f.cov
}
