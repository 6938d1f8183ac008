package mixed_test

import (
	"errors"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"deltoid/stats/covariates"
	"deltoid/stats/mixed"
	"deltoid/stats/random"
)

// small is followed with few shoulders and one covariate, and a row number for each shoulder and visit.
func small(shoulders int) mixed.Followed {
	s := followed(7, shoulders, 3, false)
	s.Covariates = s.Covariates[:1]
	s.Patient = nil
	return s
}

// keep returns the rows for which yes is true.
func keep(s mixed.Followed, yes func(row int) bool) mixed.Followed {
	out := mixed.Followed{Groups: s.Groups, Data: mixed.Data{Visits: s.Visits}, ByVisit: s.ByVisit}
	for _, c := range s.Covariates {
		out.Covariates = append(out.Covariates, covariates.Column{Name: c.Name, Term: c.Term})
	}
	for i := range s.Outcome {
		if !yes(i) {
			continue
		}
		out.Outcome, out.Subject, out.Visit = append(out.Outcome, s.Outcome[i]), append(out.Subject, s.Subject[i]), append(out.Visit, s.Visit[i])
		out.Group = append(out.Group, s.Group[i])
		if s.Patient != nil {
			out.Patient = append(out.Patient, s.Patient[i])
		}
		for j, c := range s.Covariates {
			out.Covariates[j].Values = append(out.Covariates[j].Values, c.Values[i])
		}
	}
	return out
}

// Data that have no answer, or none for one question: a status with words, and no number anywhere.
func TestStates(t *testing.T) {
	s := small(60)
	constant := keep(s, func(int) bool { return true })
	for i := range constant.Outcome {
		constant.Outcome[i] = 70.3
	}
	ceiling := keep(s, func(int) bool { return true })
	for i, v := range ceiling.Visit {
		if v == 2 {
			ceiling.Outcome[i] = 100
		}
	}
	follows := keep(s, func(int) bool { return true })
	score := map[int32]float64{}
	for i, v := range follows.Visit {
		if v == 0 {
			score[follows.Subject[i]] = follows.Outcome[i]
		}
	}
	for i, v := range follows.Visit {
		if y, ok := score[follows.Subject[i]]; ok && v == 1 {
			follows.Outcome[i] = y + 5
		}
	}
	follows = keep(follows, func(i int) bool { _, ok := score[follows.Subject[i]]; return ok })
	twice := keep(s, func(int) bool { return true })
	twice.Covariates = append(twice.Covariates, covariates.Column{Name: "again", Values: slices.Clone(twice.Covariates[0].Values)})
	flat := keep(s, func(int) bool { return true })
	flat.Covariates = []covariates.Column{{Name: "flat", Values: slices.Repeat([]float64{0.1}, len(flat.Outcome))}}
	apart := keep(s, func(i int) bool { return s.Visit[i] != 1 || s.Subject[i]%2 == 0 })
	apart = keep(apart, func(i int) bool { return apart.Visit[i] != 2 || apart.Subject[i]%2 == 1 })
	for name, c := range map[string]struct {
		s      mixed.Followed
		o      mixed.Options
		status mixed.Status
		word   string
	}{
		"nothing":           {keep(s, func(int) bool { return false }), mixed.Options{}, mixed.NoRows, "no scores"},
		"one visit":         {keep(s, func(i int) bool { return s.Visit[i] == 1 }), mixed.Options{}, mixed.OneVisit, "one visit"},
		"one visit each":    {keep(s, func(i int) bool { return int32(s.Subject[i]%3) == s.Visit[i] }), mixed.Options{}, mixed.OneVisit, "two visits"},
		"fewer rows":        {keep(s, func(i int) bool { return i < 5 }), mixed.Options{Covariance: mixed.CompoundSymmetric}, mixed.NoRows, "coefficient"},
		"constant":          {constant, mixed.Options{}, mixed.ConstantOutcome, "vary"},
		"ceiling":           {ceiling, mixed.Options{}, mixed.OnBoundary, "visit 2"},
		"exact function":    {follows, mixed.Options{}, mixed.OnBoundary, "visit"},
		"column twice":      {twice, mixed.Options{}, mixed.Singular, "again"},
		"column of one":     {flat, mixed.Options{}, mixed.Singular, "flat"},
		"never together":    {apart, mixed.Options{}, mixed.NotIdentified, "no shoulder has scores at both visit 1 and visit 2"},
		"few shoulders":     {keep(s, func(i int) bool { return s.Subject[i] < 4 }), mixed.Options{}, mixed.NotIdentified, "fewer"},
		"no visit":          {keep(s, func(i int) bool { return s.Visit[i] != 1 }), mixed.Options{}, mixed.NotIdentified, "visit 1"},
		"no two shoulders":  {s, mixed.Options{PatientIntercept: true}, mixed.NotIdentified, "two shoulders"},
		"too few steps":     {s, mixed.Options{Steps: 1}, mixed.LimitReached, "1 step"},
		"power of one time": {keep(s, func(i int) bool { return s.Visit[i] != 1 }), mixed.Options{Covariance: mixed.SpatialPower, SubjectIntercept: true}, mixed.NotIdentified, "do not tell"},
	} {
		f, err := mixed.Trajectories(c.s, c.o)
		if err != nil {
			t.Fatal(name, err)
		}
		if f.Fit.Status != c.status || !strings.Contains(f.Fit.Reason, c.word) {
			t.Errorf("%s: %v (%s), want %v and %q", name, f.Fit.Status, f.Fit.Reason, c.status, c.word)
		}
		if f.Fit.Coefficient != nil || f.Fit.Residuals() != nil || f.Fit.Criteria() != (mixed.Criteria{}) || f.Fit.Parameters != nil {
			t.Errorf("%s: a fit that is %v has numbers", name, f.Fit.Status)
		}
		for what, e := range map[string]mixed.Effect{"mean": f.Mean(0, 0, nil, 0.95), "difference": f.Difference(0, 1, 0, 0.95), "change": f.Change(0, 0, 2, nil, 0.95),
			"changes": f.DifferenceOfChanges(1, 0, 0, 2, 0.95), "shifted": f.ShiftedMean(2, 0, nil, mixed.Shift{Delta: make([]float64, 6)}, 0.95)} {
			if e.Status != c.status || e.Reason == "" || e.Estimate != 0 || e.SE != 0 || e.P != 0 {
				t.Errorf("%s: %s is %+v", name, what, e)
			}
		}
		if test := f.ChangeTest(); test.Status != c.status || test.F != 0 {
			t.Errorf("%s: %+v", name, test)
		}
		if tip := f.TippingPoint(2, 1, 0, mixed.Shift{Delta: make([]float64, 6)}, 0.95, 100); tip.Status != c.status || tip.Found {
			t.Errorf("%s: %+v", name, tip)
		}
	}
}

// A group without a score at a visit has no mean there, with one score neither; all others stay.
func TestCells(t *testing.T) {
	s := small(60)
	at := func(i int) bool { return s.Visit[i] == 2 && s.Group[i] == 1 }
	first := slices.IndexFunc(s.Outcome, func(float64) bool { return true })
	for i := range s.Outcome {
		if at(i) {
			first = i
			break
		}
	}
	for status, reduced := range map[mixed.Status]mixed.Followed{
		mixed.EmptyCell: keep(s, func(i int) bool { return !at(i) }), mixed.OneInCell: keep(s, func(i int) bool { return !at(i) || i == first }),
	} {
		f := trajectories(t, reduced, mixed.Options{})
		for v := range 3 {
			for g := range 2 {
				want := mixed.Converged
				if v == 2 && g == 1 {
					want = status
				}
				if e := f.Mean(v, g, nil, 0.95); e.Status != want || (e.SE > 0) != (want == mixed.Converged) || f.Cells[2*v+g].Status != want {
					t.Errorf("mean of %d at %d: %+v, want %v", g, v, e, want)
				}
			}
		}
		for _, e := range []mixed.Effect{f.Difference(2, 1, 0, 0.95), f.Change(1, 0, 2, nil, 0.95), f.DifferenceOfChanges(1, 0, 0, 2, 0.95)} {
			if e.Status != status || !strings.Contains(e.Reason, "B at visit 2") || e.SE != 0 {
				t.Errorf("%+v", e)
			}
		}
		if test := f.ChangeTest(); test.Status != mixed.Converged || test.DF1 != 1 {
			t.Errorf("%+v", test)
		}
		if test := f.GroupTest(); test.Status != mixed.Converged || test.DF1 != 2 {
			t.Errorf("%+v", test)
		}
	}
}

// Shoulders that agree no more than strangers: the part of the shoulder, or patient, is 0, which is said, and everything else is that of
// the model without it.
func TestBoundary(t *testing.T) {
	r := random.Stream(8, "boundary", 0)
	var d mixed.Data
	d.Visits = []string{"a", "b", "c"}
	x := covariates.Column{Name: "x"}
	for i := range int32(40) {
		own := 0.0
		for v := range int32(3) {
			y := r.NormFloat64()
			if v == 2 { // negative correlation
				y -= own
			}
			own += y
			d.Outcome, d.Subject, d.Visit, d.Patient = append(d.Outcome, y), append(d.Subject, i), append(d.Visit, v), append(d.Patient, i/2)
			x.Values = append(x.Values, float64(i%4)+0.1*float64(v))
		}
	}
	columns := []covariates.Column{x}
	plain := must(t, d, columns, mixed.Options{Covariance: mixed.Independent})
	for _, o := range []mixed.Options{{SubjectIntercept: true}, {PatientIntercept: true}, {SubjectIntercept: true, PatientIntercept: true}, {SubjectIntercept: true, SubjectSlope: true}} {
		o.Covariance = mixed.Independent
		f := must(t, d, columns, o)
		if f.LogLikelihood < plain.LogLikelihood-1e-6 {
			t.Errorf("%s has a smaller likelihood than without: %v, %v", o.Name(), f.LogLikelihood, plain.LogLikelihood)
		}
		if o.SubjectSlope {
			continue // slopes may vary
		}
		if !f.Parameters[1].Boundary || f.Parameters[1].Estimate != 0 || f.Parameters[0].Boundary {
			t.Errorf("%s: %+v", o.Name(), f.Parameters)
		}
		e, want := f.Effect(0, 0.95), plain.Effect(0, 0.95)
		near(t, "effect", e.Estimate, want.Estimate, 1e-5, 0)
		near(t, "error", e.SE, want.SE, 1e-5, 0)
		near(t, "degrees", e.DF, 118, 1e-4, 0)
		if c, err := f.Compare(plain); err != nil || c.ChiSquare > 1e-6 || c.P < 0.49 {
			t.Error(c, err)
		}
	}
	// Compound symmetry knows negative covariances.
	f := must(t, d, columns, mixed.Options{Covariance: mixed.CompoundSymmetric})
	if f.Parameters[0].Estimate >= 0 || f.Parameters[0].Boundary {
		t.Errorf("%+v", f.Parameters)
	}
}

// Intercepts and slopes that are exact multiples of each other have a singular covariance, which has a fit; and so have shoulders that differ
// in their slopes only or their intercepts only.
func TestSingularSlopes(t *testing.T) {
	for name, lines := range map[string]func(u float64) (intercept, slope float64){
		"multiple": func(u float64) (float64, float64) { return 4 * u, 2 * u }, "slopes": func(u float64) (float64, float64) { return 0, 3 * u },
		"intercepts": func(u float64) (float64, float64) { return 5 * u, 0 },
	} {
		for replicate := range uint64(6) {
			r := random.Stream(9, "singular slopes "+name, replicate)
			var d mixed.Data
			d.Visits = []string{"a", "b", "c", "d"}
			x := covariates.Column{Name: "x"}
			for i := range int32(30) {
				intercept, slope := lines(r.NormFloat64())
				for v := range int32(4) {
					d.Outcome = append(d.Outcome, intercept+slope*float64(v)+r.NormFloat64())
					d.Subject, d.Visit = append(d.Subject, i), append(d.Visit, v)
					x.Values = append(x.Values, float64(v))
				}
			}
			for _, o := range []mixed.Options{{}, {Degrees: mixed.Satterthwaite}} {
				o.Covariance, o.SubjectIntercept, o.SubjectSlope = mixed.Independent, true, true
				f := must(t, d, []covariates.Column{x}, o)
				if e := f.Effect(0, 0.95); e.Status != mixed.Converged || !(e.DF >= 28) || !(e.SE > 0) || e.DF > 1e9 {
					t.Errorf("%s, %d: %+v", name, replicate, e)
				}
				for _, p := range f.Parameters {
					if math.IsNaN(p.Estimate) || math.IsNaN(p.SE) {
						t.Errorf("%s, %d: %+v", name, replicate, p)
					}
				}
			}
		}
	}
}

// Rows that cannot be used are named.
func TestErrors(t *testing.T) {
	s := small(20)
	first := s.Subject[0]
	for s.Subject[0] == first { // so that the first two rows are of one shoulder
		first++
		s = keep(s, func(i int) bool { return s.Subject[i] >= first })
		if s.Subject[0] == s.Subject[1] && s.Subject[2] != s.Subject[1] {
			break
		}
		first = s.Subject[0]
	}
	bad := func(change func(*mixed.Followed)) mixed.Followed {
		c := keep(s, func(int) bool { return true })
		change(&c)
		return c
	}
	for name, c := range map[string]struct {
		s      mixed.Followed
		row    int
		column string
	}{
		"not a number":  {bad(func(s *mixed.Followed) { s.Outcome[3] = math.NaN() }), 3, "Outcome"},
		"infinite":      {bad(func(s *mixed.Followed) { s.Outcome[4] = math.Inf(1) }), 4, "Outcome"},
		"visit":         {bad(func(s *mixed.Followed) { s.Visit[5] = 3 }), 5, "Visit"},
		"subject":       {bad(func(s *mixed.Followed) { s.Subject[5] = -1 }), 5, "Subject"},
		"visit twice":   {bad(func(s *mixed.Followed) { s.Visit[1] = s.Visit[0] }), 1, "Visit"},
		"two groups":    {bad(func(s *mixed.Followed) { s.Group[1] = 1 - s.Group[0] }), 1, "Group"},
		"group":         {bad(func(s *mixed.Followed) { s.Group[1] = 7 }), 1, "Group"},
		"covariate":     {bad(func(s *mixed.Followed) { s.Covariates[0].Values[2] = math.NaN() }), 2, "x0"},
		"two patients":  {bad(func(s *mixed.Followed) { s.Patient = slices.Clone(s.Subject); s.Patient[1] = 999 }), 1, "Patient"},
		"before it due": {bad(func(s *mixed.Followed) { s.Due = slices.Repeat([]int32{3}, len(s.Outcome)); s.Due[2] = s.Visit[2] }), 2, "Due"},
	} {
		_, err := mixed.Trajectories(c.s, mixed.Options{})
		var row *covariates.RowError
		if !errors.As(err, &row) || row.Row != c.row || row.Column != c.column {
			t.Errorf("%s: %v", name, err)
		}
	}
	for name, o := range map[string]mixed.Options{
		"slope alone": {Covariance: mixed.Independent, SubjectSlope: true}, "intercept twice": {SubjectIntercept: true},
		"ML": {Likelihood: true}, "structure": {Covariance: 99}, "degrees": {Degrees: 99},
	} {
		if _, err := mixed.Trajectories(s, o); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	if _, err := mixed.Trajectories(bad(func(s *mixed.Followed) { s.Group = s.Group[:4] }), mixed.Options{}); err == nil {
		t.Error("a short column is accepted")
	}
	for s := mixed.Converged; s <= mixed.TooFewDegrees; s++ {
		if s.String() == "" || s.String() == "unknown status" {
			t.Errorf("status %d has no words", s)
		}
	}
}

// wild draws data that no study has: few rows, columns that repeat, scores on a grid, cells without anybody. Whatever comes, there is no
// panic and no number that is none.
func TestWildData(t *testing.T) {
	for replicate := range uint64(400) {
		r := random.Stream(10, "wild", replicate)
		s := mixed.Followed{Groups: []string{"A", "B", "C"}[:1+r.IntN(3)], Data: mixed.Data{Visits: []string{"a", "b", "c", "d"}[:1+r.IntN(4)]}}
		grid, columns := float64(1+r.IntN(20)), r.IntN(3)
		for j := range columns {
			s.Covariates = append(s.Covariates, covariates.Column{Name: string(rune('x' + j))})
			s.ByVisit = append(s.ByVisit, r.IntN(2) == 0)
		}
		for i := range int32(1 + r.IntN(14)) {
			level, group, z := r.NormFloat64(), int32(r.IntN(len(s.Groups))), math.Round(2*r.NormFloat64())
			for v := range int32(len(s.Visits)) {
				if r.IntN(3) == 0 {
					continue
				}
				s.Outcome = append(s.Outcome, math.Round(grid*(level+r.NormFloat64()))*math.Pow(10, float64(r.IntN(2))))
				s.Subject, s.Visit, s.Group, s.Patient = append(s.Subject, i), append(s.Visit, v), append(s.Group, group), append(s.Patient, i/2)
				for j := range columns {
					s.Covariates[j].Values = append(s.Covariates[j].Values, z+float64(j*r.IntN(2)))
				}
			}
		}
		o := mixed.Options{Covariance: mixed.Structure(r.IntN(5)), Degrees: mixed.Degrees(r.IntN(2)), PatientIntercept: r.IntN(2) == 0}
		o.SubjectIntercept = o.Covariance > mixed.CompoundSymmetric && r.IntN(2) == 0
		o.SubjectSlope = o.SubjectIntercept && r.IntN(2) == 0
		o.Likelihood = o.Degrees == mixed.Satterthwaite && r.IntN(2) == 0
		f, err := mixed.Trajectories(s, o)
		if err != nil {
			t.Fatal(replicate, err)
		}
		numbers := []any{f.Fit.Criteria(), f.Fit.Parameters, f.ChangeTest(), f.GroupTest(), f.Fit.Coefficient, f.Fit.Variance}
		if x := f.Fit.Residuals(); x != nil {
			numbers = append(numbers, *x)
		}
		shift := mixed.Shift{Delta: slices.Repeat([]float64{-3}, len(f.Cells)), Between: r.IntN(2) == 0}
		for v := range s.Visits {
			for g := range s.Groups {
				numbers = append(numbers, f.Mean(v, g, nil, 0.95), f.ShiftedMean(v, g, nil, shift, 0.95), f.Change(g, 0, v, nil, 0.95), f.Difference(v, g, 0, 0.95),
					f.TippingPoint(v, g, 0, shift, 0.95, 50))
			}
		}
		for _, x := range numbers {
			if bad := notANumber(reflect.ValueOf(x)); bad {
				t.Errorf("replicate %d, %s: %+v", replicate, o.Name(), x)
			}
		}
	}
}

// notANumber looks for NaN in anything. Degrees of freedom may be infinite; nothing may be NaN.
func notANumber(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Float64:
		return math.IsNaN(v.Float())
	case reflect.Slice:
		for i := range v.Len() {
			if notANumber(v.Index(i)) {
				return true
			}
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if notANumber(v.Field(i)) {
				return true
			}
		}
	}
	return false
}
