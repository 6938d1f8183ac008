package mixed_test

import (
	"flag"
	"fmt"
	"math"
	"testing"

	"deltoid/stats/dist"
	"deltoid/stats/mixed"
	"deltoid/stats/random"
)

var replicates = flag.Int("replicates", 80, "replicates of each simulation; 80 in CI, 10,000 for the results in testdata/references/DOSSIER.md")

// study draws a small study with a known truth: 12 patients in each of two groups, every third with two shoulders, four visits, a covariance
// that no structure but the unstructured one has, scores missing at random after low ones, and a mean of 5 more in B at the last visit.
func study(replicate uint64) mixed.Followed {
	r := random.Stream(19, "small study", replicate)
	s := mixed.Followed{Groups: []string{"A", "B"}, Data: mixed.Data{Visits: []string{"before", "6 months", "1 year", "2 years"}}}
	subject := int32(0)
	for patient := range int32(24) {
		own := 4 * r.NormFloat64()
		for range 1 + (patient/2)%3/2 {
			level, drift := 5*r.NormFloat64(), 0.0
			for v := range int32(4) {
				drift = 0.8*drift + float64(1+v)*r.NormFloat64()
				y := 40 + 8*float64(v) + own + level + drift
				if v == 3 && patient%2 == 1 {
					y += 5
				}
				s.Outcome, s.Subject, s.Visit = append(s.Outcome, y), append(s.Subject, subject), append(s.Visit, v)
				s.Group, s.Patient = append(s.Group, patient%2), append(s.Patient, patient)
				if r.Float64() < 1/(3+math.Exp((y-40)/5)) {
					break
				}
			}
			subject++
		}
	}
	return s
}

// Intervals of 95% for a difference at the last visit, with some nine shoulders left in each group: what share holds the truth, for both
// degrees of freedom and, as a warning, for the normal distribution in their place. A study that cannot be fitted counts apart.
func TestCoverageInSmallStudies(t *testing.T) {
	n := *replicates
	for _, o := range []mixed.Options{{PatientIntercept: true}, {Degrees: mixed.Satterthwaite, PatientIntercept: true}} {
		hits, normal, alpha, fitted := 0, 0, 0, 0
		for i := range uint64(n) {
			f, err := mixed.Trajectories(study(i), o)
			if err != nil {
				t.Fatal(err)
			}
			e := f.Difference(3, 1, 0, 0.95)
			if e.Status != mixed.Converged {
				continue
			}
			fitted++
			if e.Lower <= 5 && 5 <= e.Upper {
				hits++
			}
			model := math.Sqrt(variance(f, 3))
			if math.Abs(e.Estimate-5) <= dist.NormalSpread(0.95)*model {
				normal++
			}
			if f.DifferenceOfChanges(1, 0, 0, 2, 0.95).P < 0.05 { // none in truth
				alpha++
			}
		}
		t.Logf("%s: %d of %d fitted; 95%% intervals hold %.4f (normal distribution: %.4f), level of a 5%% test %.4f", o.Degrees, fitted, n,
			float64(hits)/float64(fitted), float64(normal)/float64(fitted), float64(alpha)/float64(fitted))
		if fitted < n*9/10 {
			t.Errorf("only %d of %d studies could be fitted", fitted, n)
		}
		within(t, fmt.Sprint(o.Degrees, " coverage"), hits, fitted, 0.95)
		within(t, fmt.Sprint(o.Degrees, " level"), alpha, fitted, 0.05)
		if n >= 1000 && normal >= hits {
			t.Error("the normal distribution does no worse: the simulation is not the hard case it should be")
		}
	}
}

// variance is that of the difference at a visit by (XᵀV⁻¹X)⁻¹ alone.
func variance(f *mixed.Trajectory, visit int) (sum float64) {
	p := len(f.Fit.Names)
	w := make([]float64, p)
	for j, name := range f.Fit.Names {
		switch name {
		case "A at " + f.Fit.Visits[visit]:
			w[j] = -1
		case "B at " + f.Fit.Visits[visit]:
			w[j] = 1
		}
	}
	for j := range p {
		for k := range p {
			sum += w[j] * f.Fit.Model[j*p+k] * w[k]
		}
	}
	return sum
}
