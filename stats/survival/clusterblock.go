package survival

import (
	"slices"

	"deltoid/stats/numeric"
)

// clusterTables is how many tables a block holds.
const clusterTables = 4

// clusterBlock is some of the groups of a clusterScan, with a row for each place in tables as wide
// as the block.
type clusterBlock struct {
	scan        *clusterScan
	first, last int // the groups
	width       int
	share       []float64 // n_j/n at the event time of the place
	drift       []float64 // Σ w (n_j/n) d/n over the event times gone by
	leave       []float64 // by how much U falls at the place, and later L
	event       []float64 // E at the event time of the place
	sum         []float64 // z + y/2 of a cluster, or U
	left, right numeric.Panels
}

func newClusterBlock(s *clusterScan, width int) *clusterBlock {
	b := &clusterBlock{scan: s, width: width, sum: make([]float64, width), left: numeric.NewPanels(width, numeric.Stretch), right: numeric.NewPanels(s.k, numeric.Stretch)}
	for _, t := range []*[]float64{&b.share, &b.drift, &b.leave, &b.event} {
		*t = make([]float64, len(s.hazard)*width)
	}
	return b
}

// run sets the rows of half that belong to groups first to last−1.
func (b *clusterBlock) run(first, last int, half []float64) {
	b.first, b.last, b.width = first, last, last-first
	clear(b.leave)
	clear(b.event)
	for i := range b.scan.strata {
		b.follow(&b.scan.strata[i])
	}
	b.addClusters()
	for i := range b.scan.strata {
		s := &b.scan.strata[i]
		b.addAlone(s)
		b.settle(s)
		b.multiply(s, half)
	}
}

// at returns the row of a table at a place.
func (b *clusterBlock) at(table []float64, place int) []float64 {
	return table[place*b.width : (place+1)*b.width]
}

// follow fills in share and drift.
func (b *clusterBlock) follow(s *clusterStratum) {
	clear(b.at(b.drift, s.base))
	var seen steps
	for j, w := range s.along[b.first:b.last] {
		sum := 0.0
		for from := 0; from < len(s.times.time); from += numeric.Stretch {
			to := min(from+numeric.Stretch, len(s.times.time))
			w.along(from, to, &seen)
			for i := from; i < to; i++ {
				share := seen.atRisk[i-from] / s.times.n[i]
				sum += float64(s.times.weight[i] * share * s.times.d[i] / s.times.n[i])
				b.share[(s.base+i)*b.width+j] = share
				b.drift[(s.base+i+1)*b.width+j] = sum
			}
		}
	}
}

// addClusters goes through the rows that are not counted.
func (b *clusterBlock) addClusters() {
	rows := b.scan.apart
	for from := 0; from < len(rows); {
		to := b.scan.clusterEnd(from)
		sum := b.sum[:b.width]
		clear(sum)
		for i := from; i < to; i++ {
			b.addHalf(sum, i)
		}
		for i := from; i < to; i++ {
			b.spread(sum, i)
		}
		from = to
	}
}

// addHalf adds z + y/2 of a row.
func (b *clusterBlock) addHalf(sum []float64, i int) {
	x := &b.scan.apart[i]
	half := b.scan.weightOf(i) / 2
	addTimes(sum, half, b.at(b.drift, int(x.to)))
	if x.late {
		addTimes(sum, -half, b.at(b.drift, int(x.from)))
	}
	if x.event {
		addTimes(sum, -float64(half*b.scan.timeWeight[x.to-1]), b.at(b.share, int(x.to)-1))
	}
	if j := int(x.group) - b.first; j >= 0 && j < b.width {
		sum[j] += b.scan.own(i)
	}
}

// spread adds the sum of a cluster to U and E of the times of one of its rows.
func (b *clusterBlock) spread(sum []float64, i int) {
	x, weight := &b.scan.apart[i], b.scan.weightOf(i)
	addTimes(b.at(b.leave, int(x.to)), weight, sum)
	if x.late {
		addTimes(b.at(b.leave, int(x.from)), -weight, sum)
	}
	if x.event {
		addTimes(b.at(b.event, int(x.to)-1), weight, sum)
	}
}

// addTimes adds c·x to out.
func addTimes(out []float64, c float64, x []float64) {
	x = x[:len(out)]
	for i := range out {
		out[i] += float64(c * x[i])
	}
}

// addAlone adds the rows that were counted, each a cluster of its own: y of all of them together,
// and z of those of the block.
func (b *clusterBlock) addAlone(s *clusterStratum) {
	for to, others := range s.others {
		place, events := s.base+to, s.events[to]
		leave := b.at(b.leave, place)
		addTimes(leave, (events+others)/2, b.at(b.drift, place))
		if events > 0 {
			weight, event, share := s.times.weight[to-1], b.at(b.event, place-1), b.at(b.share, place-1)
			addTimes(leave, -float64(events/2*weight), share)
			addTimes(event, events/2, b.at(b.drift, place))
			addTimes(event, -float64(events/2*weight), share)
		}
	}
	for j := range b.width {
		s.eachAlone(b.first+j, b.scan.cause, func(to int, event bool, count float64) {
			z := float64(count * b.scan.between(s.base, s.base+to, event))
			b.at(b.leave, s.base+to)[j] += z
			if event {
				b.at(b.event, s.base+to-1)[j] += z
			}
		})
	}
}

// settle goes back along the event times with U and leaves L of each at the place after it.
func (b *clusterBlock) settle(s *clusterStratum) {
	u := b.sum[:b.width]
	clear(u)
	for i := len(s.times.time) - 1; i >= 0; i-- {
		weight := s.times.weight[i]
		h := float64(weight * s.times.d[i] / s.times.n[i])
		l, event := b.at(b.leave, s.base+i+1), b.at(b.event, s.base+i)
		for j := range u {
			u[j] += l[j]
			l[j] = float64(h*u[j]) - float64(weight*event[j])
		}
	}
}

// multiply adds Σ L (n/n)ᵀ of a stratum, a stretch of times at a time.
func (b *clusterBlock) multiply(s *clusterStratum, half []float64) {
	along, k := slices.Clone(s.along), b.scan.k
	for from := 0; from < len(s.times.time); from += numeric.Stretch {
		to := min(from+numeric.Stretch, len(s.times.time))
		for i := from; i < to; i++ {
			for j, x := range b.at(b.leave, s.base+i+1) {
				b.left.Panel(j/4, to-from)[i-from][j%4] = x
			}
		}
		for g := range along {
			along[g].shares(b.right.Panel(g/4, to-from), g%4, s.times, from, to)
		}
		for q := 0; 4*q < b.width; q++ {
			numeric.AddProducts(half, k, b.first+4*q, k, b.left.Panel(q, to-from), b.right)
		}
	}
}
