package mixed

import (
	"math"

	"deltoid/stats/covariates"
)

// likelihood is the (restricted) log-likelihood as a function of θ, with β at its best for each θ:
//
//	ℓ = −½ (log|V| + log|ZᵀV⁻¹Z| + rᵀV⁻¹r + (N−p) log 2π),    Φ = (ZᵀV⁻¹Z)⁻¹,    β = Φ ZᵀV⁻¹y,    r = y − Zβ,
//
// without the second and with N for N−p where the likelihood is not restricted.
//
// Source: Patterson & Thompson, Biometrika 58 (1971) 545–554; Harville, J. Am. Stat. Assoc. 72 (1977) 320–338.
type likelihood struct {
	frame     *frame
	structure *structure
	full      bool // the likelihood is not restricted
	rows      int
}

// state is what the likelihood is at one θ.
type state struct {
	theta  []float64
	value  float64
	beta   []float64 // what the weighted fit adds to the ordinary one
	factor *covariates.Factor
	phi    []float64
	weak   *weakness
}

// weakness is a covariance that has no inverse.
type weakness struct {
	pattern *pattern
	place   int
}

// chunks is how many parts the patterns are cut into: it depends on their number alone.
const mostChunks = 64

// overPatterns calls work for chunks of patterns, with the sums of each at hand.
func (l *likelihood) overPatterns(work func(chunk int, p *pattern, s *sums)) {
	patterns := l.frame.patterns
	chunks := l.chunks()
	covariates.InParallel(chunks, func(_, chunk int) {
		scratch := &arena{}
		for _, p := range patterns[chunk*len(patterns)/chunks : (chunk+1)*len(patterns)/chunks] {
			scratch.used = 0
			work(chunk, p, l.frame.sumsOf(p, scratch))
		}
	})
}

func (l *likelihood) chunks() int { return min(mostChunks, len(l.frame.patterns)) }

// inverse returns V⁻¹ and log|V|, or the place where V fails to be a covariance, −1 for none.
func (l *likelihood) inverse(p *pattern, theta []float64, scratch *arena) (inverse []float64, logDet float64, bad int) {
	k := p.size()
	v, inverse := scratch.take(k*k), scratch.take(k*k)
	l.structure.covariance(p, theta, v)
	logDet, bad = invert(v, inverse, k)
	return inverse, logDet, bad
}

// at evaluates the likelihood.
func (l *likelihood) at(theta []float64) *state {
	s := &state{theta: theta, value: math.Inf(-1)}
	wide := l.frame.width()
	grams, dets, weak := make([][]float64, l.chunks()), make([]float64, l.chunks()), make([]*weakness, l.chunks())
	l.overPatterns(func(chunk int, p *pattern, sums *sums) {
		if grams[chunk] == nil {
			grams[chunk] = make([]float64, wide*wide)
		}
		inverse, logDet, bad := l.inverse(p, theta, sums.scratch)
		if bad >= 0 {
			weak[chunk] = &weakness{p, bad}
			return
		}
		sums.weigh(inverse, grams[chunk])
		dets[chunk] += float64(float64(len(p.blocks)) * logDet)
	})
	for _, w := range weak {
		if w != nil {
			s.weak = w
			return s
		}
	}
	gram, logDet := make([]float64, wide*wide), 0.0
	for chunk, g := range grams {
		for i, v := range g {
			gram[i] += v
		}
		logDet += dets[chunk]
	}
	l.profile(s, gram, logDet)
	return s
}

// profile sets β at its best and the value.
func (l *likelihood) profile(s *state, gram []float64, logDet float64) {
	wide := l.frame.width()
	p := wide - 1
	a, b := make([]float64, p*p), make([]float64, p)
	for j := range p {
		copy(a[j*p:], gram[j*wide:][:p])
		b[j] = gram[j*wide+p]
	}
	factor, bad := covariates.Factorise(a, p, nil)
	if bad >= 0 {
		return
	}
	s.factor, s.phi, s.beta = factor, factor.Inverse(), factor.Solve(b)
	squares := gram[p*wide+p]
	for j, x := range b {
		squares -= float64(x * s.beta[j])
	}
	rows := float64(l.rows)
	s.value = -(logDet + squares) / 2
	if !l.full {
		rows -= float64(p)
		s.value -= factor.LogDeterminant() / 2
	}
	s.value -= rows * math.Log(2*math.Pi) / 2
}

// smallestShare is the share of a variance, given the scores before it, below which a search that does not end is taken to run towards a
// singular covariance.
const smallestShare = 1e-5

// weakest returns a place whose score is nearly an exact function of those before it, nil for none.
func (l *likelihood) weakest(theta []float64) *weakness {
	for _, p := range l.frame.patterns {
		k := p.size()
		v := make([]float64, k*k)
		l.structure.covariance(p, theta, v)
		variances := make([]float64, k)
		for a := range k {
			variances[a] = v[a*k+a]
		}
		lower(v, k)
		for a, x := range variances {
			if d := v[a*k+a]; !(float64(d*d) > smallestShare*x) {
				return &weakness{p, a}
			}
		}
	}
	return nil
}
