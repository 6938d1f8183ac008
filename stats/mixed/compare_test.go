package mixed_test

import (
	"math"
	"testing"

	"deltoid/stats/dist"
	"deltoid/stats/mixed"
	"deltoid/stats/references"
)

// Log-likelihoods of nested covariances are those of the reference (nlme and the direct maximisation, see reference_test.go), so the tests
// between them follow by hand: twice the difference, degrees by counting, and half and half where a variance is 0 in the smaller one.
func TestCompareAndCriteria(t *testing.T) {
	var r mixedCase
	references.Expected(t, "lmm_orthodont", &r)
	d, sex, age := orthodont(t, "orthodont.csv")
	profile := append(visitColumns(d.Visit, d.Visits), sex)
	for v := range 3 {
		profile = append(profile, timesColumn(profile[v], sex, "visit × sex"))
	}
	un, cs, ar := must(t, d, profile, mixed.Options{}), must(t, d, profile, mixed.Options{Covariance: mixed.CompoundSymmetric}), must(t, d, profile, mixed.Options{Covariance: mixed.Autoregressive})
	for _, c := range []struct {
		smaller *mixed.Fit
		name    string
	}{{cs, "cs_reml"}, {ar, "ar1_reml"}} {
		got, err := un.Compare(c.smaller)
		want := 2 * (r.Results.Direct["un_reml"].LogLik - r.Results.Direct[c.name].LogLik)
		if err != nil || got.DF != 8 || got.Mixture {
			t.Fatal(got, err)
		}
		near(t, c.name, got.ChiSquare, want, 1e-6, 0)
		near(t, c.name, got.P, dist.ChiSquareUpper(want, 8), 1e-5, 0)
	}
	if _, err := cs.Compare(ar); err == nil {
		t.Error("compound symmetry is said to contain the autoregressive")
	}
	line := must(t, d, profile[:4], mixed.Options{Covariance: mixed.CompoundSymmetric})
	if _, err := un.Compare(line); err == nil {
		t.Error("models with other columns are compared")
	}
	c := un.Criteria()
	if c.Parameters != 10 || c.Units != 27 {
		t.Errorf("%+v", c)
	}
	near(t, "Akaike", c.Akaike, -2*r.Results.Direct["un_reml"].LogLik+20, 1e-8, 0)
	near(t, "Bayes", c.Bayes, -2*r.Results.Direct["un_reml"].LogLik+10*math.Log(27), 1e-8, 0)

	intercept := mixed.Options{Covariance: mixed.Independent, SubjectIntercept: true}
	slope := intercept
	slope.SubjectSlope = true
	d.Time = age.Values
	small, large := must(t, d, profile[:4], intercept), must(t, d, profile[:4], slope)
	got, err := large.Compare(small)
	if err != nil || got.DF != 2 || !got.Mixture {
		t.Fatal(got, err)
	}
	near(t, "mixture", got.P, (dist.ChiSquareUpper(got.ChiSquare, 1)+dist.ChiSquareUpper(got.ChiSquare, 2))/2, 1e-12, 0)
	none := must(t, d, profile[:4], mixed.Options{Covariance: mixed.Independent})
	got, err = small.Compare(none)
	if err != nil || got.DF != 1 || !got.Mixture {
		t.Fatal(got, err)
	}
	near(t, "mixture of 0 and 1", got.P, dist.ChiSquareUpper(got.ChiSquare, 1)/2, 1e-12, 0)
	ml := mixed.Options{Likelihood: true, Degrees: mixed.Satterthwaite}
	full := must(t, d, profile, ml).Criteria()
	if full.Parameters != 18 {
		t.Errorf("%+v", full)
	}
}

// Standardised residuals by hand from the covariance of a complete shoulder: L z = y − mean. With an unstructured covariance and complete
// scores the observed correlations of residuals are those of the fit, since REML is the pooled covariance there.
func TestResiduals(t *testing.T) {
	scores, s := complete(18, 40, 3)
	f := trajectories(t, s, mixed.Options{})
	r := f.Fit.Residuals()
	l := choleskyOf(f.Fit.Covariance, 3)
	for i, row := range scores {
		for v := range row {
			sum := f.Mean(v, i%5/3, nil, 0.95).Estimate
			for c := range v + 1 {
				sum += l[3*v+c] * r.Standardised[3*i+c]
			}
			near(t, "score", sum, row[v], 1e-9, 1)
		}
	}
	mean, variance := average(r.Standardised)
	near(t, "mean", r.Mean, mean, 1e-9, 1)
	near(t, "SD", r.SD, math.Sqrt(variance), 1e-9, 0)
	for _, p := range r.Pairs {
		if p.Shoulders != 40 {
			t.Errorf("%+v", p)
		}
		near(t, "correlation", p.Observed, p.Fitted, 1e-6, 0)
	}
	if r.MostDistant > 1e-6 || r.Visits[1].Scores != 40 {
		t.Errorf("%+v", r)
	}
	near(t, "fitted SD", r.Visits[2].SD*math.Sqrt(39./38), r.Visits[2].Fitted, 1e-7, 0)
	s.Outcome[17] += 100
	r = trajectories(t, s, mixed.Options{Covariance: mixed.CompoundSymmetric}).Fit.Residuals()
	if r.LargestRow != 17 || r.Beyond3 == 0 || r.Kurtosis < 1 || r.Skewness <= 0 || r.Quantiles[3].At != 0.5 || r.Quantiles[3].Normal != 0 {
		t.Errorf("an outlier shows in nothing: row %d, %d beyond 3, kurtosis %g", r.LargestRow, r.Beyond3, r.Kurtosis)
	}
}
