package hazards

import "deltoid/stats/covariates"

// tableBytes is how much the tables of sums may take for each row of the data, and leastTable
// what they may take in any case.
const (
	tableBytes = 16
	leastTable = 32 << 20
)

// tables are the sums S1 of risk·z over those at risk, and D1 over the events of slots with
// several, for some of the columns.
type tables struct {
	columns []int
	s1      [][]float64
	d1      [][]float64 // by number of tied slot
	sums    [][]float64 // while they are made: of four columns side by side
}

// eachTable calls use with tables that between them hold every pair of columns. Where all fit
// into memory that is one call.
func (p *partial) eachTable(use func(t *tables)) {
	all := make([]int, p.design.Size())
	for j := range all {
		all[j] = j
	}
	bytes := 16 * (p.slots.n + p.severalAt) // once while summing, once apart
	fit := max(2, p.tableLimit/bytes)
	if len(all) <= fit {
		use(p.tabulate(all))
		return
	}
	half := max(1, fit/2)
	for a := half; a < len(all); a += half {
		for b := 0; b < a; b += half {
			columns := append([]int(nil), all[b:b+half]...)
			use(p.tabulate(append(columns, all[a:min(a+half, len(all))]...)))
		}
	}
}

// abreast is how many columns are summed side by side: their sums for a slot lie together, and
// risk and slot of a row are read once for all of them.
const abreast = 4

// tabulate makes the tables of some columns. Their memory is that of the last tables of as many.
func (p *partial) tabulate(columns []int) *tables {
	t, jobs := p.kept, (len(columns)+abreast-1)/abreast
	if t == nil || len(t.columns) != len(columns) {
		t = &tables{s1: make([][]float64, len(columns)), d1: make([][]float64, len(columns)), sums: make([][]float64, jobs)}
		for at := range columns {
			t.s1[at], t.d1[at] = make([]float64, p.slots.n), make([]float64, p.severalAt)
		}
		for job := range jobs {
			if p.slots.enter == nil {
				t.sums[job] = make([]float64, (p.slots.n+p.severalAt)*abreast)
			}
		}
		p.kept = t
	}
	if t.columns = columns; p.slots.enter != nil {
		p.lateTables(t)
		return t
	}
	covariates.InParallel(jobs, func(_, job int) {
		from := job * abreast
		to := min(len(columns), from+abreast)
		clear(t.sums[job])
		s, d := t.sums[job][:p.slots.n*abreast], t.sums[job][p.slots.n*abreast:]
		p.columnSums(columns[from:to], s, d)
		for at := from; at < to; at++ {
			everyFourth(s, at-from, t.s1[at])
			everyFourth(d, at-from, t.d1[at])
			p.slots.downwards(t.s1[at])
		}
	})
	return t
}

func everyFourth(x []float64, first int, out []float64) {
	for k := range out {
		out[k] = x[k*abreast+first]
	}
}

// columnSums makes the sums of up to four columns, side by side. One worker goes along the rows in
// order.
func (p *partial) columnSums(columns []int, s1, d1 []float64) {
	const length = 512
	var z [abreast][length]float64
	for from := 0; from < len(p.risk); from += length {
		n := min(length, len(p.risk)-from)
		for at, j := range columns {
			p.design.Write(j, from, z[at][:n])
		}
		p.sumBlock(from, &z[0], &z[1], &z[2], &z[3], n, s1, d1)
	}
}

func (p *partial) sumBlock(from int, z0, z1, z2, z3 *[512]float64, n int, s1, d1 []float64) {
	risk, leave, cause := p.risk[from:][:n], p.slots.leave[from:][:n], p.data.Cause[from:][:n]
	for i, r := range risk {
		i &= 511
		a, b, c, d := float64(r*z0[i]), float64(r*z1[i]), float64(r*z2[i]), float64(r*z3[i])
		add((*[abreast]float64)(s1[int(leave[i])*abreast:]), a, b, c, d)
		if cause[i] == p.cause {
			if at := p.tied[leave[i]]; at >= 0 {
				add((*[abreast]float64)(d1[int(at)*abreast:]), a, b, c, d)
			}
		}
	}
}

func add(to *[abreast]float64, a, b, c, d float64) {
	to[0] += a
	to[1] += b
	to[2] += c
	to[3] += d
}

// Slope returns gradient and information at the beta of the last Value.
func (p *partial) Slope() (gradient, information, size []float64) {
	c := p.rowMoments(nil)
	p.eachTable(func(t *tables) { c.subtract(p.slotMoments(t, nil), t.columns) })
	return c.gradient, c.information, c.size()
}

// curvature is the gradient Σ g(t) (z − z̄) over events and the information Σ g(t) V(t) over
// times, for some factor g of time.
type curvature struct {
	p              int
	gradient, rows []float64
	information    []float64
}

func (c *curvature) size() []float64 {
	out := make([]float64, c.p)
	for j := range out {
		out[j] = c.rows[j*c.p+j]
	}
	return out
}

// subtract takes the moments of slots for some columns off those of rows.
func (c *curvature) subtract(gram []float64, columns []int) {
	for a, j := range columns {
		for b, k := range columns {
			c.information[j*c.p+k] = c.rows[j*c.p+k] - gram[a*len(columns)+b]
		}
	}
}

// rowMoments makes gradient and Σ r A z zᵀ. Factor g is by slot; nil is 1.
func (p *partial) rowMoments(g []float64) *curvature {
	x, s := &p.shares, p.slots
	hazard, own := x.cumulative, x.h1
	if g != nil {
		hazard, own = times(x.h0, g), times(x.h1, g)
		s.upwards(hazard)
	}
	size := p.design.Size()
	c := &curvature{p: size, information: make([]float64, size*size)}
	c.rows, c.gradient = p.design.Moments(func(from, to int, product, value []float64) {
		for i := from; i < to; i++ {
			k := s.leave[i]
			a := hazard[k]
			if s.enter != nil {
				a -= hazard[s.enter[i]]
			}
			v := 0.0
			if p.event(i) {
				a -= own[k]
				if v = p.data.weight(i); g != nil {
					v *= g[k]
				}
			}
			r := float64(p.risk[i] * a)
			product[i-from], value[i-from] = r, v-r
		}
	})
	return c
}

func times(a, b []float64) []float64 {
	out := make([]float64, len(a))
	for i, x := range a {
		out[i] = x * b[i]
	}
	return out
}

// slotMoments makes Σ (W/d) Σ (S1 − f D1)(S1 − f D1)ᵀ/D², which is a sum of two squares:
//
//	a0 (S1 − ρ D1)(S1 − ρ D1)ᵀ + (a2 − ρ a1) D1 D1ᵀ    with ρ = a1/a0
func (p *partial) slotMoments(t *tables, g []float64) []float64 {
	x, k := &p.shares, len(t.columns)
	gram, _ := covariates.Products(p.slots.n, k, func(_, from, to int, z []float64, stride int, c, _ []float64) {
		for j := range k {
			copy(z[j*stride:][:to-from], t.s1[j][from:to])
		}
		for i := from; i < to; i++ {
			c[i-from] = factor(g, i) * x.a0[i]
			if at := p.tied[i]; at >= 0 && x.a1[i] > 0 {
				ratio := x.a1[i] / x.a0[i]
				for j := range k {
					z[j*stride+i-from] -= float64(ratio * t.d1[j][at])
				}
			}
		}
	})
	if p.ties == Breslow || p.severalAt == 0 {
		return gram
	}
	at := p.tiedSlots()
	rest, _ := covariates.Products(len(at), k, func(_, from, to int, z []float64, stride int, c, _ []float64) {
		for j := range k {
			copy(z[j*stride:][:to-from], t.d1[j][from:to])
		}
		for i := from; i < to; i++ {
			slot := at[i]
			c[i-from] = factor(g, int(slot)) * (x.a2[slot] - float64(x.a1[slot]*(x.a1[slot]/x.a0[slot])))
		}
	})
	for i, r := range rest {
		gram[i] += r
	}
	return gram
}

func factor(g []float64, slot int) float64 {
	if g == nil {
		return 1
	}
	return g[slot]
}

// tiedSlots returns the slots with several events.
func (p *partial) tiedSlots() []int32 {
	out := make([]int32, 0, p.severalAt)
	for k, at := range p.tied {
		if at >= 0 {
			out = append(out, int32(k))
		}
	}
	return out
}
