package competing

import (
	"fmt"
	"math"

	"deltoid/stats/covariates"
)

// Residuals are those of the events of the cause, in the order of the rows, that the test of proportional subdistribution hazards
// adds up.
type Residuals struct {
	Row   []int
	Time  []float64
	Along []float64 // share of all events of the cause that lie before the time
	// Scaled is, for each coefficient and event, coefficient + events·V·(x − x̄), x̄ being the mean over those at risk, with the
	// weights of those with another event: over time its mean is about the coefficient at that time.
	Scaled [][]float64
}

// Residuals returns the scaled residuals of the model, after Schoenfeld's for Cox's.
//
// Source: Zhou, Fine & Laird, Stat. Med. 32 (2013) 3804–3811, with the scaling of Grambsch & Therneau, Biometrika 81 (1994) 515–526.
func (f *SubdistributionFit) Residuals() (*Residuals, error) {
	if f.Status != covariates.Converged {
		return nil, fmt.Errorf("the model has no estimates (%v): %s", f.Status, f.Reason)
	}
	m, p := f.model, len(f.Names)
	share, before, all := make([]float64, len(m.time)), 0.0, 0.0
	for _, w := range m.mass {
		all += w
	}
	for k, w := range m.mass {
		share[k] = before / all
		before += w
	}
	s1, out := m.tables(), &Residuals{Scaled: make([][]float64, p)}
	plain := make([]float64, p)
	for i, k := range m.slot {
		if m.kind(i) != ownEvent || m.weight(i) == 0 {
			continue
		}
		out.Row, out.Time, out.Along = append(out.Row, i), append(out.Time, m.time[k]), append(out.Along, share[k])
		for j := range plain {
			plain[j] = (m.design.At(i, j) - s1[j][k]/m.s0[k]) / m.design.Scale(j)
		}
		for j := range plain {
			x := 0.0
			for l, u := range plain {
				x += float64(f.Model[j*p+l] * u)
			}
			out.Scaled[j] = append(out.Scaled[j], f.Coefficient[j]+float64(float64(f.Events)*x))
		}
	}
	return out, nil
}

// Combined returns Σ w_j × the scaled residuals of coefficient j, for each event.
func (r *Residuals) Combined(w []float64) []float64 {
	out := make([]float64, len(r.Row))
	for j, column := range r.Scaled {
		for e, x := range column {
			out[e] += float64(w[j] * x)
		}
	}
	return out
}

// ResidualSpread returns the standard deviation that such a combination is taken to have: √(events × wᵀVw), V being the inverse
// of the information.
func (f *SubdistributionFit) ResidualSpread(w []float64) float64 {
	square, p := 0.0, len(f.Names)
	for j, a := range w {
		for k, b := range w {
			square += float64(a * b * f.Model[j*p+k])
		}
	}
	return math.Sqrt(float64(f.Events) * max(0, square))
}
