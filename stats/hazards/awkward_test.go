package hazards_test

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"deltoid/stats/competing"
	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
	"deltoid/stats/regression"
	"deltoid/stats/survival"
)

// awkward is data that people bring: rows, and the columns they want.
type awkward struct {
	name string
	d    hazards.Data
	x    []covariates.Column
	// fault is what an error or a reason must name, where the data cannot be used; empty where an answer of some kind is due.
	fault string
}

func named(name string, values ...float64) covariates.Column {
	return covariates.Column{Name: name, Values: values}
}

// ordinary is thirty rows in which all is well: two causes, two columns.
func ordinary() (hazards.Data, []covariates.Column) {
	d, x := hazards.Data{}, []covariates.Column{{Name: "age"}, {Name: "male"}}
	for i := range 30 {
		d.Exit, d.Cause = append(d.Exit, int32(3+(i*7)%23)), append(d.Cause, uint8(i*i%3))
		x[0].Values, x[1].Values = append(x[0].Values, float64(60+(i*11)%17)), append(x[1].Values, float64((i/2)%2))
	}
	return d, x
}

// allAwkward lists them. Each begins as the ordinary rows.
func allAwkward() (out []awkward) {
	add := func(name, fault string, change func(d *hazards.Data, x []covariates.Column) []covariates.Column) {
		d, x := ordinary()
		x = change(&d, x)
		out = append(out, awkward{name, d, x, fault})
	}
	same := func(x []covariates.Column) []covariates.Column { return x }
	add("all is well", "", func(d *hazards.Data, x []covariates.Column) []covariates.Column { return x })
	add("nobody", "no rows", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		*d = hazards.Data{Exit: []int32{}, Cause: []uint8{}}
		return []covariates.Column{{Name: "age"}, {Name: "male"}}
	})
	for cause := range uint8(3) {
		add(fmt.Sprint("one row that ends by ", cause), "", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
			*d = hazards.Data{Exit: []int32{5}, Cause: []uint8{cause}}
			return []covariates.Column{named("age", 70)}
		})
	}
	add("no events", "", func(d *hazards.Data, x []covariates.Column) []covariates.Column { clear(d.Cause); return x })
	add("all events on one day", "", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		for i := range d.Exit {
			d.Exit[i], d.Cause[i] = 9, 1
		}
		return x
	})
	add("all on day 0", "", func(d *hazards.Data, x []covariates.Column) []covariates.Column { clear(d.Exit); return x })
	add("no columns", "", func(d *hazards.Data, x []covariates.Column) []covariates.Column { return nil })
	for name, value := range map[string]float64{"not a number": math.NaN(), "infinite": math.Inf(1), "infinite below": math.Inf(-1), "beyond all measure": 1e200} {
		add("a value that is "+name, "age", func(d *hazards.Data, x []covariates.Column) []covariates.Column { x[0].Values[4] = value; return x })
	}
	add("constant", "male", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		for i := range x[1].Values {
			x[1].Values[i] = 1
		}
		return x
	})
	add("twice the same", "years", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		return append(x, covariates.Column{Name: "years", Values: slices.Clone(x[0].Values)})
	})
	add("two columns of one name", "male", func(d *hazards.Data, x []covariates.Column) []covariates.Column { return append(x, x[1]) })
	add("a column too short", "male", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		x[1].Values = x[1].Values[:7]
		return x
	})
	add("no name", "name", func(d *hazards.Data, x []covariates.Column) []covariates.Column { x[0].Name = ""; return x })
	add("weights of zero", "", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		d.Weight = make([]float64, 30)
		return x
	})
	add("some weights of zero", "", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		d.Weight = make([]float64, 30)
		for i := range d.Weight {
			d.Weight[i] = float64(i % 2)
		}
		return x
	})
	add("a weight below zero", "Weight", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		d.Weight = slices.Repeat([]float64{1}, 30)
		d.Weight[3] = -1
		return x
	})
	add("more coefficients than events", "", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		clear(d.Cause)
		d.Cause[2] = 1
		return x
	})
	add("a cluster that spans strata", "", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		for i := range 30 {
			d.Stratum, d.Cluster = append(d.Stratum, int32(i%2)), append(d.Cluster, int32(i/4))
		}
		return x
	})
	add("one cluster", "", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		d.Cluster = make([]int32, 30)
		return x
	})
	add("a cluster below zero", "Cluster", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		d.Cluster = slices.Repeat([]int32{-4}, 30)
		return x
	})
	add("a stratum each", "", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		for i := range 30 {
			d.Stratum = append(d.Stratum, int32(i))
		}
		return x
	})
	add("a level without events", "male", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		for i, m := range x[1].Values {
			if m == 1 {
				d.Cause[i] = 0
			}
		}
		return x
	})
	add("a level all of whom have it first", "male", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		for i, m := range x[1].Values {
			if d.Exit[i] = 20; m == 1 {
				d.Exit[i], d.Cause[i] = 2, 1
			}
		}
		return x
	})
	add("late entries", "", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		for i := range 30 {
			d.Entry = append(d.Entry, d.Exit[i]-int32(1+i%2))
		}
		return x
	})
	add("an entry after the exit", "Entry", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		d.Entry = make([]int32, 30)
		d.Entry[6] = d.Exit[6] + 1
		return x
	})
	add("a time below zero", "Exit", func(d *hazards.Data, x []covariates.Column) []covariates.Column { d.Exit[0] = -3; return x })
	add("an offset that is no number", "Offset", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		d.Offset = slices.Repeat([]float64{math.NaN()}, 30)
		return x
	})
	add("large offsets", "", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		for i := range 30 {
			d.Offset = append(d.Offset, float64(i-15)*20)
		}
		return x
	})
	add("values of 10⁸⁰", "", func(d *hazards.Data, x []covariates.Column) []covariates.Column {
		for i := range x[0].Values {
			x[0].Values[i] *= 1e78
		}
		return same(x)
	})
	return out
}

// whole fails on every number in a result that is none, and on a status other than converged without a reason.
func whole(t *testing.T, what string, result any) {
	t.Helper()
	var walk func(path string, v reflect.Value)
	walk = func(path string, v reflect.Value) {
		switch v.Kind() {
		case reflect.Pointer, reflect.Interface:
			if !v.IsNil() {
				walk(path, v.Elem())
			}
		case reflect.Struct:
			if s := v.FieldByName("Status"); s.IsValid() && s.Type() == reflect.TypeFor[covariates.Status]() && s.Uint() != uint64(covariates.Converged) {
				if r := v.FieldByName("Reason"); r.IsValid() && r.String() == "" {
					t.Errorf("%s%s: the status is %v, and there is no reason", what, path, s)
				}
			}
			for i := range v.NumField() {
				if v.Type().Field(i).IsExported() {
					walk(path+"."+v.Type().Field(i).Name, v.Field(i))
				}
			}
		case reflect.Slice, reflect.Array:
			for i := range v.Len() {
				walk(fmt.Sprint(path, "[", i, "]"), v.Index(i))
			}
		case reflect.Float64:
			if math.IsNaN(v.Float()) {
				t.Errorf("%s%s is NaN", what, path)
			}
		}
	}
	walk("", reflect.ValueOf(result))
}

// answer is what a function gave: an error, or a result that is looked through.
type answers struct {
	t   *testing.T
	bad awkward
}

func (a answers) take(what string, result any, err error) {
	a.t.Helper()
	what = a.bad.name + ", " + what
	if err != nil {
		if strings.Contains(err.Error(), "NaN") && !strings.Contains(err.Error(), "want") || len(err.Error()) < 10 {
			a.t.Errorf("%s: the error says too little: %v", what, err)
		}
		return
	}
	whole(a.t, what, result)
}

// names looks for what an error or a reason must name.
func (a answers) names(what string, f *covariates.Fit, err error) {
	a.t.Helper()
	if a.bad.fault == "" {
		return
	}
	said := ""
	if err != nil {
		said = err.Error()
	} else if f != nil && f.Status != covariates.Converged {
		said = f.Reason + " " + strings.Join(f.AtFault, " ")
	}
	if !strings.Contains(said, a.bad.fault) {
		a.t.Errorf("%s, %s: nothing names %q: %q", a.bad.name, what, a.bad.fault, said)
	}
}

// Every public function of the models on everything awkward: never a panic, never NaN, and whatever cannot be used is named.
func TestEveryFunctionOnAwkwardData(t *testing.T) {
	for _, c := range allAwkward() {
		a := answers{t, c}
		for _, o := range []hazards.Options{{}, {Ties: hazards.Breslow, Robust: true}, {Ties: hazards.ExactPartial}, {Penalised: true}} {
			a.cox(o)
		}
		a.parametric()
		a.predicted()
		a.incidence()
		a.outcomes()
	}
}

func (a answers) cox(o hazards.Options) {
	c := a.bad
	what := fmt.Sprint("Cox ", o)
	f, err := hazards.Cox(c.d, 1, c.x, o)
	a.take(what, f, err)
	if err != nil {
		a.names(what, nil, err)
		return
	}
	if separated := strings.HasPrefix(c.name, "a level"); !o.Penalised || !separated {
		a.names(what, &f.Fit, nil)
	}
	for j := range f.Names {
		a.take(what+" effect", f.Effect(j, 0.95), nil)
		if o.Penalised && j == 0 {
			a.take(what+" profile", f.Profile(j, 0.95), nil)
		}
		a.take(what+" term", f.Term(f.Terms[j]), nil)
	}
	a.take(what+" Wald", f.Wald(), nil)
	a.take(what+" score", f.Score(), nil)
	a.take(what+" likelihood ratio", f.LikelihoodRatio(), nil)
	for name, call := range map[string]func() (any, error){
		"martingale": func() (any, error) { return f.Martingale() }, "deviance": func() (any, error) { return f.Deviance() },
		"scores": func() (any, error) { return f.Scores() }, "delete one": func() (any, error) { return f.DeleteOne() },
		"Schoenfeld": func() (any, error) { return f.Schoenfeld() }, "concordance": func() (any, error) { return f.Concordance() },
		"robust score": func() (any, error) { return f.RobustScore() }, "baseline": func() (any, error) { return f.Baseline(0) },
		"predictors": func() (any, error) { return f.Predictors() }, "risks": func() (any, error) { return f.Risks(6) },
		"predict": func() (any, error) {
			return f.Predict([]hazards.Request{{Values: make([]float64, len(f.Names))}}, []float64{0, 6, 1e6}, 0.95, survival.LogLog)
		},
		"optimism": func() (any, error) { return f.Optimism(6, 2, 1) },
	} {
		result, err := call()
		a.take(what+" "+name, result, err)
	}
	for scale := hazards.FailedShare; scale <= hazards.RankedTime; scale++ {
		result, err := f.Proportionality(scale)
		a.take(fmt.Sprint(what, " over ", scale), result, err)
		if s, err := f.Schoenfeld(); err == nil && len(f.Names) > 0 {
			trend, err := f.Trend(s, slices.Repeat([]float64{1}, len(f.Names)), scale, 3, 5, 0.95)
			a.take(fmt.Sprint(what, " along ", scale), trend, err)
		}
	}
}

func (a answers) parametric() {
	c := a.bad
	w, err := hazards.FitWeibull(c.d, 1, c.x)
	a.take("Weibull", w, err)
	if err == nil {
		s, err := w.Survival(make([]float64, len(c.x)), 6, 0.95)
		a.take("Weibull, survival", s, err)
	}
	p, err := hazards.FitPiecewise(c.d, 1, c.x, []float64{4, 9}, 0.95)
	a.take("piecewise", p, err)
	if err == nil {
		s, err := p.Survival(make([]float64, len(c.x)), 6, 0.95)
		a.take("piecewise, survival", s, err)
	}
	d, x, err := hazards.SplitTime(c.d, c.x, []int32{5}, "age")
	a.take("split", d, err)
	a.take("split, columns", x, err)
	hazards.EventsPerCoefficient(c.d, 1, len(c.x))
}

func (a answers) predicted() {
	c := a.bad
	risk := make([]float64, len(c.d.Exit))
	for i := range risk {
		risk[i] = 0.1 + 0.02*float64(i%9)
	}
	v, err := hazards.Validate(c.d, 1, risk, 6, hazards.ValidationOptions{})
	a.take("validation", v, err)
	k, err := hazards.Concord(c.d, 1, risk)
	a.take("concordance of risks", k, err)
	k, err = hazards.ConcordUpTo(c.d, 1, risk, 6)
	a.take("weighted concordance", k, err)
	g, err := hazards.Given{Names: []string{"age", "male"}, Coefficients: []float64{0.1, 0.2}, Centres: []float64{70, 0}, Survival: 0.9}.Risks(c.x)
	a.take("given", g, err)
	o, err := hazards.IncidenceOptimism(c.d, 1, c.x, 6, 2, 1)
	a.take("optimism of the incidence", o, err)
}

func (a answers) incidence() {
	c := a.bad
	if c.d.Stratum != nil || c.d.Offset != nil {
		return // of which this model knows nothing
	}
	d := survival.Data{Entry: c.d.Entry, Exit: c.d.Exit, Cause: c.d.Cause, Weight: c.d.Weight, Cluster: c.d.Cluster, Causes: 2}
	f, err := competing.Subdistribution(d, 1, c.x, competing.SubdistributionOptions{})
	a.take("Fine–Gray", f, err)
	if err != nil {
		a.names("Fine–Gray", nil, err)
		return
	}
	a.names("Fine–Gray", &f.Fit, nil)
	for j := range f.Names {
		a.take("Fine–Gray effect", f.Effect(j, 0.95), nil)
	}
	p, err := f.Incidence([][]float64{make([]float64, len(f.Names))}, []float64{0, 6, 1e6}, 0.95, survival.LogLog)
	a.take("Fine–Gray, incidence", p, err)
	q, err := f.Proportionality()
	a.take("Fine–Gray over time", q, err)
	r, err := f.Risks(6)
	a.take("Fine–Gray, risks", r, err)
}

func (a answers) outcomes() {
	c := a.bad
	d := regression.Data{Weight: c.d.Weight, Offset: c.d.Offset, Cluster: c.d.Cluster}
	for _, cause := range c.d.Cause {
		d.Outcome = append(d.Outcome, float64(min(cause, 1)))
	}
	for _, o := range []regression.Options{{}, {Penalised: true}, {Robust: true}} {
		for name, fit := range map[string]func(regression.Data, []covariates.Column, regression.Options) (*regression.Fit, error){"logistic": regression.Logistic, "Poisson": regression.Poisson} {
			what := fmt.Sprint(name, " ", o)
			f, err := fit(d, c.x, o)
			a.take(what, f, err)
			if err != nil {
				if c.fault != "Entry" && c.fault != "Exit" {
					a.names(what, nil, err)
				}
				continue
			}
			for j := range len(f.Names) - 1 {
				a.take(what+" effect", f.Effect(j, 0.95), nil)
				if o.Penalised {
					a.take(what+" profile", f.Profile(j, 0.95), nil)
				}
			}
			y, err := f.Fitted()
			a.take(what+" fitted", y, err)
			e, err := f.Predict(make([]float64, len(f.Names)-1), 0, 0.95)
			a.take(what+" predicted", e, err)
			a.take(what+" Wald", f.Wald(), nil)
			a.take(what+" score", f.Score(), nil)
		}
	}
}
