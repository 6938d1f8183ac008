package competing_test

import (
	"math"
	"reflect"
	"testing"

	"deltoid/stats/competing"
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

// Nothing here gives a NaN or a panic, and every estimate that is not there says why: what is said of
// group 0 at time 5, of its limits, and by the tests of all groups, independent and clustered. A test
// that refuses rows (late entries) has no state to compare.
func TestPoorData(t *testing.T) {
	const refused = survival.Status(255)
	for name, x := range map[string]struct {
		data                           survival.Data
		point, limits, test, clustered survival.Status
	}{
		"no rows": {survival.Data{Groups: 2, Causes: 2}, survival.NoRows, survival.NoRows, survival.NoEvents, survival.NoEvents},
		"a group of nobody": {survival.Data{Exit: []int32{3, 9}, Cause: []uint8{1, 2}, Group: []int32{1, 1}, Groups: 2, Causes: 2},
			survival.NoRows, survival.NoRows, survival.NotComparable, survival.NotComparable},
		"one group": {survival.Data{Exit: []int32{3, 9, 9}, Cause: []uint8{1, 0, 2}, Causes: 2}, survival.Estimated, survival.Estimated, survival.NotComparable, survival.NotComparable},
		"all at one time": {survival.Data{Exit: []int32{5, 5, 5, 5}, Cause: []uint8{1, 1, 1, 1}, Group: []int32{0, 0, 1, 1}, Groups: 2, Causes: 2},
			survival.Estimated, survival.AtBound, survival.NotComparable, survival.NotComparable},
		"all on day 0": {survival.Data{Exit: []int32{0, 0, 0, 0}, Cause: []uint8{1, 2, 2, 2}, Group: []int32{0, 0, 1, 1}, Groups: 2, Causes: 2},
			survival.Estimated, survival.Estimated, survival.Estimated, survival.Estimated},
		"everyone censored": {survival.Data{Exit: []int32{6, 7, 8, 9}, Cause: []uint8{0, 0, 0, 0}, Group: []int32{0, 0, 1, 1}, Groups: 2, Causes: 2},
			survival.NoEvents, survival.NoEvents, survival.NoEvents, survival.NoEvents},
		"only other events": {survival.Data{Exit: []int32{3, 7, 8, 9}, Cause: []uint8{2, 2, 2, 0}, Group: []int32{0, 0, 1, 1}, Groups: 2, Causes: 2},
			survival.NoEvents, survival.NoEvents, survival.NoEvents, survival.NoEvents},
		"groups of one": {survival.Data{Exit: []int32{6, 3}, Cause: []uint8{1, 1}, Group: []int32{0, 1}, Groups: 2, Causes: 2},
			survival.Estimated, survival.NoEvents, survival.Estimated, survival.Estimated},
		"beyond follow-up": {survival.Data{Exit: []int32{2, 4, 3, 9}, Cause: []uint8{1, 0, 2, 0}, Group: []int32{0, 0, 1, 1}, Groups: 2, Causes: 2},
			survival.BeyondFollowUp, survival.BeyondFollowUp, survival.Estimated, survival.Estimated},
		"nobody at risk for a while": {survival.Data{Entry: []int32{0, 6}, Exit: []int32{2, 20}, Cause: []uint8{0, 1}, Causes: 2},
			survival.NobodyAtRisk, survival.NobodyAtRisk, refused, refused},
		"weights of 0": {survival.Data{Exit: []int32{3, 9, 4, 8}, Cause: []uint8{1, 2, 1, 0}, Group: []int32{0, 0, 1, 1}, Weight: []float64{0, 0, 0, 0}, Groups: 2, Causes: 2},
			survival.NoWeight, survival.NoWeight, refused, survival.NotComparable},
		"one cluster": {survival.Data{Exit: []int32{3, 9, 4, 8}, Cause: []uint8{1, 2, 1, 0}, Group: []int32{0, 0, 1, 1}, Cluster: []int32{4, 4, 4, 4}, Groups: 2, Causes: 2},
			survival.Estimated, survival.OneCluster, survival.Estimated, survival.OneCluster},
	} {
		t.Run(name, func(t *testing.T) {
			counts := mustCount(t, x.data)
			set := competing.All(counts, 0)
			finite(t, "set", reflect.ValueOf(set))
			for cause := 1; cause <= 2; cause++ {
				curve := set.Cause(cause)
				if x.data.Weight != nil || x.data.Cluster != nil {
					var err error
					if curve, err = curve.Robust(x.data); err != nil {
						t.Fatal(err)
					}
				}
				finite(t, "curve", reflect.ValueOf(curve))
				finite(t, "influence", reflect.ValueOf(curve.Influence(5).With(curve.Influence(5))))
				for _, form := range []competing.Variance{curve.Variance(), competing.Delta, competing.Aalen, competing.Jackknife} {
					for _, at := range []float64{0, 5, 100, -1, math.NaN(), math.Inf(1)} {
						if p := curve.Using(form).At(at); !math.IsNaN(at) && !math.IsInf(at, 0) {
							finite(t, "point", reflect.ValueOf(p))
						} else if p.Status == survival.Estimated && at != math.Inf(1) {
							t.Errorf("at %v: %+v", at, p)
						}
					}
				}
				if p := curve.At(5); cause == 1 && (p.Status != x.point || p.Limits != x.limits) {
					t.Errorf("point %v, limits %v, want %v and %v", p.Status, p.Limits, x.point, x.limits)
				}
			}
			for _, rho := range []float64{0, 1, 0.5, -1} {
				plain, err := competing.Gray(1, rho, counts)
				checkPoorTest(t, "independent", plain, err, x.test, refused, rho)
				clustered, err := competing.ClusteredGray(1, rho, x.data, nil, 1)
				checkPoorTest(t, "clustered", clustered, err, x.clustered, refused, rho)
			}
		})
	}
}

func checkPoorTest(t *testing.T, what string, got *competing.Test, err error, want, refused survival.Status, rho float64) {
	t.Helper()
	if want == refused {
		if err == nil {
			t.Errorf("%s: %+v, want an error", what, got)
		}
		return
	}
	if err != nil {
		t.Fatal(err)
	}
	finite(t, what, reflect.ValueOf(got))
	if rho == 0 && got.Status != want {
		t.Errorf("%s: %v, want %v", what, got.Status, want)
	}
	if got.Status != survival.Estimated && (got.ChiSquare != 0 || got.P != 0) {
		t.Errorf("%s: a result that is not there: %+v", what, got)
	}
}
