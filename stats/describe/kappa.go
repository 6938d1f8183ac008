package describe

import (
	"math"

	"deltoid/stats/dist"
	"deltoid/stats/numeric"
)

// Credit says how much two neighbouring categories agree, for categories in order.
type Credit uint8

// The three credits of a pair of categories i and j of k. The plain kappa gives none.
const (
	NoPartialCredit Credit = iota // 1 on the diagonal, 0 elsewhere
	LinearCredit                  // 1 − |i−j|/(k−1)
	QuadraticCredit               // 1 − (i−j)²/(k−1)²
)

// of returns the weight of a pair of categories.
func (c Credit) of(i, j, k int) float64 {
	if i == j {
		return 1
	}
	distance := math.Abs(float64(i-j)) / float64(k-1)
	switch c {
	case LinearCredit:
		return 1 - distance
	case QuadraticCredit:
		return 1 - float64(distance*distance)
	}
	return 0
}

// Kappa is the agreement of two ratings beyond what chance would give: 1 when they always agree, 0 when they agree as often as by
// chance, below 0 when less often.
type Kappa struct {
	N            int64
	Value        float64
	SE           float64 // large-sample standard error, for the interval
	SENull       float64 // standard error if agreement were by chance only, for a test
	Lower, Upper float64 // Value ± z SE
	Level        float64
	Observed     float64 // observed agreement
	Expected     float64 // agreement expected by chance from the margins
	Status       Status
}

// Agreement returns Cohen's kappa of a square table of counts: row i, column j holds how many the first rating put into category i
// and the second into j.
//
// Source: Cohen, Educ. Psychol. Meas. 20 (1960) 37–46, and Psychol. Bull. 70 (1968) 213–220 with partial credit; both standard
// errors from Fleiss, Cohen & Everitt, Psychol. Bull. 72 (1969) 323–327.
func Agreement(table [][]int64, credit Credit, level float64) Kappa {
	k := Kappa{Level: level}
	r := readRatings(table, credit)
	if k.N = r.n; r.status != Estimated || levelStatus(level) != Estimated {
		k.Status = first(r.status, levelStatus(level))
		return k
	}
	k.Observed, k.Expected = r.observed(), r.expected()
	if r.oneCategory() {
		k.Status = OneCategory
		return k
	}
	k.Value = (k.Observed - k.Expected) / (1 - k.Expected)
	k.SE, k.SENull = r.errors(k)
	z := dist.NormalSpread(level)
	k.Lower, k.Upper = max(-1, k.Value-float64(z*k.SE)), min(1, k.Value+float64(z*k.SE))
	return k
}

// ratings is a table as shares.
type ratings struct {
	n      int64
	p      [][]float64
	rows   []float64 // margins
	cols   []float64
	weight func(i, j int) float64
	status Status
}

func readRatings(table [][]int64, credit Credit) ratings {
	k := len(table)
	r := ratings{rows: make([]float64, k), cols: make([]float64, k)}
	r.weight = func(i, j int) float64 { return credit.of(i, j, k) }
	if r.n, r.status = totalOf(table, k); r.status != Estimated {
		return r
	}
	for i, row := range table {
		shares := make([]float64, k)
		for j, c := range row {
			shares[j] = float64(c) / float64(r.n)
			r.rows[i] += shares[j]
			r.cols[j] += shares[j]
		}
		r.p = append(r.p, shares)
	}
	return r
}

// oneCategory reports whether both ratings put everything into one category.
func (r ratings) oneCategory() bool {
	for i := range r.p {
		if r.p[i][i] == 1 {
			return true
		}
	}
	return false
}

// sum adds a term for every cell.
func (r ratings) sum(term func(i, j int) float64) float64 {
	var s numeric.Sum
	for i := range r.p {
		for j := range r.p {
			s.Add(term(i, j))
		}
	}
	return s.Value()
}

func (r ratings) observed() float64 {
	return r.sum(func(i, j int) float64 { return r.weight(i, j) * r.p[i][j] })
}

func (r ratings) expected() float64 {
	return r.sum(func(i, j int) float64 { return float64(r.weight(i, j)*r.rows[i]) * r.cols[j] })
}

// errors returns both standard errors: with mean credits w̄ of the rows and columns,
//
//	se²  = (Σ pᵢⱼ (wᵢⱼ(1−e) − (w̄ᵢ.+w̄.ⱼ)(1−o))² − (oe − 2e + o)²) / (n(1−e)⁴)
//	se₀² = (Σ rᵢcⱼ (wᵢⱼ − (w̄ᵢ.+w̄.ⱼ))² − e²) / (n(1−e)²)
func (r ratings) errors(k Kappa) (se, null float64) {
	o, e := k.Observed, k.Expected
	credit := r.meanCredits()
	a := r.sum(func(i, j int) float64 {
		d := float64(r.weight(i, j)*(1-e)) - float64(credit(i, j)*(1-o))
		return r.p[i][j] * float64(d*d)
	})
	b := float64(o*e) - 2*e + o
	c := r.sum(func(i, j int) float64 {
		d := r.weight(i, j) - credit(i, j)
		return float64(r.rows[i]*r.cols[j]) * float64(d*d)
	})
	n, rest := float64(r.n), 1-e
	se = math.Sqrt(max(0, a-float64(b*b))/n) / float64(rest*rest)
	null = math.Sqrt(max(0, c-float64(e*e))/n) / rest
	return se, null
}

// meanCredits returns w̄ᵢ. + w̄.ⱼ for a cell.
func (r ratings) meanCredits() func(i, j int) float64 {
	k := len(r.p)
	ofRow, ofCol := make([]float64, k), make([]float64, k)
	for i := range k {
		for j := range k {
			ofRow[i] += float64(r.weight(i, j) * r.cols[j])
			ofCol[j] += float64(r.weight(i, j) * r.rows[i])
		}
	}
	return func(i, j int) float64 { return ofRow[i] + ofCol[j] }
}
