package covariates

// blockRows is how many rows are multiplied at a time: a block of some tens of columns stays in
// the second level of cache.
const blockRows = 256

// Fill writes rows from to to of all columns: value of row from+i in column j at
// z[j*stride+i], and the weights c of products and v of values. Worker is below Workers(rows), for
// scratch memory.
type Fill func(worker, from, to int, z []float64, stride int, c, v []float64)

// Products returns Σ c z zᵀ (p rows of p numbers) and Σ v z over all rows, z being the p values
// of a row.
func Products(rows, p int, fill Fill) (gram, sum []float64) {
	gram, sum = make([]float64, p*p), make([]float64, p)
	if p == 0 || rows == 0 {
		return gram, sum
	}
	wide := (p + 3) &^ 3 // whole tiles
	scratch := make([]*tile, Workers(rows))
	grams, sums := make([][]float64, Pieces(rows)), make([][]float64, Pieces(rows))
	InPieces(rows, func(worker, piece, from, to int) {
		if scratch[worker] == nil {
			scratch[worker] = newTile(p, wide)
		}
		grams[piece], sums[piece] = scratch[worker].run(worker, from, to, fill)
	})
	for piece := range grams {
		for j := range p {
			sum[j] += sums[piece][j]
			for k := range j + 1 {
				gram[j*p+k] += grams[piece][j*wide+k]
			}
		}
	}
	for j := range p {
		for k := range j {
			gram[k*p+j] = gram[j*p+k]
		}
	}
	return gram, sum
}

// tile is the memory of one worker.
type tile struct {
	p, wide     int
	z, cz, c, v []float64
}

func newTile(p, wide int) *tile {
	return &tile{p: p, wide: wide, z: make([]float64, wide*blockRows), cz: make([]float64, wide*blockRows),
		c: make([]float64, blockRows), v: make([]float64, blockRows)}
}

func (t *tile) run(worker, from, to int, fill Fill) (gram, sum []float64) {
	gram, sum = make([]float64, t.wide*t.wide), make([]float64, t.p)
	for ; from < to; from += blockRows {
		n := min(blockRows, to-from)
		fill(worker, from, from+n, t.z, blockRows, t.c[:n], t.v[:n])
		for j := range t.p {
			z, cz := t.z[j*blockRows:][:n], t.cz[j*blockRows:][:n]
			sum[j] += weigh(z, cz, t.c[:n], t.v[:n])
		}
		t.multiply(n, gram)
	}
	return gram, sum
}

// weigh sets cz to c z and returns Σ v z.
func weigh(z, cz, c, v []float64) float64 {
	cz, c, v = cz[:len(z)], c[:len(z)], v[:len(z)]
	var even, odd float64
	i := 0
	for ; i+1 < len(z); i += 2 {
		cz[i], cz[i+1] = c[i]*z[i], c[i+1]*z[i+1]
		even += float64(v[i] * z[i])
		odd += float64(v[i+1] * z[i+1])
	}
	if i < len(z) {
		cz[i] = c[i] * z[i]
		even += float64(v[i] * z[i])
	}
	return even + odd
}

// multiply adds the products of the block to the lower half of gram, two rows by four columns at
// a time: eight sums and six values fit into the registers.
func (t *tile) multiply(n int, gram []float64) {
	at := func(m []float64, j int) []float64 { return m[j*blockRows:][:n] }
	for j := 0; j < t.p; j += 2 {
		for k := 0; k <= j+1; k += 4 {
			var s [8]float64
			twoByFour(&s, at(t.cz, j), at(t.cz, j+1), at(t.z, k), at(t.z, k+1), at(t.z, k+2), at(t.z, k+3))
			upper, lower := gram[j*t.wide+k:][:4], gram[(j+1)*t.wide+k:][:4]
			for i := range 4 {
				upper[i] += s[i]
				lower[i] += s[4+i]
			}
		}
	}
}

func twoByFour(s *[8]float64, a0, a1, b0, b1, b2, b3 []float64) {
	n := len(a0)
	a1, b0, b1, b2, b3 = a1[:n], b0[:n], b1[:n], b2[:n], b3[:n]
	var s0, s1, s2, s3, s4, s5, s6, s7 float64
	for i, x := range a0 {
		y := a1[i]
		c0, c1, c2, c3 := b0[i], b1[i], b2[i], b3[i]
		s0 += float64(x * c0)
		s1 += float64(x * c1)
		s2 += float64(x * c2)
		s3 += float64(x * c3)
		s4 += float64(y * c0)
		s5 += float64(y * c1)
		s6 += float64(y * c2)
		s7 += float64(y * c3)
	}
	*s = [8]float64{s0, s1, s2, s3, s4, s5, s6, s7}
}
