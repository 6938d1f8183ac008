package mixed

import (
	"math"
	"slices"

	"deltoid/stats/dist"
)

// Residuals says how the scores lie about the model.
type Residuals struct {
	// Standardised residuals are L⁻¹(y − Xβ) with V = L Lᵀ, one for each score: independent with variance 1 if the model holds.
	Standardised           []float64
	Mean, SD               float64
	Skewness, Kurtosis     float64 // 0 for a normal distribution, both
	Beyond3                int     // residuals beyond ±3
	Expected3              float64 // how many of them a normal distribution would have
	Quantiles              []Quantile
	Visits                 []VisitResiduals
	Pairs                  []PairResiduals
	LargestRow             int // where the standardised residual is largest in size
	Largest                float64
	MostDistant            float64 // largest |observed − fitted| correlation of a pair of visits
	MostDistantA, DistantB int     // that pair
}

// Quantile is a quantile of the standardised residuals beside that of the normal distribution.
type Quantile struct{ At, Observed, Normal float64 }

// VisitResiduals are what is left of the scores of one visit, in the unit of the score.
type VisitResiduals struct {
	Scores   int
	Mean, SD float64
	// Fitted is the standard deviation that the covariance gives the visit.
	Fitted float64
}

// PairResiduals are the residuals of two visits of one shoulder.
type PairResiduals struct {
	A, B             int // visits, A before B
	Shoulders        int
	Observed, Fitted float64 // correlations; Observed is 0 with fewer than 3 shoulders
}

// Residuals returns the residuals of a model that converged, and nil for any other.
func (f *Fit) Residuals() *Residuals {
	if f.Status != Converged {
		return nil
	}
	raw := f.raw()
	r := &Residuals{Standardised: f.standardise(raw)}
	r.summarise()
	f.byVisit(r, raw)
	f.byPair(r, raw)
	return r
}

// raw returns score less fitted mean, in the scaled unit.
func (f *Fit) raw() []float64 {
	x := f.frame
	out := make([]float64, len(x.rest))
	x.design.AddPredictor(f.state.beta, 0, out)
	for i := range out {
		out[i] = x.rest[i] - out[i]
	}
	return out
}

func (f *Fit) standardise(raw []float64) []float64 {
	out := make([]float64, len(raw))
	for _, p := range f.frame.patterns {
		k := p.size()
		v := make([]float64, k*k)
		f.structure.covariance(p, f.state.theta, v)
		lower(v, k)
		for _, rows := range p.blocks {
			for a, row := range rows {
				x := raw[row]
				for b := range a {
					x -= float64(v[a*k+b] * out[rows[b]])
				}
				out[row] = x / v[a*k+a]
			}
		}
	}
	return out
}

func (r *Residuals) summarise() {
	z, n := r.Standardised, float64(len(r.Standardised))
	for _, x := range z {
		r.Mean += x / n
	}
	var m2, m3, m4 float64
	for i, x := range z {
		d := x - r.Mean
		m2 += d * d / n
		m3 += d * d * d / n
		m4 += d * d * d * d / n
		if math.Abs(x) > 3 {
			r.Beyond3++
		}
		if math.Abs(x) > math.Abs(r.Largest) {
			r.LargestRow, r.Largest = i, x
		}
	}
	r.SD = math.Sqrt(m2 * n / (n - 1))
	if m2 > 0 {
		r.Skewness, r.Kurtosis = m3/math.Pow(m2, 1.5), m4/(m2*m2)-3
	}
	r.Expected3 = n * dist.NormalTwoSided(3)
	sorted := slices.Sorted(slices.Values(z))
	for _, p := range []float64{0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99} {
		at := p * (n - 1)
		i := int(at)
		q := sorted[i]
		if i+1 < len(sorted) {
			q += float64((at - float64(i)) * (sorted[i+1] - q))
		}
		r.Quantiles = append(r.Quantiles, Quantile{p, q, dist.NormalQuantile(p)})
	}
}

func (f *Fit) byVisit(r *Residuals, raw []float64) {
	k := len(f.Visits)
	sums, squares := make([]float64, k), make([]float64, k)
	r.Visits = make([]VisitResiduals, k)
	for i, v := range f.frame.data.Visit {
		r.Visits[v].Scores++
		sums[v] += raw[i]
		squares[v] += float64(raw[i] * raw[i])
	}
	for v := range r.Visits {
		at, n := &r.Visits[v], float64(r.Visits[v].Scores)
		at.Fitted = math.Sqrt(f.Covariance[v*(k+1)])
		if n > 0 {
			at.Mean = sums[v] / n * f.frame.scale
		}
		if n > 1 {
			at.SD = math.Sqrt(math.Max(0, squares[v]-sums[v]*sums[v]/n)/(n-1)) * f.frame.scale
		}
	}
}

// byPair correlates the residuals of each pair of visits; both have means of about 0.
func (f *Fit) byPair(r *Residuals, raw []float64) {
	k := len(f.Visits)
	type sums struct{ n, aa, ab, bb float64 }
	all := make([]sums, k*(k+1)/2)
	for _, p := range f.frame.patterns {
		for a := range p.size() {
			for b := range a {
				if p.subject[a] != p.subject[b] {
					continue
				}
				s := &all[pair(p.visit[a], p.visit[b])]
				for _, rows := range p.blocks {
					x, y := raw[rows[a]], raw[rows[b]]
					s.n++
					s.aa += float64(x * x)
					s.ab += float64(x * y)
					s.bb += float64(y * y)
				}
			}
		}
	}
	fitted := f.Correlation()
	for b := range k {
		for a := range b {
			s := all[pair(int32(a), int32(b))]
			one := PairResiduals{A: a, B: b, Shoulders: int(s.n), Fitted: fitted[a*k+b]}
			if s.n >= 3 && s.aa > 0 && s.bb > 0 {
				one.Observed = s.ab / math.Sqrt(s.aa*s.bb)
				if d := math.Abs(one.Observed - one.Fitted); d > r.MostDistant {
					r.MostDistant, r.MostDistantA, r.DistantB = d, a, b
				}
			}
			r.Pairs = append(r.Pairs, one)
		}
	}
}
