package mixed

// sums is what the likelihood needs of one pattern: the moments of its blocks, or where blocks are few the rows themselves.
type sums struct {
	k, wide int
	moments []float64
	rows    []float64 // of each block k rows of wide numbers
	blocks  int
	scratch *arena
}

// arena hands out memory for one pattern at a time, so that many small patterns do not make as many small pieces of garbage.
type arena struct {
	buffer []float64
	used   int
}

// take returns n zeros.
func (a *arena) take(n int) []float64 {
	if a.used+n > len(a.buffer) {
		a.buffer, a.used = make([]float64, max(2*len(a.buffer), 4*n, 1024)), 0 // the old one lives on where it is in use
	}
	out := a.buffer[a.used:][:n:n]
	a.used += n
	clear(out)
	return out
}

// product returns A·B for n × n matrices, rows one after the other.
func (a *arena) product(x, y []float64, n int) []float64 {
	out := a.take(n * n)
	multiplyInto(out, x, y, n)
	return out
}

// sumsOf gathers a pattern.
func (x *frame) sumsOf(p *pattern, scratch *arena) *sums {
	s := &sums{k: p.size(), wide: x.width(), moments: p.moments, blocks: len(p.blocks), scratch: scratch}
	if s.moments != nil {
		return s
	}
	s.rows = scratch.take(s.blocks * s.k * s.wide)
	for b := range p.blocks {
		for a := range s.k {
			row := s.rows[(b*s.k+a)*s.wide:][:s.wide]
			x.writeRow(p.blocks[b][a], row)
		}
	}
	return s
}

// block returns the rows of block b.
func (s *sums) block(b int) []float64 { return s.rows[b*s.k*s.wide:][:s.k*s.wide] }

// weigh adds Σ_ab Ω_ab S_ab to out, S_ab being the products of all columns at place a with all at place b; Ω is symmetric.
func (s *sums) weigh(omega, out []float64) { s.weighFirst(omega, s.wide, out) }

// weighFirst does so for the first n columns.
func (s *sums) weighFirst(omega []float64, n int, out []float64) {
	if s.moments == nil {
		s.weighRows(omega, n, out)
		return
	}
	size := s.k * s.wide
	for a := range s.k {
		for b := range s.k {
			w := omega[a*s.k+b]
			if w == 0 {
				continue
			}
			for j := range n {
				from, to := s.moments[(a*s.wide+j)*size+b*s.wide:][:n], out[j*n:][:n]
				for i, x := range from {
					to[i] += float64(w * x)
				}
			}
		}
	}
}

func (s *sums) weighRows(omega []float64, n int, out []float64) {
	turned := s.scratch.take(n)
	for block := range s.blocks {
		rows := s.block(block)
		for a := range s.k {
			clear(turned)
			for b, w := range omega[a*s.k:][:s.k] {
				if w == 0 {
					continue
				}
				for i, x := range rows[b*s.wide:][:n] {
					turned[i] += float64(w * x)
				}
			}
			for j, x := range rows[a*s.wide:][:n] {
				if x == 0 {
					continue
				}
				for i, y := range turned {
					out[j*n+i] += float64(x * y)
				}
			}
		}
	}
}

// residuals returns C = Σ r rᵀ, E = Σ z Φ zᵀ and, for places a and b, Σ z_a r_b.
func (s *sums) residuals(beta, phi []float64) (c, e, cross []float64) {
	n := s.wide - 1
	c, e, cross = s.scratch.take(s.k*s.k), s.scratch.take(s.k*s.k), s.scratch.take(s.k*s.k*n)
	if s.moments == nil {
		s.residualRows(beta, phi, c, e, cross)
		return c, e, cross
	}
	size := s.k * s.wide
	for a := range s.k {
		for b := range s.k {
			x := cross[(a*s.k+b)*n:][:n]
			sum := 0.0
			for j := range n {
				row := s.moments[(a*s.wide+j)*size+b*s.wide:][:s.wide]
				r := row[n]
				for i, w := range row[:n] {
					r -= float64(w * beta[i])
					sum += float64(w * phi[j*n+i])
				}
				x[j] = r
			}
			e[a*s.k+b] = sum
			last := s.moments[(a*s.wide+n)*size+b*s.wide:][:s.wide]
			r := last[n]
			for i, w := range last[:n] {
				r -= float64(w * beta[i])
			}
			for j := range n {
				r -= float64(beta[j] * x[j])
			}
			c[a*s.k+b] = r
		}
	}
	return c, e, cross
}

func (s *sums) residualRows(beta, phi, c, e, cross []float64) {
	n := s.wide - 1
	r, turned := s.scratch.take(s.k), s.scratch.take(s.k*n)
	for block := range s.blocks {
		rows := s.block(block)
		clear(turned)
		for a := range s.k {
			row := rows[a*s.wide:][:s.wide]
			r[a] = row[n]
			for i, w := range row[:n] {
				r[a] -= float64(w * beta[i])
				if w == 0 {
					continue
				}
				for j, f := range phi[i*n:][:n] {
					turned[a*n+j] += float64(w * f)
				}
			}
		}
		for a := range s.k {
			for b := range s.k {
				c[a*s.k+b] += float64(r[a] * r[b])
				sum, x := 0.0, cross[(a*s.k+b)*n:][:n]
				for i, w := range rows[b*s.wide:][:n] {
					sum += float64(w * turned[a*n+i])
				}
				for i, w := range rows[a*s.wide:][:n] {
					x[i] += float64(w * r[b])
				}
				e[a*s.k+b] += sum
			}
		}
	}
}
