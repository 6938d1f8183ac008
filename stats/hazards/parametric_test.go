package hazards_test

import (
	"math"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/dist"
	"deltoid/stats/hazards"
	"deltoid/stats/random"
	"deltoid/stats/references"
	"deltoid/stats/regression"
	"deltoid/stats/survival"
)

func sixMP(t *testing.T) (hazards.Data, []covariates.Column) {
	f := references.Read(t, references.Folder+"/data/leukemia6mp.csv")
	d := ranked(t, nil, numbers(t, f, "weeks"))
	d.Cause = isEvent(numbers(t, f, "relapse"))
	return d, columnsOf(t, f, "treatment", map[string][]string{"treatment": {"placebo", "6MP"}})
}

// The 6-MP trial: shape 1.366 and log hazard ratio −1.731 are in Cox & Oakes, Analysis of Survival
// Data (1984), section 6.3; log time 2.248 + 1.267 x, scale 0.732 and log-likelihood −106.579 in the
// manuals of several programs. All from memory.
func TestWeibullOfTheSixMPTrial(t *testing.T) {
	d, x := sixMP(t)
	f, err := hazards.FitWeibull(d, 1, x)
	if err != nil || f.Status != covariates.Converged {
		t.Fatal(err, f.Status, f.Reason)
	}
	k := math.Exp(f.Coefficient[2])
	for name, c := range map[string][3]float64{
		"log hazard ratio": {f.Coefficient[0], -1.731, 5e-4}, "shape": {k, 1.366, 5e-4}, "scale of log time": {1 / k, 0.732, 5e-4},
		"log time of placebo": {-f.Coefficient[1] / k, 2.248, 5e-4}, "effect on log time": {-f.Coefficient[0] / k, 1.267, 5e-4}, "log-likelihood": {f.LogLikelihood, -106.579, 5e-4},
	} {
		if math.Abs(c[0]-c[1]) > c[2] {
			t.Errorf("%s = %v, want %v", name, c[0], c[1])
		}
	}
	s, err := f.Survival([]float64{1}, 50, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "survival", s.Value, math.Exp(-math.Pow(50, k)*math.Exp(f.Coefficient[0]+f.Coefficient[1])), 1e-12)
	if !s.Beyond || !(s.Lower < s.Value && s.Value < s.Upper) {
		t.Errorf("week 50, after the last exit: %+v", s)
	}
	if s, _ := f.Survival([]float64{1}, 20, 0.95); s.Beyond {
		t.Error("week 20 is said to lie beyond follow-up")
	}
}

// weibullTwin is the log-likelihood as it is written; parameters as in the fit.
func weibullTwin(d hazards.Data, x []covariates.Column, b []float64) (sum float64) {
	p := len(b)
	k := math.Exp(b[p-1])
	for i, exit := range d.Exit {
		eta, w, entry := b[p-2], 1.0, 0.0
		for j, c := range x {
			eta += b[j] * c.Values[i]
		}
		if d.Offset != nil {
			eta += d.Offset[i]
		}
		if d.Weight != nil {
			w = d.Weight[i]
		}
		if d.Entry != nil {
			entry = float64(d.Entry[i])
		}
		sum -= w * math.Exp(eta) * (math.Pow(float64(exit), k) - math.Pow(entry, k))
		if d.Cause[i] == 1 {
			sum += w * (eta + math.Log(k) + (k-1)*math.Log(float64(exit)))
		}
	}
	return sum
}

func TestWeibullAgainstTheTwin(t *testing.T) {
	fitted := 0
	for seed := range uint64(100) {
		d, x := randomRows(random.Stream(seed, "weibull twin", 0), int(seed)&14)
		for i := range d.Exit {
			d.Exit[i]++
		}
		f, err := hazards.FitWeibull(d, 1, x)
		if err != nil {
			t.Fatal(err)
		}
		if f.Status != covariates.Converged {
			continue
		}
		fitted++
		b := f.Coefficient
		near(t, "log-likelihood", f.LogLikelihood, weibullTwin(d, x, b), 1e-10)
		const h = 1e-4
		info := make([]float64, 16)
		move := func(j, k int, a, c float64) float64 {
			moved := append([]float64(nil), b...)
			moved[j] += a * h * f.Effect(j, 0.95).SE
			moved[k] += c * h * f.Effect(k, 0.95).SE
			return weibullTwin(d, x, moved)
		}
		for j := range 4 {
			if slope := (move(j, j, 1, 0) - move(j, j, -1, 0)) / (2 * h); math.Abs(slope) > 1e-4 {
				t.Fatalf("seed %d: slope %v along %s", seed, slope, f.Names[j])
			}
			for k := range 4 {
				info[j*4+k] = -(move(j, k, 1, 1) - move(j, k, 1, -1) - move(j, k, -1, 1) + move(j, k, -1, -1)) / (4 * h * h)
			}
		}
		factor, bad := covariates.Factorise(info, 4, nil)
		if bad >= 0 {
			t.Fatal("the twin is singular")
		}
		for j, v := range factor.Inverse() {
			scale := f.Effect(j/4, 0.95).SE * f.Effect(j%4, 0.95).SE
			near(t, "covariance", f.Model[j]/scale-v+1, 1, 2e-3)
		}
	}
	if fitted < 70 {
		t.Errorf("only %d of 100 sets have estimates", fitted)
	}
}

// One piece and no column is events over time at risk with exact limits; one column of two values
// is the ratio of two rates.
func TestPiecewiseInClosedForm(t *testing.T) {
	d, x := sixMP(t)
	f, err := hazards.FitPiecewise(d, 1, nil, []float64{10}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	early := f.Pieces[0]
	lower, upper := dist.PoissonLimits(int64(early.Events), 0.95)
	near(t, "rate", early.Rate, float64(early.Events)/early.Time, 1e-14)
	near(t, "lower", early.Lower, lower/early.Time, 1e-14)
	near(t, "upper", early.Upper, upper/early.Time, 1e-14)
	if f.Pieces[0].Time+f.Pieces[1].Time != 541 || f.Events != 30 {
		t.Errorf("%v and %v weeks, %d relapses", f.Pieces[0].Time, f.Pieces[1].Time, f.Events)
	}
	f, err = hazards.FitPiecewise(d, 1, x, nil, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "log ratio", f.Coefficient[0], math.Log((9./359)/(21./182)), 1e-12)
	near(t, "its standard error", f.Effect(0, 0.95).SE, math.Sqrt(1./9+1./21), 1e-12)
	near(t, "rate of placebo", f.Pieces[0].Rate, 21./182, 1e-12)
	near(t, "its lower limit", f.Pieces[0].Lower, 21./182*math.Exp(-dist.NormalSpread(0.95)/math.Sqrt(21)), 1e-10)
	s, err := f.Survival([]float64{1}, 100, 0.95)
	if err != nil || !s.Beyond {
		t.Fatal(err, s)
	}
	near(t, "survival", s.Value, math.Exp(-900./359), 1e-12)
	half := dist.NormalSpread(0.95) / 3
	near(t, "lower limit", s.Lower, math.Exp(-900./359*math.Exp(half)), 1e-10)
	near(t, "upper limit", s.Upper, math.Exp(-900./359*math.Exp(-half)), 1e-10)
}

// A piecewise model is Poisson regression of rows cut at the cuts, with the log of time as offset.
func TestPiecewiseAgainstPoisson(t *testing.T) {
	fitted := 0
	cuts := []float64{2, 5}
	for seed := range uint64(100) {
		d, x := randomRows(random.Stream(seed, "piecewise twin", 0), int(seed)&30)
		var counts regression.Data
		long := []covariates.Column{{Name: "a"}, {Name: "b"}, {Name: "middle"}, {Name: "late"}}
		events := [3]int{}
		for i := range d.Exit {
			d.Exit[i]++
			for k, from := range []float64{0, 2, 5} {
				to, entry, exit := append(cuts, 1e9)[k], 0.0, float64(d.Exit[i])
				if d.Entry != nil {
					entry = float64(d.Entry[i])
				}
				start, end := max(from, entry), min(to, exit)
				if end <= start {
					continue
				}
				y, w, offset := 0.0, 1.0, math.Log(end-start)
				if d.Weight != nil {
					w = d.Weight[i]
				}
				if d.Cause[i] == 1 && end == exit && w > 0 {
					y = 1
					events[k]++
				}
				if d.Offset != nil {
					offset += d.Offset[i]
				}
				counts.Outcome, counts.Weight, counts.Offset = append(counts.Outcome, y), append(counts.Weight, w), append(counts.Offset, offset)
				g := int32(i)
				if d.Cluster != nil {
					g = d.Cluster[i]
				}
				counts.Cluster = append(counts.Cluster, g)
				for j, v := range []float64{x[0].Values[i], x[1].Values[i], math.Max(0, 1-math.Abs(float64(k)-1)), math.Max(0, float64(k)-1)} {
					long[j].Values = append(long[j].Values, v)
				}
			}
		}
		if events[0]*events[1]*events[2] == 0 {
			continue
		}
		f, err := hazards.FitPiecewise(d, 1, x, cuts, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		p, err := regression.Poisson(counts, long, regression.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if f.Status != covariates.Converged || p.Status != covariates.Converged {
			continue
		}
		fitted++
		for j := range 2 {
			near(t, "coefficient", f.Coefficient[j]-p.Coefficient[j]+1, 1, 1e-8)
			near(t, "standard error", math.Sqrt(f.Model[j*3]), math.Sqrt(p.Model[j*6]), 1e-8)
			if d.Cluster != nil {
				near(t, "clustered standard error", f.Effect(j, 0.95).SE, p.Effect(j, 0.95).SE, 1e-7)
			}
		}
		near(t, "first rate", f.Pieces[0].Rate, math.Exp(p.Coefficient[4]), 1e-7)
		near(t, "last rate", f.Pieces[2].Rate, math.Exp(p.Coefficient[4]+p.Coefficient[3]), 1e-7)
	}
	if fitted < 30 {
		t.Errorf("only %d of 100 sets have estimates", fitted)
	}
}

func TestParametricRefusals(t *testing.T) {
	d, x := plainRows(6, 100)
	day0 := d
	day0.Exit = append([]int32{0}, d.Exit[1:]...)
	strata := d
	strata.Stratum = make([]int32, 100)
	for _, bad := range []hazards.Data{day0, strata} {
		if _, err := hazards.FitWeibull(bad, 1, x); err == nil {
			t.Error("accepted by Weibull")
		}
		if _, err := hazards.FitPiecewise(bad, 1, x, nil, 0.95); err == nil {
			t.Error("accepted by pieces")
		}
	}
	none := d
	none.Cause = make([]uint8, 100)
	if f, err := hazards.FitWeibull(none, 1, x); err != nil || f.Status != covariates.NoEvents {
		t.Error(err, f.Status)
	}
	copied := append(append([]covariates.Column(nil), x...), covariates.Column{Name: "copy", Values: x[0].Values})
	f, err := hazards.FitWeibull(d, 1, copied)
	if err != nil || f.Status != covariates.Singular || f.AtFault[0] != "copy" {
		t.Error(err, f.Status, f.AtFault)
	}
	if _, err := f.Survival([]float64{0, 0, 0}, 10, 0.95); err == nil {
		t.Error("a singular fit predicts")
	}
	g, err := hazards.FitPiecewise(d, 1, copied, []float64{50}, 0.95)
	if err != nil || g.Status != covariates.Singular || g.AtFault[0] != "copy" {
		t.Error(err, g.Status, g.AtFault)
	}
	if _, err := hazards.FitPiecewise(d, 1, x, []float64{50, 20}, 0.95); err == nil {
		t.Error("cuts that fall are accepted")
	}
	// Nobody has the event in the first stretch.
	late := d
	late.Exit = append([]int32(nil), d.Exit...)
	for i := range late.Exit {
		late.Exit[i] += 10
	}
	g, err = hazards.FitPiecewise(late, 1, nil, []float64{5}, 0.95)
	if err != nil || g.Pieces[0].Status != survival.NoEvents || g.Pieces[0].Rate != 0 || g.Pieces[0].Upper <= 0 {
		t.Error(err, g.Pieces)
	}
}
