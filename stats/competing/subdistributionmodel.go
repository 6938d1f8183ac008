package competing

import (
	"math"

	"deltoid/stats/covariates"
	"deltoid/stats/survival"
)

// subdistribution is the partial likelihood of the model. Slots are the distinct times at which
// anybody leaves.
type subdistribution struct {
	d          survival.Data
	cause      uint8
	design     *covariates.Design
	time       []float64
	slot       []int32 // of each row
	groups     []censoringGroup
	own, other int64

	mass       []float64 // weight of the events of the cause at each slot
	risk       []float64 // w exp(η) of each row
	s0         []float64 // sum over those at risk, with their weights
	jump       []float64 // dA = mass/s0
	cumulative []float64 // A
	predicted  float64
}

// censoringGroup is how people are censored in one group.
type censoringGroup struct {
	stay      []float64 // G just before each slot
	censored  []float64 // weight censored at each slot
	atRisk    []float64 // weight that could be
	reach     []float64 // C = Σ G dA up to each slot
	reachable float64   // C at the end
}

func newSubdistribution(d survival.Data, cause int, o SubdistributionOptions, design *covariates.Design, counts *survival.Counts) *subdistribution {
	m := &subdistribution{d: d, cause: uint8(cause), design: design, time: counts.Pooled().LifeTable(0).Time, risk: make([]float64, len(d.Exit))}
	m.findSlots()
	n := len(m.time)
	m.mass, m.s0, m.jump, m.cumulative = make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	left := make([][3][]float64, counts.Groups())
	for g := range left {
		left[g] = [3][]float64{make([]float64, n), make([]float64, n), make([]float64, n)}
	}
	for i, k := range m.slot {
		kind := m.kind(i)
		left[m.group(i)][kind][k] += m.weight(i)
		switch kind {
		case ownEvent:
			m.own++
			m.mass[k] += m.weight(i)
		case otherEvent:
			m.other++
		}
	}
	for _, l := range left {
		m.groups = append(m.groups, newCensoringGroup(l, o.Ties))
	}
	return m
}

// The ways in which a row ends.
const (
	censored = iota
	ownEvent
	otherEvent
)

func (m *subdistribution) kind(i int) int {
	switch c := m.d.Cause[i]; {
	case c == 0:
		return censored
	case c == m.cause:
		return ownEvent
	}
	return otherEvent
}

func (m *subdistribution) weight(i int) float64 {
	if m.d.Weight == nil {
		return 1
	}
	return m.d.Weight[i]
}

func (m *subdistribution) group(i int) int {
	if m.d.Group == nil {
		return 0
	}
	return int(m.d.Group[i])
}

func (m *subdistribution) findSlots() {
	last := 0
	if len(m.time) > 0 {
		last = int(m.time[len(m.time)-1])
	}
	m.slot = make([]int32, len(m.d.Exit))
	if last > 8*len(m.d.Exit)+1<<16 {
		places := make(map[int32]int32, len(m.time))
		for k, t := range m.time {
			places[int32(t)] = int32(k)
		}
		for i, t := range m.d.Exit {
			m.slot[i] = places[t]
		}
		return
	}
	places := make([]int32, last+1)
	for k, t := range m.time {
		places[int(t)] = int32(k)
	}
	for i, t := range m.d.Exit {
		m.slot[i] = places[t]
	}
}

// newCensoringGroup makes the product-limit estimate of staying uncensored from the weights that
// leave at each slot. After the last row of the group it is 0.
func newCensoringGroup(left [3][]float64, ties CensoringTies) censoringGroup {
	n := len(left[0])
	c := censoringGroup{stay: make([]float64, n), censored: left[censored], atRisk: make([]float64, n), reach: make([]float64, n)}
	here := 0.0
	for k := n - 1; k >= 0; k-- {
		events := left[ownEvent][k] + left[otherEvent][k]
		c.atRisk[k] = here + left[censored][k]
		here += left[censored][k] + events
		if ties == AtOnce {
			c.atRisk[k] = here
		}
	}
	stay, remain := 1.0, here
	for k := range n {
		if c.stay[k] = stay; !(remain > 1e-12*here) {
			c.stay[k] = 0
		}
		if c.censored[k] > 0 {
			stay *= (c.atRisk[k] - c.censored[k]) / c.atRisk[k]
		}
		remain -= left[censored][k] + left[ownEvent][k] + left[otherEvent][k]
	}
	return c
}

// Value returns the log partial likelihood.
func (m *subdistribution) Value(beta []float64) float64 {
	m.predict(beta)
	m.sumOver(nil, m.s0)
	logs := 0.0
	running := 0.0
	for k, w := range m.mass {
		m.jump[k] = 0
		if w > 0 {
			m.jump[k] = w / m.s0[k]
			logs += float64(w * math.Log(m.s0[k]))
		}
		running += m.jump[k]
		m.cumulative[k] = running
	}
	for g := range m.groups {
		c, sum := &m.groups[g], 0.0
		for k := range c.reach {
			sum += float64(c.stay[k] * m.jump[k])
			c.reach[k] = sum
		}
		c.reachable = sum
	}
	return m.predicted - logs
}

func (m *subdistribution) predict(beta []float64) {
	sums := make([]float64, covariates.Pieces(len(m.risk)))
	covariates.InPieces(len(m.risk), func(_, piece, from, to int) {
		eta := m.risk[from:to]
		clear(eta)
		for at := 0; at < len(eta); at += 1024 {
			m.design.AddPredictor(beta, from+at, eta[at:min(len(eta), at+1024)])
		}
		for i, x := range eta {
			w := m.weight(from + i)
			if m.d.Cause[from+i] == m.cause {
				sums[piece] += float64(w * x)
			}
			eta[i] = w * math.Exp(x)
		}
	})
	m.predicted = 0
	for _, x := range sums {
		m.predicted += x
	}
}

// sumOver fills out with the sums of risk, or of risk·z, over those at risk at each slot:
//
//	Σ_{T ≥ t} r  +  Σ_groups G(t−) Σ_{other event, T < t} r/G(T−)
func (m *subdistribution) sumOver(z func(from int, block []float64), out []float64) {
	clear(out)
	gone := make([][]float64, len(m.groups))
	for g := range gone {
		gone[g] = make([]float64, len(out))
	}
	var block [1024]float64
	for from := 0; from < len(m.risk); from += len(block) {
		to := min(len(m.risk), from+len(block))
		if z != nil {
			z(from, block[:to-from])
		}
		for i := from; i < to; i++ {
			r := m.risk[i]
			if z != nil {
				r *= block[i-from]
			}
			k := m.slot[i]
			out[k] += r
			if c := m.d.Cause[i]; c != 0 && c != m.cause {
				g := m.group(i)
				gone[g][k] += r / m.groups[g].stay[k]
			}
		}
	}
	running := 0.0
	for k := len(out) - 1; k >= 0; k-- {
		running += out[k]
		out[k] = running
	}
	for g, table := range gone {
		running = 0.0
		for k, x := range table {
			out[k] += float64(m.groups[g].stay[k] * running)
			running += x
		}
	}
}

// exposure is what a row is exposed to: A up to its exit, and after another event what is left of
// C, by its weight then.
func (m *subdistribution) exposure(i int) float64 {
	k := m.slot[i]
	a := m.cumulative[k]
	if m.kind(i) == otherEvent {
		c := &m.groups[m.group(i)]
		a += (c.reachable - c.reach[k]) / c.stay[k]
	}
	return a
}

// tables returns S1 of every column.
func (m *subdistribution) tables() [][]float64 {
	out := make([][]float64, m.design.Size())
	covariates.InParallel(len(out), func(_, j int) {
		out[j] = make([]float64, len(m.time))
		m.sumOver(func(from int, block []float64) { m.design.Write(j, from, block) }, out[j])
	})
	return out
}

// Slope returns gradient and information at the beta of the last Value.
func (m *subdistribution) Slope() (gradient, information, size []float64) {
	p := m.design.Size()
	information, gradient = m.design.Moments(func(from, to int, c, v []float64) {
		for i := from; i < to; i++ {
			c[i-from] = m.risk[i] * m.exposure(i)
			v[i-from] = -c[i-from]
			if m.d.Cause[i] == m.cause {
				v[i-from] += m.weight(i)
			}
		}
	})
	size = make([]float64, p)
	for j := range p {
		size[j] = information[j*p+j]
	}
	for i, x := range m.days(m.tables()) {
		information[i] -= x
	}
	return gradient, information, size
}

// days returns Σ dA S1 S1ᵀ/S0 over the slots with an event.
func (m *subdistribution) days(s1 [][]float64) []float64 {
	p := m.design.Size()
	days, _ := covariates.Products(len(m.time), p, func(_, from, to int, z []float64, stride int, c, _ []float64) {
		for j := range p {
			copy(z[j*stride:][:to-from], s1[j][from:to])
		}
		for k := from; k < to; k++ {
			if c[k-from] = 0; m.mass[k] > 0 {
				c[k-from] = m.jump[k] / m.s0[k]
			}
		}
	})
	return days
}
