package hazards

import "deltoid/stats/covariates"

// Late entries are taken off sums of those who leave later. Where risks differ by many powers of ten
// that subtraction would lose what the small ones add, so these sums are kept to twice the
// precision of a float64, in which what entered cancels what leaves exactly.

// doubled is a table of sums, each as a large part and what it lost.
type doubled struct{ high, low []float64 }

func newDoubled(n int) doubled { return doubled{make([]float64, n), make([]float64, n)} }

// add adds x by the error-free sum of Knuth, The Art of Computer Programming 2 (1969), 4.2.2.
func (t doubled) add(k int32, x float64) {
	sum, lost := twoSum(t.high[k], x)
	t.high[k] = sum
	t.low[k] += lost
}

func twoSum(a, b float64) (sum, lost float64) {
	sum = a + b
	part := sum - a
	return sum, (a - (sum - part)) + (b - part)
}

// downwards writes the sums over those at risk.
func (t doubled) downwards(s *slots, out []float64) {
	for g := range len(s.first) - 1 {
		high, low := 0.0, 0.0
		for k := int(s.first[g+1]) - 1; k >= int(s.first[g]); k-- {
			sum, lost := twoSum(high, t.high[k])
			high, low = sum, low+(lost+t.low[k])
			out[k] = high + low
		}
		out[s.first[g]] = 0
	}
}

// lateRisks fills s0 and d0 where some enter late.
func (p *partial) lateRisks() {
	s, t := p.slots, newDoubled(p.slots.n)
	clear(p.d0)
	for i, r := range p.risk {
		t.add(s.leave[i], r)
		if p.data.Cause[i] == p.cause {
			p.d0[s.leave[i]] += r
		}
		if !s.isStart(s.enter[i]) {
			t.add(s.enter[i], -r)
		}
	}
	t.downwards(s, p.s0)
}

// lateTables fills the tables of columns where some enter late.
func (p *partial) lateTables(t *tables) {
	covariates.InParallel(len(t.columns), func(_, at int) {
		s, sums := p.slots, newDoubled(p.slots.n)
		clear(t.d1[at])
		var z [512]float64
		for from := 0; from < len(p.risk); from += len(z) {
			to := min(len(p.risk), from+len(z))
			p.design.Write(t.columns[at], from, z[:to-from])
			for i := from; i < to; i++ {
				rz := float64(p.risk[i] * z[i-from])
				sums.add(s.leave[i], rz)
				if tie := p.tied[s.leave[i]]; tie >= 0 && p.data.Cause[i] == p.cause {
					t.d1[at][tie] += rz
				}
				if !s.isStart(s.enter[i]) {
					sums.add(s.enter[i], -rz)
				}
			}
		}
		sums.downwards(s, t.s1[at])
	})
}
