package hazards

import (
	"deltoid/stats/covariates"
)

// influence is what the score residuals of some columns are made from.
type influence struct {
	*tables
	p *partial
	b [][]float64 // of each column: Σ (a0 S1 − a1 D1) from the start of the stratum, which is ∫ z̄ dA
}

func (p *partial) influence(t *tables) *influence {
	x := &p.shares
	out := &influence{tables: t, p: p, b: make([][]float64, len(t.columns))}
	covariates.InParallel(len(t.columns), func(_, j int) {
		b := make([]float64, p.slots.n)
		for k := range b {
			b[k] = x.a0[k] * t.s1[j][k]
			if at := p.tied[k]; at >= 0 {
				b[k] -= float64(x.a1[k] * t.d1[j][at])
			}
		}
		p.slots.upwards(b)
		out.b[j] = b
	})
	return out
}

// mean returns z̄ at the events of a slot, and what a tied event is spared of ∫ z̄ dA.
func (f *influence) mean(j, k int) (mean, spared float64) {
	x, s1 := &f.p.shares, f.s1[j][k]
	at := f.p.tied[k]
	if at < 0 {
		return s1 / f.p.s0[k], 0
	}
	d1 := f.d1[j][at]
	mean = (float64(x.h0[k]*s1) - float64(x.h1[k]*d1)) / f.p.mass[k]
	return mean, float64(x.a1[k]*s1) - float64(x.a2[k]*d1)
}

// row writes the score residual of a row, times its weight:
//
//	w [ δ (z − z̄) − e^η ∫ (z − z̄) dA ]     the integral over the time the row is at risk
//
// which a tied event, in Efron's method, takes part in to the share that is left of it.
func (f *influence) row(i int, out []float64) {
	p := f.p
	k := int(p.slots.leave[i])
	hazard := p.shares.cumulative[k]
	enter := p.entered(i)
	if enter >= 0 {
		hazard -= p.shares.cumulative[enter]
	}
	event := p.event(i)
	if event {
		hazard -= p.shares.h1[k]
	}
	w, r := p.data.weight(i), p.risk[i]
	for j, column := range f.columns {
		z := p.design.At(i, column)
		drift := f.b[j][k]
		if enter >= 0 {
			drift -= f.b[j][enter]
		}
		out[j] = 0
		if event {
			mean, spared := f.mean(j, k)
			drift -= spared
			out[j] = w * (z - mean)
		}
		out[j] -= float64(r * (float64(z*hazard) - drift))
	}
}

// addRobust sets the variance that is the sum over clusters of squared influences.
//
// Sources: Lin & Wei, J. Am. Stat. Assoc. 84 (1989) 1074–1078; Lee, Wei & Amato, Survival
// Analysis: State of the Art (1992) 237–247. There is no small-sample factor.
func (f *Fit) addRobust() error {
	p := f.partial
	if p.ties == ExactPartial {
		return nil
	}
	clusters, err := covariates.GroupRows(p.data.Cluster, len(p.risk))
	if err != nil {
		return err
	}
	if p.data.Cluster != nil {
		f.Clusters = clusters.Count
	}
	f.TakeRobust(p.design, f.ascent, p.meat(clusters))
	return nil
}

// meat returns the sum over clusters of squared score residuals, where the coefficients last were.
func (p *partial) meat(clusters *covariates.Clusters) []float64 {
	size := p.design.Size()
	meat := make([]float64, size*size)
	p.eachTable(func(t *tables) {
		part := clusters.Outer(len(t.columns), p.influence(t).row)
		for a, j := range t.columns {
			for b, k := range t.columns {
				meat[j*size+k] = part[a*len(t.columns)+b]
			}
		}
	})
	return meat
}

// RobustScore tests all coefficients at once by the slope of the likelihood where they are 0, with the variance of that slope
// summed over clusters (rows, where the data have none): the score test that knows of clusters. A penalised fit has none, since the
// slope there is that of another likelihood.
//
// Source: Lin & Wei, J. Am. Stat. Assoc. 84 (1989) 1074–1078.
func (f *Fit) RobustScore() (covariates.Test, error) {
	const name = "robust score"
	if err := f.usable(); err != nil {
		return covariates.Test{}, err
	}
	if f.Penalised {
		return covariates.Test{Name: name, Status: covariates.Unsupported, Reason: "a penalised likelihood has no robust score test; use the Wald or the likelihood-ratio test"}, nil
	}
	p := f.partial
	clusters, err := covariates.GroupRows(p.data.Cluster, len(p.risk))
	if err != nil {
		return covariates.Test{}, err
	}
	p.Value(make([]float64, len(f.Names)))
	gradient, _, _ := p.Slope()
	meat := p.meat(clusters)
	p.Value(f.ascent.Beta)
	p.Slope()
	return covariates.ChiSquareTest(name, append([]float64(nil), gradient...), meat), nil
}
