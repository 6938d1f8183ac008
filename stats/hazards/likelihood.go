package hazards

import (
	"math"

	"deltoid/stats/covariates"
)

// Ties names what is done with several events at one time.
type Ties uint8

const (
	// Efron takes tied events one after the other, each time leaving out the share of them that
	// has had its turn, averaged over all orders. It is the one used unless another is asked for.
	//
	// Source: Efron, J. Am. Stat. Assoc. 72 (1977) 557–565.
	Efron Ties = iota
	// Breslow lets all tied events happen before the full set at risk.
	//
	// Source: Breslow, Biometrics 30 (1974) 89–99.
	Breslow
	// ExactPartial is the exact conditional likelihood for time that is discrete: which of those
	// at risk had the event, given how many had it.
	//
	// Source: Cox, J. R. Stat. Soc. B 34 (1972) 187–220, section 5.
	ExactPartial
)

// String returns the name of the method as a footnote gives it.
func (t Ties) String() string {
	return [...]string{Efron: "Efron's method for ties", Breslow: "Breslow's method for ties", ExactPartial: "exact partial likelihood for ties"}[t]
}

// partial is the partial likelihood of one model.
type partial struct {
	data   Data
	cause  uint8
	ties   Ties
	design *covariates.Design
	slots  *slots

	deaths    []int32   // events at each slot
	mass      []float64 // their weights
	tied      []int32   // number of the slot among those with several events, −1 for others
	severalAt int       // how many slots have several

	risk       []float64 // w exp(η) of each row
	s0, d0     []float64 // sums of risk over those at risk, and over the events, at each slot
	shares     shares
	lanes      int
	predicted  float64 // Σ w η over events
	laneSums   []float64
	kept       *tables // memory for tables of columns
	tableLimit int     // bytes that the tables of columns may take at once
}

// shares are sums over the turns l = 0 … d−1 of the d events of a slot, W being their weight,
// f = l/d and D = S0 − f·D0:
type shares struct {
	h0, h1     []float64 // Σ (W/d)/D and Σ (W/d) f/D
	a0, a1, a2 []float64 // Σ (W/d) f^k/D²
	cumulative []float64 // Σ h0 from the start of the stratum
}

func newShares(n int) shares {
	all := make([]float64, 6*n)
	cut := func(i int) []float64 { return all[i*n : (i+1)*n : (i+1)*n] }
	return shares{cut(0), cut(1), cut(2), cut(3), cut(4), cut(5)}
}

func newPartial(d Data, cause uint8, ties Ties, design *covariates.Design, s *slots) *partial {
	p := &partial{data: d, cause: cause, ties: ties, design: design, slots: s,
		deaths: make([]int32, s.n), mass: make([]float64, s.n), tied: make([]int32, s.n), risk: make([]float64, len(d.Exit)),
		s0: make([]float64, s.n), d0: make([]float64, s.n), shares: newShares(s.n), tableLimit: max(leastTable, tableBytes*len(d.Exit))}
	for i := range d.Exit {
		if p.event(i) {
			p.deaths[s.leave[i]]++
			p.mass[s.leave[i]] += d.weight(i)
		}
	}
	for k, n := range p.deaths {
		p.tied[k] = -1
		if n > 1 {
			p.tied[k] = int32(p.severalAt)
			p.severalAt++
		}
	}
	// Tables for several lanes may take 16 bytes a row; their number is the data's, not the machine's.
	p.lanes = max(1, min(8, len(d.Exit)/max(1, s.n)))
	return p
}

func (p *partial) event(i int) bool {
	return p.data.Cause[i] == p.cause && (p.data.Weight == nil || p.data.Weight[i] > 0)
}

func (p *partial) entered(i int) int32 {
	if p.slots.enter == nil {
		return -1
	}
	return p.slots.enter[i]
}

// Value returns the log partial likelihood.
func (p *partial) Value(beta []float64) float64 {
	p.predict(beta)
	p.sumRisks()
	return p.predicted - p.share()
}

// predict sets the risk of every row.
func (p *partial) predict(beta []float64) {
	d := p.data
	sums := make([]float64, covariates.Pieces(len(d.Exit)))
	covariates.InPieces(len(d.Exit), func(_, piece, from, to int) {
		eta := p.risk[from:to]
		if d.Offset == nil {
			clear(eta)
		} else {
			copy(eta, d.Offset[from:to])
		}
		for at := 0; at < len(eta); at += 1024 {
			p.design.AddPredictor(beta, from+at, eta[at:min(len(eta), at+1024)])
		}
		sum := 0.0
		for i, x := range eta {
			w := d.weight(from + i)
			if d.Cause[from+i] == p.cause && w > 0 {
				sum += float64(w * x)
			}
			eta[i] = w * math.Exp(x)
		}
		sums[piece] = sum
	})
	p.predicted = 0
	for _, x := range sums {
		p.predicted += x
	}
}

// sumRisks fills s0 and d0.
func (p *partial) sumRisks() {
	n, rows, s := p.slots.n, len(p.risk), p.slots
	if s.enter != nil {
		p.lateRisks()
		return
	}
	if p.laneSums == nil {
		p.laneSums = make([]float64, 2*n*p.lanes)
	}
	tables := p.laneSums
	clear(tables)
	covariates.InParallel(p.lanes, func(_, lane int) {
		left, died := tables[2*n*lane:][:n], tables[2*n*lane+n:][:n]
		for i := rows * lane / p.lanes; i < rows*(lane+1)/p.lanes; i++ {
			r, k := p.risk[i], s.leave[i]
			left[k] += r
			if p.data.Cause[i] == p.cause {
				died[k] += r
			}
		}
	})
	clear(p.s0)
	clear(p.d0)
	for lane := range p.lanes {
		for k := range n {
			p.s0[k] += tables[2*n*lane+k]
			p.d0[k] += tables[2*n*lane+n+k]
		}
	}
	s.downwards(p.s0)
}

// share fills the shares and returns Σ (W/d) Σ log D.
func (p *partial) share() float64 {
	n := p.slots.n
	sums := make([]float64, covariates.Pieces(n))
	covariates.InPieces(n, func(_, piece, from, to int) {
		for k := from; k < to; k++ {
			if p.deaths[k] > 0 {
				sums[piece] += p.shareAt(k)
			}
		}
	})
	total := 0.0
	for _, x := range sums {
		total += x
	}
	copy(p.shares.cumulative, p.shares.h0)
	p.slots.upwards(p.shares.cumulative)
	return total
}

func (p *partial) shareAt(k int) float64 {
	x, s0 := &p.shares, p.s0[k]
	d := p.deaths[k]
	if p.ties == Breslow || d == 1 {
		x.h0[k] = p.mass[k] / s0
		x.a0[k] = x.h0[k] / s0
		return float64(p.mass[k] * math.Log(s0))
	}
	each := p.mass[k] / float64(d)
	var h0, h1, a0, a1, a2, logs float64
	for l := range d {
		f := float64(l) / float64(d)
		left := s0 - float64(f*p.d0[k])
		h := each / left
		a := h / left
		h0 += h
		h1 += float64(f * h)
		a0 += a
		a1 += float64(f * a)
		a2 += float64(f * f * a)
		logs += math.Log(left)
	}
	x.h0[k], x.h1[k], x.a0[k], x.a1[k], x.a2[k] = h0, h1, a0, a1, a2
	return float64(each * logs)
}
