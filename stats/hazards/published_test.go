package hazards_test

import (
	"fmt"
	"math"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/references"
)

func column(name string, x ...float64) []covariates.Column {
	return []covariates.Column{{Name: name, Values: x}}
}

// The 6-MP trial by all three methods of ties. The figures were computed with R 4.2.2, survival
// 3.5-3; the score test of the exact partial likelihood equals the log-rank statistic, 16.79.
func TestTiesOfTheSixMPTrial(t *testing.T) {
	f := references.Read(t, references.Folder+"/data/leukemia6mp.csv")
	d := ranked(t, nil, numbers(t, f, "weeks"))
	d.Cause = isEvent(numbers(t, f, "relapse"))
	x := columnsOf(t, f, "treatment", map[string][]string{"treatment": {"6MP", "placebo"}})
	for ties, want := range map[hazards.Ties][7]float64{
		hazards.Efron:        {1.572125149, 0.412396718, -93.184269997, -85.008424577, 14.532617, 17.246537, 16.351690839},
		hazards.Breslow:      {1.509191413, 0.409564406, -93.985050478, -86.379622071, 13.578264, 15.930540, 15.210856814},
		hazards.ExactPartial: {1.628243952, 0.433131296, -82.669279253, -74.543101165, 14.131876, 16.792940989, 16.252356177},
	} {
		fit := mustCox(t, d, x, hazards.Options{Ties: ties})
		e := fit.Effect(0, 0.95)
		for i, got := range []float64{e.Estimate, e.SE, fit.NullLogLikelihood, fit.LogLikelihood, fit.Wald().ChiSquare, fit.Score().ChiSquare, fit.LikelihoodRatio().ChiSquare} {
			near(t, fmt.Sprint(ties, ", figure ", i), got, want[i], 5e-8)
		}
	}
}

// Six subjects with a death tied with a censoring, a tied pair of deaths, and each alone, solved in
// closed form: Therneau & Grambsch, Modeling Survival Data (2000), appendix E.1.
func sixSubjects() (hazards.Data, []covariates.Column) {
	return hazards.Data{Exit: []int32{1, 1, 6, 6, 8, 9}, Cause: []uint8{1, 0, 1, 1, 0, 1}}, column("x", 1, 1, 1, 0, 0, 0)
}

func TestSixSubjects(t *testing.T) {
	d, x := sixSubjects()
	for ties, want := range map[hazards.Ties]struct {
		beta, null, best, score, info float64
		martingale, schoenfeld        []float64
	}{
		hazards.Breslow: {math.Log((3 + math.Sqrt(33)) / 2), -4.564348191, -3.824749505, 1 / (5. / 8), 0.634168143,
			[]float64{.728714, -.271286, -.457427, .666667, -.333333, -.333333}, []float64{.186141, .406930, -.593070, 0}},
		hazards.Efron: {1.676857486, -4.276666119, -3.358974840, (52. / 48) * (52. / 48) / (83. / 144), 0.612631896,
			[]float64{.719171, -.280829, -.438341, .731087, -.365543, -.365543}, []float64{.157512, .421244, -.578756, 0}},
	} {
		f := mustCox(t, d, x, hazards.Options{Ties: ties})
		near(t, "beta", f.Coefficient[0], want.beta, 1e-9)
		near(t, "at 0", f.NullLogLikelihood, want.null, 1e-9)
		near(t, "at the top", f.LogLikelihood, want.best, 1e-9)
		near(t, "score test", f.Score().ChiSquare, want.score, 1e-13)
		near(t, "information", 1/f.Model[0], want.info, 2e-9)
		m, _ := f.Martingale()
		s, _ := f.Schoenfeld()
		for i := range m {
			near(t, "martingale residual", m[i]+1, want.martingale[i]+1, 1e-6)
		}
		for i := range s.Time {
			near(t, "Schoenfeld residual", s.Residual[0][i]+1, want.schoenfeld[i]+1, 1e-6)
		}
	}
}

// Residuals of the six subjects at β = 0, as fractions (the same source). A column that is orthogonal
// to the outcome keeps β at 0: here the model has none, and x is an offset of 0.
func TestSixSubjectsAtZero(t *testing.T) {
	d, _ := sixSubjects()
	for ties, want := range map[hazards.Ties][]float64{
		hazards.Breslow: {5. / 6, -1. / 6, 1. / 3, 1. / 3, -2. / 3, -2. / 3},
		hazards.Efron:   {5. / 6, -1. / 6, 5. / 12, 5. / 12, -3. / 4, -3. / 4},
	} {
		f := mustCox(t, d, nil, hazards.Options{Ties: ties})
		m, err := f.Martingale()
		if err != nil {
			t.Fatal(err)
		}
		nearAll(t, ties.String(), m, want, 1e-15)
	}
}

// Exact partial likelihood: the estimate is infinite and the log-likelihood tends to −2 log 3.
func TestSixSubjectsExact(t *testing.T) {
	d, x := sixSubjects()
	f, err := hazards.Cox(d, 1, x, hazards.Options{Ties: hazards.ExactPartial})
	if err != nil {
		t.Fatal(err)
	}
	if f.Status != covariates.Separated || len(f.AtFault) != 1 || f.AtFault[0] != "x" || f.Coefficient != nil {
		t.Errorf("%v %v: %s", f.Status, f.AtFault, f.Reason)
	}
}

// Ten stretches from start to stop (appendix E.2 of the same book); log-likelihoods, estimates and
// residuals as printed by the book's programs and recomputed with R 4.2.2.
func TestStartStop(t *testing.T) {
	d := hazards.Data{Entry: []int32{1, 2, 5, 2, 1, 7, 3, 4, 8, 8}, Exit: []int32{2, 3, 6, 7, 8, 9, 9, 9, 14, 17},
		Cause: []uint8{1, 1, 1, 1, 1, 1, 1, 0, 0, 0}}
	x := column("x", 1, 0, 0, 1, 0, 1, 1, 1, 0, 0)
	f := mustCox(t, d, x, hazards.Options{Ties: hazards.Breslow})
	near(t, "Breslow", f.Coefficient[0], -0.0845260807, 1e-8)
	near(t, "its standard error", f.Effect(0, 0.95).SE, 0.7938172775, 1e-9)
	near(t, "at 0", f.NullLogLikelihood, -9.3926619288, 1e-11)
	near(t, "at the top", f.LogLikelihood, -9.3870151184, 1e-11)
	near(t, "score test", f.Score().ChiSquare, (2./15)*(2./15)/(2821./1800), 1e-12)
	m, _ := f.Martingale()
	for i, want := range []float64{.521119, .657411, .789777, .247388, -.606293, .369025, -.068766, -1.068766, -.420447, -.420447} {
		near(t, "martingale residual", m[i]+2, want+2, 6e-7)
	}
	f = mustCox(t, d, x, hazards.Options{})
	near(t, "Efron", f.Coefficient[0], -0.0211052096, 2e-8)
	near(t, "at 0", f.NullLogLikelihood, -9.1695183775, 1e-11)
	near(t, "at the top", f.LogLikelihood, -9.1691664647, 1e-11)
}

// Nine rows with weights (appendix E.3 of the same book).
func TestWeightedRows(t *testing.T) {
	d := hazards.Data{Exit: []int32{1, 1, 2, 2, 2, 2, 3, 4, 5}, Cause: []uint8{1, 0, 1, 1, 1, 0, 0, 1, 0}, Weight: []float64{1, 2, 3, 4, 3, 2, 1, 2, 1}}
	x := column("x", 2, 0, 1, 1, 0, 1, 0, 1, 0)
	f := mustCox(t, d, x, hazards.Options{Ties: hazards.Breslow})
	near(t, "Breslow", f.Coefficient[0], 0.859557444, 1e-9)
	near(t, "at 0", f.NullLogLikelihood, -32.867550779, 1e-10)
	near(t, "at the top", f.LogLikelihood, -32.021046276, 1e-10)
	near(t, "variance", f.Model[0], 0.508503338, 1e-8)
	f = mustCox(t, d, x, hazards.Options{})
	near(t, "Efron", f.Coefficient[0], 0.872604246, 1e-9)
	near(t, "at 0", f.NullLogLikelihood, -30.292179606, 1e-10)
	near(t, "at the top", f.LogLikelihood, -29.416784600, 1e-10)
	near(t, "variance", f.Model[0], 0.507756627, 1e-8)
	near(t, "score test", f.Score().ChiSquare, 2.148183*2.148183/2.929182, 1e-6)
}

// Separate models for each recurrence of bladder tumours. Wei, Lin & Weissfeld (1989) print −0.518,
// −0.619, −0.700 and −0.651 (from memory); more digits from R 4.2.2, survival 3.5-3.
func TestBladderRecurrences(t *testing.T) {
	all := references.Read(t, references.Folder+"/data/bladder.csv")
	for k, want := range [][2]float64{{-0.517620904, .315757}, {-0.619440409, .393177}, {-0.699877096, .459943}, {-0.650793463, .577442}} {
		f := all.Where(func(i int) bool { return all["enum"][i] == fmt.Sprint(k+1) })
		d := ranked(t, nil, numbers(t, f, "stop"))
		d.Cause = isEvent(numbers(t, f, "event"))
		var x []covariates.Column
		for _, name := range []string{"rx", "size", "number"} {
			x = append(x, columnsOf(t, f, name, nil)...)
		}
		fit := mustCox(t, d, x, hazards.Options{Ties: hazards.Breslow, Robust: k == 0})
		near(t, "treatment", fit.Coefficient[0], want[0], 1e-8)
		near(t, "standard error", math.Sqrt(fit.Model[0]), want[1], 2e-6)
		if k == 0 {
			near(t, "robust standard error", fit.Effect(0, 0.95).SE, 0.3074979859, 1e-9)
		}
	}
}

// Separation, and near-separation whose profile likelihood the reference gives.
func TestSeparationAgainstReference(t *testing.T) {
	f := references.Read(t, references.Folder+"/data/edge_separation.csv")
	var want struct {
		Results struct {
			Not struct {
				Coef, SE float64
				LogLik   []float64
				Lower    float64 `json:"profile_lower_95"`
				Upper    float64 `json:"profile_upper_95"`
			} `json:"not_separated"`
		}
	}
	references.Expected(t, "cox_edge_separation", &want)
	d := ranked(t, nil, numbers(t, f, "time"))
	d.Cause = isEvent(numbers(t, f, "status"))
	x := columnsOf(t, f, "x", nil)
	fit, err := hazards.Cox(d, 1, x, hazards.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if fit.Status != covariates.Separated || fit.AtFault[0] != "x" {
		t.Errorf("%v: %s", fit.Status, fit.Reason)
	}
	d = ranked(t, nil, numbers(t, f, "time_near"))
	d.Cause = isEvent(numbers(t, f, "status_near"))
	fit = mustCox(t, d, x, hazards.Options{})
	near(t, "coefficient", fit.Coefficient[0], want.Results.Not.Coef, 1e-9)
	near(t, "standard error", fit.Effect(0, 0.95).SE, want.Results.Not.SE, 1e-9)
	near(t, "log-likelihood", fit.LogLikelihood, want.Results.Not.LogLik[1], 1e-12)
	profile := fit.Profile(0, 0.95)
	near(t, "lower limit by profile", profile.Lower, want.Results.Not.Lower, 1e-7)
	near(t, "upper limit by profile", profile.Upper, want.Results.Not.Upper, 1e-7)
}

// Two eyes of each of 197 patients (Huster, Brookmeyer & Self, Biometrics 45 (1989) 145–156, the open
// likeness of two sides of one patient); figures from R 4.2.2, survival 3.5-3. The clustered
// standard error is the smaller one, because each patient has an eye of either treatment.
func TestDiabeticEyes(t *testing.T) {
	f := references.Read(t, "../../testdata/published/data/diabetic.csv")
	d := ranked(t, nil, numbers(t, f, "time"))
	d.Cause = isEvent(numbers(t, f, "status"))
	d.Cluster, _ = f.Codes("id")
	trt, age := columnsOf(t, f, "trt", nil), columnsOf(t, f, "age", nil)
	one := mustCox(t, d, trt, hazards.Options{})
	near(t, "treatment", one.Coefficient[0], -0.77663741, 1e-8)
	near(t, "model-based", math.Sqrt(one.Model[0]), 0.168778393, 1e-8)
	near(t, "clustered", one.Effect(0, 0.95).SE, 0.147460828, 1e-8)
	both := mustCox(t, d, append(trt, age...), hazards.Options{})
	for j, want := range [][3]float64{{-0.78214887, 0.16897134, 0.14837009}, {0.00403434, 0.00547235, 0.00625591}} {
		near(t, "coefficient", both.Coefficient[j]+1, want[0]+1, 1e-8)
		near(t, "model-based", math.Sqrt(both.Model[j*3]), want[1], 2e-6)
		near(t, "clustered", both.Effect(j, 0.95).SE, want[2], 2e-6)
	}
	d.Stratum, d.Cluster = d.Cluster, nil
	within := mustCox(t, d, trt, hazards.Options{})
	near(t, "within patients", within.Coefficient[0], -0.962275845, 1e-8)
	near(t, "its standard error", within.Effect(0, 0.95).SE, 0.201612797, 1e-8)
	if within.Strata != 197 {
		t.Errorf("%d strata", within.Strata)
	}
}
