package demo

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"
)

// Numbers of nodes of the Gauss–Legendre rules: in the part of a year since the birthday, in the years between two
// sides, and in each piece of follow-up.
const (
	partNodes   = 6
	gapNodes    = 8
	followNodes = 12
)

// mixture is the distribution of the covariates among the shoulders of a stratum.
type mixture struct {
	cells  []mixtureCell
	ratios []float64 // of revision, by implant and hospital
	shares []float64 // of the implants and hospitals; they sum to 1
}

// mixtureCell is the shoulders of one age in whole years and one sex.
type mixtureCell struct {
	ratio  float64   // of revision
	share  []float64 // of all shoulders, by source, part of a year and ASA class; over all cells they sum to 1
	hazard []float64 // of death a year on the day of the operation, likewise
}

func newMixture(s *stratum) *mixture {
	m := &mixture{}
	places := hospitalShares()
	for _, im := range implants[s.procedure] {
		for h, share := range places {
			m.ratios = append(m.ratios, s.revision*im.revision*hospitalRevision[h])
			m.shares = append(m.shares, im.share*share)
		}
	}
	var total float64
	sources := s.sources()
	for age := youngest; age <= oldest+6; age++ { // a second side comes at most six birthdays later
		for _, sex := range []int16{female, male} {
			c := newCell(sources, age, sex)
			for _, w := range c.share {
				total += w
			}
			m.cells = append(m.cells, c)
		}
	}
	for _, c := range m.cells {
		for k := range c.share {
			c.share[k] /= total
		}
	}
	return m
}

// source is a stratum whose patients bring shoulders to the stratum at hand. The weights are of its first and its second
// sides, relative to the first sides of the stratum at hand.
type source struct {
	*stratum
	first, second float64
}

// sources lists the stratum itself, with the second sides that stay in it, and those from which second sides cross to it.
func (s *stratum) sources() []source {
	all := []source{{s, 1, 1}}
	for _, c := range crossings {
		switch from := &strata[c.from]; s {
		case from:
			all[0].second -= c.share
		case &strata[c.to]:
			all = append(all, source{from, 0, c.share * from.share / s.share})
		}
	}
	return all
}

// newCell returns the shoulders of an age and a sex, with shares of the first sides: they sum to more than 1 with the
// second sides.
func newCell(sources []source, age int, sex int16) mixtureCell {
	c := mixtureCell{ratio: ageSexRevision(age, sex)}
	for _, s := range sources {
		c.add(s, age, sex)
	}
	return c
}

func (c *mixtureCell) add(s source, age int, sex int16) {
	parts, weights := nodes(partNodes, 0, 1)
	of := s.female
	if sex == male {
		of = 1 - s.female
	}
	p := s.ages()
	for i, part := range parts {
		z := float64(age) + part
		for asa := range int16(len(asaDeath)) {
			death := s.death * sexAsaDeath(sex, asa)
			share := float64(s.first*ageAsaShare(p, age, asa)) + float64(s.second*s.secondShare(p, z, asa, death))
			c.share = append(c.share, weights[i]*of*share)
			c.hazard = append(c.hazard, death*deathAt75*math.Exp(deathSlope*(z-75)))
		}
	}
}

func ageAsaShare(ages []float64, age int, asa int16) float64 {
	if age < youngest || age > oldest {
		return 0
	}
	return ages[age-youngest] * asaShares[asaBand(age)][asa]
}

// secondShare returns the density of second sides at the exact age z, relative to first sides. On any one day they are
// the patients who had the first side g years ago, when there were fewer of them by the factor e^(−growth·g), and who
// lived to see the day; g is uniform. The sum over whole days is taken as an integral, which changes it by less than one
// part in a million.
func (s *stratum) secondShare(ages []float64, z float64, asa int16, death float64) float64 {
	from, to := (minGap-0.5)/daysPerYear, (maxGap+0.5)/daysPerYear
	density := s.second / (to - from)
	return integrate(from, to, gapNodes, birthdays(z, to), func(g float64) float64 {
		alive := math.Exp(-death * cumulativeDeath(z-g, g))
		return density * math.Exp(-growth*g) * alive * ageAsaShare(ages, int(math.Floor(z-g)), asa)
	})
}

// birthdays returns how many years before the exact age z the birthdays were, up to a limit.
func birthdays(z, limit float64) []float64 {
	var ago []float64
	for g := z - math.Floor(z); g < limit; g++ {
		ago = append(ago, g)
	}
	return ago
}

// follow integrates over follow-up from one time in years to another: the density of revisions, and their hazard among
// those still at risk.
func (m *mixture) follow(from, to float64) (incidence, hazard float64) {
	breaks := slices.Clone(revisionFrom)
	for t := math.Ceil(from); t < to; t++ {
		breaks = append(breaks, t)
	}
	slices.Sort(breaks)
	incidence = integrate(from, to, followNodes, breaks, func(t float64) float64 {
		events, _ := m.atRisk(t)
		return events
	})
	hazard = integrate(from, to, followNodes, breaks, func(t float64) float64 {
		events, free := m.atRisk(t)
		return events / free
	})
	return incidence, hazard
}

// atRisk returns E[λ_r S_r S_d] and E[S_r S_d] at t years.
func (m *mixture) atRisk(t float64) (events, free float64) {
	rate, cumulative := baseRevisionRate(t), baseRevision(t)
	growing := math.Expm1(deathSlope*t) / deathSlope
	for i := range m.cells {
		c := &m.cells[i]
		var alive, unrevised, revising float64
		for k, share := range c.share {
			alive += float64(share * math.Exp(-c.hazard[k]*growing))
		}
		for k, share := range m.shares {
			ratio := c.ratio * m.ratios[k]
			s := share * math.Exp(-ratio*cumulative)
			unrevised += s
			revising += float64(s * ratio)
		}
		events += float64(alive * revising * rate)
		free += float64(alive * unrevised)
	}
	return events, free
}

// integrate adds up Gauss–Legendre rules over the pieces between breaks, which rise.
func integrate(from, to float64, n int, breaks []float64, f func(float64) float64) float64 {
	var sum float64
	piece := func(a, b float64) {
		if b > a {
			sum += quad.Fixed(f, a, b, n, quad.Legendre{}, 0)
		}
	}
	at := from
	for _, b := range breaks {
		if b > at && b < to {
			piece(at, b)
			at = b
		}
	}
	piece(at, to)
	return sum
}

func nodes(n int, from, to float64) (x, weight []float64) {
	x, weight = make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(x, weight, from, to)
	return x, weight
}
