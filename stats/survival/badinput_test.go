package survival_test

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"testing"

	"deltoid/stats/survival"
)

// finite fails where any number in a result, however deep, is not a number, or is infinite.
func finite(t *testing.T, what string, v reflect.Value) {
	t.Helper()
	switch v.Kind() {
	case reflect.Float64:
		if x := v.Float(); math.IsNaN(x) || math.IsInf(x, 0) {
			t.Errorf("%s: %v", what, x)
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			finite(t, what, v.Index(i))
		}
	case reflect.Pointer:
		if !v.IsNil() {
			finite(t, what, v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				finite(t, what+"."+v.Type().Field(i).Name, v.Field(i))
			}
		}
	}
}

// poor is data of which little or nothing can be estimated. Group 0 is what the row of the table is
// about.
type poor struct {
	data survival.Data
	// What is said about group 0 at time 5, of its limits there, its median, its mean to 5, its hazard
	// at 5 smoothed over 2, and the tests of all groups, independent and clustered.
	point, limits, median, mean, hazard, test, clustered survival.Status
}

var poorSets = map[string]poor{
	"no rows": {survival.Data{Groups: 2},
		survival.NoRows, survival.NoRows, survival.NoRows, survival.NoRows, survival.NoRows, survival.NoEvents, survival.NoEvents},
	"a group of nobody": {survival.Data{Exit: []int32{3, 9}, Cause: []uint8{1, 1}, Group: []int32{1, 1}, Groups: 2},
		survival.NoRows, survival.NoRows, survival.NoRows, survival.NoRows, survival.NoRows, survival.NotComparable, survival.NotComparable},
	"one group": {survival.Data{Exit: []int32{3, 9, 9}, Cause: []uint8{1, 0, 0}},
		survival.Estimated, survival.Estimated, survival.NotReached, survival.Estimated, survival.Estimated, survival.NotComparable, survival.NotComparable},
	"all at one time": {survival.Data{Exit: []int32{7, 7, 7, 7}, Cause: []uint8{1, 1, 1, 1}, Group: []int32{0, 0, 1, 1}, Groups: 2},
		survival.Estimated, survival.NoEvents, survival.Estimated, survival.Estimated, survival.Estimated, survival.NotComparable, survival.NotComparable},
	"all on day 0": {survival.Data{Exit: []int32{0, 0, 0, 0}, Cause: []uint8{1, 1, 0, 1}, Group: []int32{0, 0, 1, 1}, Groups: 2},
		survival.Estimated, survival.AtBound, survival.Estimated, survival.Estimated, survival.BeyondFollowUp, survival.Estimated, survival.Estimated},
	"everyone censored": {survival.Data{Exit: []int32{6, 7, 8, 9}, Cause: []uint8{0, 0, 0, 0}, Group: []int32{0, 0, 1, 1}, Groups: 2},
		survival.NoEvents, survival.NoEvents, survival.NotReached, survival.Estimated, survival.Estimated, survival.NoEvents, survival.NoEvents},
	"no event in the group": {survival.Data{Exit: []int32{6, 7, 3, 9}, Cause: []uint8{0, 0, 1, 0}, Group: []int32{0, 0, 1, 1}, Groups: 2},
		survival.NoEvents, survival.NoEvents, survival.NotReached, survival.Estimated, survival.Estimated, survival.Estimated, survival.Estimated},
	"groups of one": {survival.Data{Exit: []int32{6, 3}, Cause: []uint8{1, 1}, Group: []int32{0, 1}, Groups: 2},
		survival.Estimated, survival.NoEvents, survival.Estimated, survival.Estimated, survival.Estimated, survival.Estimated, survival.Estimated},
	"one row that ends at once": {survival.Data{Exit: []int32{0}, Cause: []uint8{0}},
		survival.BeyondFollowUp, survival.BeyondFollowUp, survival.NotReached, survival.BeyondFollowUp, survival.BeyondFollowUp, survival.NoEvents, survival.NoEvents},
	"beyond follow-up": {survival.Data{Exit: []int32{2, 4, 3, 9}, Cause: []uint8{1, 0, 1, 0}, Group: []int32{0, 0, 1, 1}, Groups: 2},
		survival.BeyondFollowUp, survival.BeyondFollowUp, survival.Estimated, survival.BeyondFollowUp, survival.BeyondFollowUp, survival.Estimated, survival.Estimated},
	"nobody at risk for a while": {survival.Data{Entry: []int32{0, 6, 0, 0}, Exit: []int32{2, 20, 3, 9}, Cause: []uint8{0, 1, 1, 0}, Group: []int32{0, 0, 1, 1}, Groups: 2},
		survival.NobodyAtRisk, survival.NobodyAtRisk, survival.Estimated, survival.Estimated, survival.NobodyAtRisk, survival.NotComparable, survival.NotComparable},
	"weights of 0": {survival.Data{Exit: []int32{3, 9, 4, 8}, Cause: []uint8{1, 0, 1, 0}, Group: []int32{0, 0, 1, 1}, Weight: []float64{0, 0, 0, 0}, Groups: 2},
		survival.NoWeight, survival.NoWeight, survival.NoWeight, survival.NoWeight, survival.NoWeight, survival.Estimated, survival.NotComparable},
	"a group of weights of 0": {survival.Data{Exit: []int32{3, 9, 4, 8}, Cause: []uint8{1, 0, 1, 0}, Group: []int32{0, 0, 1, 1}, Weight: []float64{0, 0, 1, 2}, Groups: 2},
		survival.NoWeight, survival.NoWeight, survival.NoWeight, survival.NoWeight, survival.NoWeight, survival.Estimated, survival.NotComparable},
	"only weights of 0 left": {survival.Data{Exit: []int32{3, 4, 9, 9}, Cause: []uint8{1, 0, 0, 1}, Weight: []float64{2, 1, 0, 0}},
		survival.NoWeight, survival.NoWeight, survival.Estimated, survival.NoWeight, survival.NoWeight, survival.NotComparable, survival.NotComparable},
	"one cluster": {survival.Data{Exit: []int32{3, 9, 4, 8}, Cause: []uint8{1, 0, 1, 0}, Group: []int32{0, 0, 1, 1}, Cluster: []int32{4, 4, 4, 4}, Groups: 2},
		survival.Estimated, survival.OneCluster, survival.Estimated, survival.Estimated, survival.Estimated, survival.Estimated, survival.OneCluster},
}

// Nothing here gives a NaN or a panic, and every estimate that is not there says why.
func TestPoorData(t *testing.T) {
	for name, x := range poorSets {
		t.Run(name, func(t *testing.T) {
			d := x.data
			counts := mustCount(t, d)
			curve := counts.ProductLimit(0, 1)
			if d.Weight != nil || d.Cluster != nil {
				var err error
				if curve, err = curve.Robust(d); err != nil {
					t.Fatal(err)
				}
			}
			checkPoor(t, curve, &x)
			checkPoorTests(t, d, counts, &x)
			for g := range counts.Groups() {
				spans, err := counts.Spans(g, 2, 5)
				if err != nil {
					t.Fatal(err)
				}
				finite(t, "spans", reflect.ValueOf(spans))
				finite(t, "life table", reflect.ValueOf(counts.LifeTable(g)))
			}
			finite(t, "pooled", reflect.ValueOf(counts.Pooled().LifeTable(0)))
			if counts.Groups() > 1 && d.Weight == nil && d.Entry == nil {
				b, err := counts.BootstrapDifference(0, 1, 1, 5, survival.Resampling{Replicates: 60, Seed: 1, Level: 0.95})
				if err != nil || b.Status != survival.Estimated && b.Value != 0 {
					t.Errorf("bootstrap: %+v, %v", b, err)
				}
				finite(t, "bootstrap", reflect.ValueOf(b))
			}
		})
	}
}

func checkPoor(t *testing.T, curve *survival.Curve, x *poor) {
	t.Helper()
	says := func(what string, got, want survival.Status) {
		if got != want {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	finite(t, "curve", reflect.ValueOf(curve))
	finite(t, "hazard", reflect.ValueOf(curve.Hazard()))
	for _, scale := range []survival.Scale{survival.LogLog, survival.Plain, survival.Log, survival.Logit, survival.ArcsineRoot} {
		p, err := curve.Interval(5, 0.95, scale)
		if err != nil {
			t.Fatal(err)
		}
		says("point", p.Status, x.point)
		says("limits", p.Limits, x.limits)
		finite(t, "point", reflect.ValueOf(p))
		finite(t, "complement", reflect.ValueOf(p.Complement()))
		if p.Limits != survival.Estimated && (p.SE != 0 || p.Lower != 0 || p.Upper != 0) {
			t.Errorf("limits that are not there: %+v", p)
		}
		self, err := p.Minus(p, 0)
		if err != nil {
			t.Fatal(err)
		}
		finite(t, "difference", reflect.ValueOf(self))
		test, err := p.Differs(p, scale, 0)
		if err != nil {
			t.Fatal(err)
		}
		finite(t, "test at a time", reflect.ValueOf(test))
		q, err := curve.Quantile(0.5, 0.95, scale)
		if err != nil {
			t.Fatal(err)
		}
		says("median", q.Status, x.median)
		finite(t, "median", reflect.ValueOf(q))
	}
	for _, at := range []float64{-1, math.NaN(), math.Inf(-1)} {
		if p := curve.At(at); p.Status == survival.Estimated || p.Value != 0 && p.Status != survival.NoEvents {
			t.Errorf("at %v: %+v", at, p)
		}
	}
	if p := curve.At(math.Inf(1)); p.Status == survival.Estimated && curve.Survival[len(curve.Survival)-1] > 0 {
		t.Errorf("at the end of time: %+v", p)
	}
	m, err := curve.RestrictedMean(5, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	says("mean", m.Status, x.mean)
	finite(t, "mean", reflect.ValueOf(m))
	for _, contrast := range []func(survival.Mean, float64) (survival.Contrast, error){m.Minus, m.Over} {
		c, err := contrast(m, 0)
		if err != nil {
			t.Fatal(err)
		}
		finite(t, "contrast of means", reflect.ValueOf(c))
	}
	rates, err := curve.SmoothHazard(2, []float64{5}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	says("smoothed hazard", rates[0].Status, x.hazard)
	finite(t, "smoothed hazard", reflect.ValueOf(rates))
	finite(t, "influence", reflect.ValueOf(curve.Influence(5).With(curve.Influence(5))))
	finite(t, "influence", reflect.ValueOf(curve.MeanInfluence(5).With(curve.MeanInfluence(5))))
}

func checkPoorTests(t *testing.T, d survival.Data, counts *survival.Counts, x *poor) {
	t.Helper()
	early, err := survival.FlemingHarrington(1, 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range []survival.Weighting{survival.Equal, survival.GehanBreslow, survival.TaroneWare, survival.PetoPrentice, early} {
		tests := map[string]*survival.Test{}
		clustered, err := survival.ClusteredLogRank(1, w, d, nil, 1)
		if err != nil {
			t.Fatal(err)
		}
		tests["clustered"] = clustered
		if clustered.Status != x.clustered {
			t.Errorf("clustered %v: %v, want %v", w, clustered.Status, x.clustered)
		}
		if d.Weight == nil {
			plain, err := survival.LogRank(1, w, counts)
			if err != nil {
				t.Fatal(err)
			}
			tests["independent"] = plain
			if plain.Status != x.test {
				t.Errorf("%v: %v, want %v", w, plain.Status, x.test)
			}
			pairs, err := survival.Pairwise(1, w, counts)
			if err != nil {
				t.Fatal(err)
			}
			finite(t, "pairs", reflect.ValueOf(pairs))
		}
		for name, test := range tests {
			finite(t, name, reflect.ValueOf(test))
			if test.Status != survival.Estimated && (test.ChiSquare != 0 || test.P != 0) {
				t.Errorf("%s: a result that is not there: %+v", name, test)
			}
			scores := make([]float64, len(test.N))
			for i := range scores {
				scores[i] = float64(i)
			}
			trend, err := test.Trend(scores)
			if err != nil {
				t.Fatal(err)
			}
			finite(t, "trend", reflect.ValueOf(trend))
		}
	}
}

// What cannot be a row is refused with its row and column, by every way in.
func TestRowsThatCannotBe(t *testing.T) {
	good := func() survival.RealData {
		return survival.RealData{Entry: []float64{0, 1, 0}, Exit: []float64{5, 6, 7}, Cause: []uint8{1, 0, 1}, Group: []int32{0, 1, 0},
			Weight: []float64{1, 2, 3}, Cluster: []int32{0, 0, 1}, Groups: 2}
	}
	for name, spoil := range map[string]func(d *survival.RealData){
		"Exit -1":     func(d *survival.RealData) { d.Exit[1] = -1 },
		"Exit NaN":    func(d *survival.RealData) { d.Exit[1] = math.NaN() },
		"Exit +Inf":   func(d *survival.RealData) { d.Exit[1] = math.Inf(1) },
		"Entry -2":    func(d *survival.RealData) { d.Entry[1] = -2 },
		"Entry NaN":   func(d *survival.RealData) { d.Entry[1] = math.NaN() },
		"Entry 6":     func(d *survival.RealData) { d.Entry[1] = 6 },
		"Cause 2":     func(d *survival.RealData) { d.Cause[1] = 2 },
		"Group 2":     func(d *survival.RealData) { d.Group[1] = 2 },
		"Group -1":    func(d *survival.RealData) { d.Group[1] = -1 },
		"Weight -0.5": func(d *survival.RealData) { d.Weight[1] = -0.5 },
		"Weight NaN":  func(d *survival.RealData) { d.Weight[1] = math.NaN() },
		"Weight +Inf": func(d *survival.RealData) { d.Weight[1] = math.Inf(1) },
		"Cluster -1":  func(d *survival.RealData) { d.Cluster[1] = -1 },
	} {
		d := good()
		spoil(&d)
		_, err1 := survival.CountReal(d)
		_, err2 := survival.LayOutReal(d)
		for _, err := range []error{err1, err2} {
			var bad *survival.RowError
			if !errors.As(err, &bad) || bad.Row != 1 || fmt.Sprint(bad.Column, " ", bad.Found) != name || bad.Want == "" {
				t.Errorf("%s: %v", name, err)
			}
		}
		if days, ok := whole(d); ok {
			days.Weight, days.Cluster = d.Weight, d.Cluster
			_, err1 := survival.Count(days)
			_, err2 := survival.LayOut(days)
			_, err3 := survival.CountByStratum(days, []int32{0, 0, 0}, 1)
			_, err4 := survival.ClusteredLogRank(1, survival.Equal, days, nil, 1)
			for _, err := range []error{err1, err2, err3, err4, days.Check()} {
				var bad *survival.RowError
				if !errors.As(err, &bad) || bad.Row != 1 {
					t.Errorf("%s: %v", name, err)
				}
			}
		}
	}
	for _, horizon := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, err := mustCount(t, survival.Data{Exit: []int32{1}, Cause: []uint8{1}}).ProductLimit(0, 1).RestrictedMean(horizon, 0.95); err == nil {
			t.Errorf("a horizon of %v was accepted", horizon)
		}
	}
}
