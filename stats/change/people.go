package change

import (
	"math"

	"deltoid/stats/covariates"
	"deltoid/stats/describe"
	"deltoid/stats/dist"
	"deltoid/stats/numeric"
)

// people is rows by the patients they belong to.
type people struct {
	clusters *covariates.Clusters
	rows     int
}

// peopleOf groups rows that checkPatients has passed.
func peopleOf(patient []int32, rows int) people {
	c, err := covariates.GroupRows(patient, rows)
	if err != nil {
		panic(err)
	}
	return people{c, rows}
}

// clustered reports whether any patient has more than one row.
func (p people) clustered() bool { return p.clusters.Count < p.rows }

// patients is what an Estimate says about clusters.
func (p people) patients() int {
	if p.clustered() {
		return p.clusters.Count
	}
	return 0
}

// sums returns the sum of u over the rows of each patient.
func (p people) sums(u []float64) []float64 {
	if !p.clustered() {
		return u
	}
	out := make([]float64, p.clusters.Count)
	for g := range out {
		for _, i := range p.clusters.Of(g) {
			out[g] += u[i]
		}
	}
	return out
}

// squares returns the sum over patients of the squared sum of u over their rows.
func (p people) squares(u []float64) float64 { return p.products(u, u) }

// products returns the sum over patients of the product of the sums of u and v.
func (p people) products(u, v []float64) float64 {
	var s numeric.Sum
	a, b := p.sums(u), p.sums(v)
	for g, x := range a {
		s.Add(float64(x * b[g]))
	}
	return s.Value()
}

// meanOf returns a mean with its t-interval. The standard error sums over patients, with the factor G/(G−1) for G
// of them, and the degrees of freedom are G − 1: without clusters this is the standard error of every textbook.
func meanOf(x []float64, p people, level float64) Estimate {
	m := describe.MomentsOf(x)
	e := Estimate{N: len(x), Patients: p.patients(), Level: level}
	if g := p.clusters.Count; g < 2 {
		e.State = state(TooFew, "a mean with an interval needs two patients; there are %d", g)
		return e
	}
	u := make([]float64, len(x))
	for i, v := range x {
		u[i] = (v - m.Mean) / float64(m.N)
	}
	g := float64(p.clusters.Count)
	e.Value, e.SE = m.Mean, math.Sqrt(p.squares(u)*g/(g-1))
	half := float64(dist.StudentSpread(level, g-1) * e.SE)
	e.Lower, e.Upper = e.Value-half, e.Value+half
	return e
}
