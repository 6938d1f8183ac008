package hazards

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"deltoid/stats/covariates"
)

// mostExactWork bounds rows at risk × tied events × columns² over all times: some minutes.
const mostExactWork = 2e10

// checkExact refuses what the exact partial likelihood has no answer to.
func (p *partial) checkExact(o Options) error {
	switch {
	case p.data.Weight != nil:
		return errors.New("the exact partial likelihood counts people and knows no weights; use Efron's method")
	case p.data.Cluster != nil || o.Robust:
		return errors.New("the exact partial likelihood has no robust variance; use Efron's method")
	case o.Penalised:
		return errors.New("the exact partial likelihood has no penalised form here; use Efron's method")
	}
	work, size := 0.0, float64(p.design.Size()+1)
	at := p.rowsAtRisk()
	for k, n := range p.deaths {
		if n > 1 {
			work += float64(float64(n) * float64(len(at(k))) * size * size)
		}
	}
	if work > mostExactWork {
		return fmt.Errorf(
			"the exact partial likelihood would take %.1g steps for these ties; use Efron's method, which agrees with it where ties are few beside those at risk", work)
	}
	return nil
}

// rowsAtRisk returns a function that lists the rows at risk at a slot.
func (p *partial) rowsAtRisk() func(k int) []int32 {
	order := make([]int32, len(p.risk))
	for i := range order {
		order[i] = int32(i)
	}
	leave := p.slots.leave
	sort.SliceStable(order, func(a, b int) bool { return leave[order[a]] < leave[order[b]] })
	var out []int32
	return func(k int) []int32 {
		out = out[:0]
		from := sort.Search(len(order), func(a int) bool { return int(leave[order[a]]) >= k })
		end := p.stratumEnd(k)
		for _, i := range order[from:] {
			if int(leave[i]) >= end {
				break
			}
			if e := p.entered(int(i)); int(e) < k {
				out = append(out, i)
			}
		}
		return out
	}
}

// stratumEnd returns the slot after the last of the stratum that slot k is in.
func (p *partial) stratumEnd(k int) int {
	at := sort.Search(len(p.slots.first), func(g int) bool { return int(p.slots.first[g]) > k })
	return int(p.slots.first[at])
}

// exact is the exact partial likelihood. At a time with d events among n at risk, the events are
// a sample of d out of n, drawn with odds e^η and without replacement: its probability is Π e^η
// over the events divided by the sum of such products over all samples of d.
//
// That sum, and mean and covariance of Σz over the samples, come from building up the sample row by
// row: with probabilities q = c e^η/(1 + c e^η) of being drawn, the sum is the probability of d
// draws over Π (1−q) and c^d. All terms are positive, and none overflows.
//
// Source of the recursion: Gail, Lubin & Rubinstein, Biometrika 68 (1981) 703–707.
type exact struct {
	*partial
	at func(k int) []int32
}

func newExact(p *partial) *exact { return &exact{p, p.rowsAtRisk()} }

func (e *exact) Value(beta []float64) float64 {
	e.predict(beta)
	e.sumRisks()
	total := e.predicted
	for k, d := range e.deaths {
		if d > 0 {
			total -= e.draw(k, false).log
		}
	}
	return total
}

func (e *exact) Slope() (gradient, information, size []float64) {
	p := e.design.Size()
	gradient, information, size = make([]float64, p), make([]float64, p*p), make([]float64, p)
	for i := range e.risk {
		if e.event(i) {
			for j := range p {
				gradient[j] += e.design.At(i, j)
			}
		}
	}
	for k, d := range e.deaths {
		if d == 0 {
			continue
		}
		s := e.draw(k, true)
		for j := range p {
			gradient[j] -= s.mean[j]
			size[j] += s.square[j*p+j]
			for l := range p {
				information[j*p+l] += s.square[j*p+l] - float64(s.mean[j]*s.mean[l])
			}
		}
	}
	return gradient, information, size
}

// samples is what is known of all samples of d rows at one time: the log of the sum of their
// products, and mean and mean square of Σz over them.
type samples struct {
	log          float64
	mean, square []float64
}

func (e *exact) draw(k int, moments bool) samples {
	at, d := e.at(k), int(e.deaths[k])
	if d == 1 {
		return e.drawOne(at, e.s0[k], moments)
	}
	c := e.odds(at, d)
	p := 0
	if moments {
		p = e.design.Size()
	}
	b := newBuild(d, p)
	logs := -float64(float64(d) * math.Log(c))
	for _, i := range at {
		odds := c * e.risk[i]
		q := odds / (1 + odds)
		logs += math.Log1p(odds)
		b.offer(q, 1/(1+odds), func(j int) float64 { return e.design.At(int(i), j) })
	}
	return b.result(logs)
}

// drawOne is a sample of one.
func (e *exact) drawOne(at []int32, sum float64, moments bool) samples {
	s := samples{log: math.Log(sum)}
	if !moments {
		return s
	}
	b := newBuild(1, e.design.Size())
	b.chance[1] = 1
	for _, i := range at {
		share := e.risk[i] / sum
		for j := range b.p {
			z := e.design.At(int(i), j)
			b.mean[b.p+j] += float64(share * z)
			for l := range b.p {
				b.square[(b.p+j)*b.p+l] += float64(share * z * e.design.At(int(i), l))
			}
		}
	}
	return b.result(s.log)
}

// odds returns the c at which the expected size of a sample is d; 1 where all are drawn.
func (e *exact) odds(at []int32, d int) float64 {
	if d >= len(at) {
		return 1
	}
	low, high := -700.0, 700.0
	for range 60 {
		mid, sum := (low+high)/2, 0.0
		c := math.Exp(mid)
		for _, i := range at {
			odds := c * e.risk[i]
			sum += 1 - 1/(1+odds)
		}
		if sum < float64(d) {
			low = mid
		} else {
			high = mid
		}
	}
	return math.Exp((low + high) / 2)
}

// build holds, for each number of draws so far up to d, the chance of it and chance × mean of Σz
// and of its square.
type build struct {
	d, p                 int
	chance, mean, square []float64
}

func newBuild(d, p int) *build {
	b := &build{d: d, p: p, chance: make([]float64, d+1), mean: make([]float64, (d+1)*p), square: make([]float64, (d+1)*p*p)}
	b.chance[0] = 1
	return b
}

// offer lets a row be drawn with probability q.
func (b *build) offer(q, not float64, at func(j int) float64) {
	z := make([]float64, b.p)
	for j := range z {
		z[j] = at(j)
	}
	for m := b.d; m >= 0; m-- {
		b.drawn(m, q, not, z)
	}
}

// drawn moves m draws on: they were m and the row is not drawn, or m−1 and it is.
func (b *build) drawn(m int, q, not float64, z []float64) {
	p := b.p
	mean, square := b.mean[m*p:(m+1)*p], b.square[m*p*p:(m+1)*p*p]
	for i := range square {
		square[i] *= not
	}
	for j := range mean {
		mean[j] *= not
	}
	b.chance[m] *= not
	if m == 0 {
		return
	}
	c, before, squareBefore := b.chance[m-1], b.mean[(m-1)*p:m*p], b.square[(m-1)*p*p:m*p*p]
	for j := range p {
		mean[j] += float64(q * (before[j] + float64(c*z[j])))
		for l := range p {
			square[j*p+l] += float64(q * (squareBefore[j*p+l] + float64(z[j]*before[l]) + float64(before[j]*z[l]) + float64(c*z[j]*z[l])))
		}
	}
	b.chance[m] += float64(q * c)
}

func (b *build) result(logs float64) samples {
	c, p := b.chance[b.d], b.p
	s := samples{log: logs + math.Log(c), mean: make([]float64, p), square: make([]float64, p*p)}
	for j := range p {
		s.mean[j] = b.mean[b.d*p+j] / c
		for l := range p {
			s.square[j*p+l] = b.square[(b.d*p+j)*p+l] / c
		}
	}
	return s
}

var _ covariates.Objective = (*exact)(nil)
