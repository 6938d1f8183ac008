package hazards_test

import (
	"errors"
	"math"
	"runtime"
	"strings"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/random"
)

// exhibit is data that a model must refuse, by status and with the name of what is at fault.
type exhibit struct {
	name   string
	status covariates.Status
	fault  string
	change func(d *hazards.Data, x []covariates.Column) []covariates.Column
}

// The museum of failures.
var museum = []exhibit{
	{"no events", covariates.NoEvents, "", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		clear(d.Cause)
		return x
	}},
	{"all rows weigh nothing", covariates.NoRows, "", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		d.Weight = make([]float64, len(d.Exit))
		return x
	}},
	{"more coefficients than events", covariates.TooFewEvents, "", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		clear(d.Cause)
		d.Cause[0] = 1
		return x
	}},
	{"constant", covariates.Singular, "b", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		for i := range x[1].Values {
			x[1].Values[i] = 0.1
		}
		return x
	}},
	{"duplicated", covariates.Singular, "c", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		return append(x, covariates.Column{Name: "c", Values: x[0].Values})
	}},
	{"a sum of others", covariates.Singular, "c", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		c := make([]float64, len(d.Exit))
		for i := range c {
			c[i] = 2015 + 3*x[0].Values[i] - 2*x[1].Values[i]
		}
		return append(x, covariates.Column{Name: "c", Values: c})
	}},
	{"the same within every stratum", covariates.Singular, "c", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		c := make([]float64, len(d.Exit))
		d.Stratum = make([]int32, len(d.Exit))
		for i := range c {
			d.Stratum[i] = int32(i % 3)
			c[i] = float64(i%3) * 7.1
		}
		return append(x, covariates.Column{Name: "c", Values: c})
	}},
	{"a level without events", covariates.Separated, "level", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		c := make([]float64, len(d.Exit))
		for i := range c {
			if d.Cause[i] != 1 && i%3 == 0 {
				c[i] = 1
			}
		}
		return append(x, covariates.Column{Name: "level", Values: c})
	}},
	{"a number that orders all events", covariates.Separated, "c", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		c := make([]float64, len(d.Exit))
		for i := range c {
			c[i] = 1e6 * float64(d.Exit[i])
		}
		return append(x, covariates.Column{Name: "c", Values: c})
	}},
	{"two levels without events", covariates.Separated, "level", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		c, e := make([]float64, len(d.Exit)), make([]float64, len(d.Exit))
		for i := range c {
			if d.Cause[i] != 1 && i%4 == 0 {
				c[i] = 1
			} else if d.Cause[i] != 1 && i%4 == 1 {
				e[i] = 1
			}
		}
		return append(x, covariates.Column{Name: "level", Values: c}, covariates.Column{Name: "other level", Values: e})
	}},
}

func plainRows(seed uint64, n int) (hazards.Data, []covariates.Column) {
	r := random.Stream(seed, "plain rows", 0)
	d := hazards.Data{Exit: make([]int32, n), Cause: make([]uint8, n)}
	x := []covariates.Column{{Name: "a", Values: make([]float64, n)}, {Name: "b", Values: make([]float64, n)}}
	for i := range n {
		d.Exit[i], d.Cause[i] = 1+r.Int32N(200), uint8(r.IntN(2))
		x[0].Values[i], x[1].Values[i] = r.NormFloat64(), float64(r.IntN(2))
	}
	return d, x
}

func TestMuseumOfFailures(t *testing.T) {
	for _, e := range museum {
		for _, ties := range []hazards.Ties{hazards.Efron, hazards.Breslow} {
			d, x := plainRows(3, 120)
			x = e.change(&d, x)
			f, err := hazards.Cox(d, 1, x, hazards.Options{Ties: ties})
			if err != nil {
				t.Errorf("%s: %v", e.name, err)
				continue
			}
			if f.Status != e.status || f.Reason == "" || f.Coefficient != nil {
				t.Errorf("%s: %v (%s), want %v", e.name, f.Status, f.Reason, e.status)
			}
			if e.fault != "" && (len(f.AtFault) == 0 || !strings.Contains(strings.Join(f.AtFault, ","), e.fault) || !strings.Contains(f.Reason, e.fault)) {
				t.Errorf("%s: %v is said to be at fault (%s), want %s", e.name, f.AtFault, f.Reason, e.fault)
			}
			checkRefusals(t, f)
		}
	}
}

// checkRefusals asks a fit without estimates for everything.
func checkRefusals(t *testing.T, f *hazards.Fit) {
	t.Helper()
	for _, test := range []covariates.Test{f.Wald(), f.Score(), f.LikelihoodRatio(), f.Term("a")} {
		if test.Status != f.Status || test.ChiSquare != 0 || test.Reason == "" {
			t.Errorf("test %+v of a fit that is %v", test, f.Status)
		}
	}
	if e := f.Effect(0, 0.95); e.Status != f.Status || e.Estimate != 0 {
		t.Errorf("effect %+v of a fit that is %v", e, f.Status)
	}
	_, a := f.Martingale()
	_, b := f.Scores()
	_, c := f.Schoenfeld()
	_, d := f.Proportionality(hazards.PlainTime)
	_, e := f.Concordance()
	_, g := f.Baseline(0)
	_, h := f.Predict(nil, nil, 0.95, 0)
	_, i := f.Deviance()
	for _, err := range []error{a, b, c, d, e, g, h, i} {
		if err == nil || !strings.Contains(err.Error(), f.Status.String()) && f.Status != covariates.Separated {
			t.Errorf("error %v of a fit that is %v", err, f.Status)
		}
	}
}

// A level without events says so, with the number of rows in it.
func TestSeparationNamesTheLevel(t *testing.T) {
	d, x := plainRows(3, 120)
	x = museum[7].change(&d, x)
	f, _ := hazards.Cox(d, 1, x, hazards.Options{})
	if !strings.Contains(f.Reason, "level = 1 has the event") || !strings.Contains(f.Reason, "penalised") {
		t.Error(f.Reason)
	}
	p := mustCox(t, d, x, hazards.Options{Penalised: true})
	if b := p.Coefficient[2]; !(b < 0 && b > -10) {
		t.Errorf("penalised estimate %v", b)
	}
}

func TestRowsThatAreRefused(t *testing.T) {
	for column, change := range map[string]func(d *hazards.Data, x []covariates.Column){
		"a":      func(d *hazards.Data, x []covariates.Column) { x[0].Values[5] = math.NaN() },
		"b":      func(d *hazards.Data, x []covariates.Column) { x[1].Values[5] = math.Inf(-1) },
		"Exit":   func(d *hazards.Data, x []covariates.Column) { d.Exit[5] = -1 },
		"Weight": func(d *hazards.Data, x []covariates.Column) { d.Weight = ones(120); d.Weight[5] = -1 },
		"Offset": func(d *hazards.Data, x []covariates.Column) { d.Offset = ones(120); d.Offset[5] = math.NaN() },
		"Entry": func(d *hazards.Data, x []covariates.Column) {
			d.Entry = make([]int32, 120)
			d.Entry[5] = d.Exit[5]
		},
		"Cluster": func(d *hazards.Data, x []covariates.Column) { d.Cluster = make([]int32, 120); d.Cluster[5] = -7 },
		"Stratum": func(d *hazards.Data, x []covariates.Column) { d.Stratum = make([]int32, 120); d.Stratum[5] = -7 },
	} {
		d, x := plainRows(4, 120)
		change(&d, x)
		_, err := hazards.Cox(d, 1, x, hazards.Options{})
		var row *covariates.RowError
		if !errors.As(err, &row) || row.Row != 5 || row.Column != column {
			t.Errorf("%s: %v", column, err)
		}
	}
	d, x := plainRows(4, 120)
	x[1].Name = "a"
	if _, err := hazards.Cox(d, 1, x, hazards.Options{}); err == nil {
		t.Error("two columns of one name are accepted")
	}
	x[1].Name, x[1].Values = "b", x[1].Values[:100]
	if _, err := hazards.Cox(d, 1, x, hazards.Options{}); err == nil {
		t.Error("a short column is accepted")
	}
}

func ones(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = 1
	}
	return out
}

// Every patient k times: model-based standard errors fall by √k, clustered ones stay.
func TestCopiesOfPatients(t *testing.T) {
	d, x := plainRows(9, 300)
	d.Cluster = make([]int32, 300)
	for i := range d.Cluster {
		d.Cluster[i] = int32(i)
	}
	once := mustCox(t, d, x, hazards.Options{Ties: hazards.Breslow})
	const k = 3
	var many hazards.Data
	y := []covariates.Column{{Name: "a"}, {Name: "b"}}
	for range k {
		many.Exit, many.Cause, many.Cluster = append(many.Exit, d.Exit...), append(many.Cause, d.Cause...), append(many.Cluster, d.Cluster...)
		for j := range y {
			y[j].Values = append(y[j].Values, x[j].Values...)
		}
	}
	copies := mustCox(t, many, y, hazards.Options{Ties: hazards.Breslow})
	if copies.Clusters != 300 {
		t.Errorf("%d clusters", copies.Clusters)
	}
	for i := range once.Robust {
		near(t, "clustered covariance", copies.Robust[i], once.Robust[i], 1e-10)
		near(t, "model-based covariance", copies.Model[i]*k, once.Model[i], 1e-10)
	}
}

// Rows in another order, covariates in other units, times in other units, one stratum for all with
// every row split in two at some day: the same model.
func TestInvariance(t *testing.T) {
	for seed := range uint64(20) {
		d, x := plainRows(seed, 250)
		r := random.Stream(seed, "invariance", 0)
		d.Weight = make([]float64, 250)
		for i := range d.Weight {
			d.Weight[i] = 0.5 + r.Float64()
		}
		want := mustCox(t, d, x, hazards.Options{Robust: true})
		var moved hazards.Data
		y := []covariates.Column{{Name: "a"}, {Name: "b"}}
		for _, i := range r.Perm(250) {
			cut := r.Int32N(d.Exit[i])
			for part := range 2 {
				if part == 0 && cut == 0 {
					continue
				}
				entry, exit, cause := int32(0), cut*7, uint8(0)
				if part == 1 {
					entry, exit, cause = cut*7, d.Exit[i]*7, d.Cause[i]
				}
				moved.Entry, moved.Exit, moved.Cause = append(moved.Entry, entry), append(moved.Exit, exit), append(moved.Cause, cause)
				moved.Weight, moved.Cluster = append(moved.Weight, d.Weight[i]), append(moved.Cluster, int32(i))
				y[0].Values, y[1].Values = append(y[0].Values, 1e6-1000*x[0].Values[i]), append(y[1].Values, x[1].Values[i])
			}
		}
		got := mustCox(t, moved, y, hazards.Options{})
		near(t, "log-likelihood", got.LogLikelihood, want.LogLikelihood, 1e-10)
		near(t, "a", got.Coefficient[0]*-1000, want.Coefficient[0], 1e-6)
		near(t, "b", got.Coefficient[1], want.Coefficient[1], 1e-7)
		near(t, "standard error of b", got.Effect(1, 0.95).SE, want.Effect(1, 0.95).SE, 1e-7)
		if got.Clusters != 250 {
			t.Errorf("%d clusters", got.Clusters)
		}
	}
}

// The same bits for any number of processors.
func TestProcessorsDoNotMatter(t *testing.T) {
	d, x := plainRows(5, 40_000)
	d.Cluster = make([]int32, len(d.Exit))
	for i := range d.Cluster {
		d.Cluster[i] = int32(i / 2)
	}
	var first *hazards.Fit
	for _, workers := range []int{1, 2, 7} {
		before := runtime.GOMAXPROCS(workers)
		f := mustCox(t, d, x, hazards.Options{})
		z, _ := f.Proportionality(hazards.FailedShare)
		c, _ := f.Concordance()
		runtime.GOMAXPROCS(before)
		if first == nil {
			first = f
		}
		for i := range f.Robust {
			if f.Robust[i] != first.Robust[i] || f.Model[i] != first.Model[i] {
				t.Errorf("%d processors: covariance differs", workers)
			}
		}
		if f.Coefficient[0] != first.Coefficient[0] || z.Global.P <= 0 || c.C <= 0 {
			t.Errorf("%d processors: %v, want %v", workers, f.Coefficient, first.Coefficient)
		}
	}
}
