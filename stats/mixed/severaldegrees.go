package mixed

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"deltoid/stats/covariates"
)

// kenwardRoger returns the degrees of freedom below and the factor of the F statistic for several contrasts. The names are the paper's:
// with G = (LΦLᵀ)⁻¹ and M_i = L Φ P_i Φ Lᵀ,
//
//	A1 = Σ_ij W_ij tr(G M_i) tr(G M_j),   A2 = Σ_ij W_ij tr(G M_i G M_j).
//
// Source: Kenward & Roger, Biometrics 53 (1997) 983–997, section 3.
func (f *Fit) kenwardRoger(rows [][]float64) (df, scale float64) {
	k, q := len(rows), len(f.inference.m)
	factor, _ := covariates.Factorise(project(rows, f.Model), k, nil)
	g := factor.Inverse()
	gm, traces := make([][]float64, q), make([]float64, q)
	for i, m := range f.inference.m {
		gm[i] = product(g, project(rows, m), k)
		for a := range k {
			traces[i] += gm[i][a*k+a]
		}
	}
	a1, a2 := form(traces, f.inference.w), 0.0
	for i := range q {
		for j := range q {
			if w := f.inference.w[i*q+j]; w != 0 {
				a2 += float64(w * traceOf(gm[i], gm[j], k))
			}
		}
	}
	return matchMoments(float64(k), a1, a2)
}

// matchMoments finds the F distribution with the two moments that the statistic has to the order of the expansion.
func matchMoments(k, a1, a2 float64) (df, scale float64) {
	if !(a2 > 0) {
		return math.Inf(1), 1
	}
	if k == 1 {
		return 2 / a2, 1 // what the rest comes to, without its divisions by almost 0
	}
	b := (a1 + 6*a2) / (2 * k)
	g := (float64((k+1)*a1) - float64((k+4)*a2)) / ((k + 2) * a2)
	d := float64(3*k) + float64(2*(1-g))
	c1, c2, c3 := g/d, (k-g)/d, (k+2-g)/d
	mean := 1 / (1 - a2/k)
	variance := 2 / k * (1 + c1*b) / ((1 - c2*b) * (1 - c2*b) * (1 - c3*b))
	if a2 >= k || c3*b >= 1 || c2*b >= 1 {
		return 0, 0 // the moments do not exist
	}
	rho := variance / (2 * mean * mean)
	df = 4 + (k+2)/(float64(k*rho)-1)
	return df, df / (mean * (df - 2))
}

// faiCornelius returns the degrees of freedom of an F test whose contrasts, made independent by the spectral decomposition of their
// covariance, have Satterthwaite's each.
func (f *Fit) faiCornelius(rows [][]float64) float64 {
	k := len(rows)
	if k == 1 {
		return f.degrees(rows[0])
	}
	v := project(rows, f.Model)
	var eigen mat.EigenSym
	if !eigen.Factorize(mat.NewSymDense(k, v), true) {
		return 0
	}
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	sum := 0.0
	for c := range k {
		w := make([]float64, len(f.Names))
		for i, row := range rows {
			a := vectors.At(i, c)
			for j, x := range row {
				w[j] += float64(a * x)
			}
		}
		df := f.degrees(w)
		if math.IsInf(df, 1) {
			sum++
		} else if df > 2 {
			sum += df / (df - 2)
		}
	}
	if sum <= float64(k) {
		if sum == float64(k) {
			return math.Inf(1)
		}
		return 0
	}
	return 2 * sum / (sum - float64(k))
}
