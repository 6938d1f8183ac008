package survival_test

import (
	"math"
	"testing"

	"deltoid/stats/references"
	"deltoid/stats/survival"
)

func printed(t *testing.T, what string, got, want float64, decimals int) {
	t.Helper()
	if math.Abs(got-want) > 0.51*math.Pow(10, -float64(decimals)) {
		t.Errorf("%s: %.*f, printed %.*f", what, decimals+2, got, decimals, want)
	}
}

// The 6-MP trial (Freireich et al., Blood 21 (1963) 699–716; data as in Introductory Biostatistics,
// example 11.1): survival of the 6-MP arm to the printed digits of the textbook table, standard
// errors and intervals recomputed with R and rounded as listed.
func TestSixMP(t *testing.T) {
	f := references.Read(t, "../../testdata/published/data/gehan_6mp.csv")
	d := survival.RealData{Exit: numbers(f, "time"), Group: groups(t, f, "grp", []string{"6-MP", "placebo"}), Groups: 2}
	for _, s := range numbers(f, "status") {
		d.Cause = append(d.Cause, uint8(s))
	}
	counts := countBoth(t, d)
	curve := counts.ProductLimit(0, 1)
	for _, want := range []struct {
		t                   float64
		risk                int64
		s, se, lower, upper float64
	}{
		{6, 21, 0.8571, 0.07636, 0.6197, 0.9516}, {7, 17, 0.8067, 0.08694, 0.5631, 0.9228},
		{10, 15, 0.7529, 0.09635, 0.5032, 0.8894}, {13, 12, 0.6902, 0.10681, 0.4316, 0.8491},
		{16, 11, 0.6275, 0.11405, 0.3675, 0.8049}, {22, 7, 0.5378, 0.12823, 0.2678, 0.7468},
		{23, 6, 0.4482, 0.13459, 0.1881, 0.6801},
	} {
		p := curve.At(want.t)
		if p.AtRisk != want.risk {
			t.Errorf("at risk at %v: %d, printed %d", want.t, p.AtRisk, want.risk)
		}
		printed(t, "survival", p.Value, want.s, 4)
		printed(t, "standard error", p.SE, want.se, 5)
		printed(t, "lower", p.Lower, want.lower, 4)
		printed(t, "upper", p.Upper, want.upper, 4)
	}
	end := counts.ProductLimit(1, 1).At(23)
	if end.Value != 0 || end.Status != survival.Estimated || end.Limits != survival.AtBound || end.SE != 0 {
		t.Errorf("placebo at 23: %+v, want 0 without a standard error", end)
	}
	median := curve.Median()
	if median.Time != 23 || median.Lower != 13 || median.UpperStatus != survival.NotReached || median.AtRisk != 6 {
		t.Errorf("median %+v, printed 23 (13 to not reached)", median)
	}
	median = counts.ProductLimit(1, 1).Median()
	if median.Time != 8 || median.Lower != 4 || median.Upper != 11 {
		t.Errorf("placebo median %+v, printed 8 (4 to 11)", median)
	}
}

// Six subjects with an event, a censoring and a table tick on one day, solved in exact fractions
// (therneau/survival, vignettes/validate.Rnw and tests/book1.R). Table, figure data and
// denominators are compared cell by cell.
func TestSixSubjects(t *testing.T) {
	counts := mustCount(t, survival.Data{Exit: []int32{1, 1, 6, 6, 8, 9}, Cause: []uint8{1, 0, 1, 1, 0, 1}})
	curve := counts.ProductLimit(0, 1)
	for _, want := range []struct {
		t        float64
		risk     int64
		num, den float64
		se       float64
	}{
		{0, 6, 1, 1, 0}, {1, 6, 5, 6, 0.152145155}, {6, 4, 5, 12, 0.221787770},
		{7, 2, 5, 12, 0.221787770}, {8, 2, 5, 12, 0.221787770}, {9, 1, 0, 1, 0},
	} {
		p := curve.At(want.t)
		if p.AtRisk != want.risk || counts.AtRisk(0, want.t) != want.risk {
			t.Errorf("at risk at %v: %d, want %d", want.t, p.AtRisk, want.risk)
		}
		if math.Abs(p.Value-want.num/want.den) > 1e-16 {
			t.Errorf("S(%v) = %v, want %v/%v", want.t, p.Value, want.num, want.den)
		}
		printed(t, "standard error", p.SE, want.se, 9)
	}
	for i, want := range []struct{ t, risk, events, censored int64 }{{1, 6, 1, 1}, {6, 4, 2, 0}, {8, 2, 0, 1}, {9, 1, 1, 0}} {
		if int64(curve.Time[i]) != want.t || curve.AtRisk[i] != want.risk || curve.Events[i] != want.events || curve.Censored[i] != want.censored {
			t.Errorf("row %d: %v %d %d %d, want %v", i, curve.Time[i], curve.AtRisk[i], curve.Events[i], curve.Censored[i], want)
		}
	}
}

// Nine stretches with late entries, in exact fractions (the same source, test 2).
func TestLateEntries(t *testing.T) {
	counts := mustCount(t, survival.Data{
		Entry: []int32{1, 2, 5, 2, 1, 7, 3, 4, 8, 8},
		Exit:  []int32{2, 3, 6, 7, 8, 9, 9, 9, 14, 17},
		Cause: []uint8{1, 1, 1, 1, 1, 1, 1, 0, 0, 0},
	})
	curve := counts.ProductLimit(0, 1)
	for _, want := range []struct{ t, s float64 }{{2, 1. / 2}, {3, 1. / 3}, {6, 4. / 15}, {7, 1. / 5}, {8, 3. / 20}, {9, 9. / 100}} {
		if got := curve.At(want.t).Value; math.Abs(got-want.s) > 1e-16 {
			t.Errorf("S(%v) = %v, want %v", want.t, got, want.s)
		}
	}
	if before, after := counts.AtRisk(0, 3), counts.AtRisk(0, 9); before != 3 || after != 5 {
		t.Errorf("numbers at risk 3 then 5 with late entries, got %d then %d", before, after)
	}
}

func TestMedianCases(t *testing.T) {
	for _, c := range []struct {
		name   string
		exit   []int32
		cause  []uint8
		want   float64
		status survival.Status
	}{
		{"flat at one half", []int32{2, 4, 6, 8}, []uint8{1, 1, 1, 1}, 5, survival.Estimated},
		{"flat at one half to the end", []int32{2, 4, 10, 10}, []uint8{1, 1, 0, 0}, 7, survival.Estimated},
		{"never one half", []int32{2, 4, 6, 8}, []uint8{1, 0, 0, 0}, 0, survival.NotReached},
		{"last step through one half", []int32{2, 4, 6}, []uint8{0, 0, 1}, 6, survival.Estimated},
		{"no events", []int32{2, 4}, []uint8{0, 0}, 0, survival.NotReached},
		{"no rows", []int32{}, []uint8{}, 0, survival.NoRows},
	} {
		m := mustCount(t, survival.Data{Exit: c.exit, Cause: c.cause}).ProductLimit(0, 1).Median()
		if m.Time != c.want || m.Status != c.status {
			t.Errorf("%s: %v (%v), want %v (%v)", c.name, m.Time, m.Status, c.want, c.status)
		}
	}
}

// The curve may be read as far as somebody is at risk, or for good once it has reached 0.
func TestBeyondFollowUp(t *testing.T) {
	counts := mustCount(t, survival.Data{
		Exit: []int32{3, 8, 2, 5}, Cause: []uint8{1, 0, 1, 1}, Group: []int32{0, 0, 1, 1}, Groups: 3,
	})
	for _, want := range []struct {
		group  int
		t      float64
		value  float64
		status survival.Status
	}{
		{0, 8, 0.5, survival.Estimated}, {0, 15, 0, survival.BeyondFollowUp},
		{1, 15, 0, survival.Estimated}, {2, 15, 0, survival.NoRows},
		{0, -1, 0, survival.NobodyAtRisk}, {0, math.NaN(), 0, survival.NobodyAtRisk}, {0, math.Inf(1), 0, survival.BeyondFollowUp},
	} {
		p := counts.ProductLimit(want.group, 1).At(want.t)
		if p.Value != want.value || p.Status != want.status {
			t.Errorf("group %d at %v: %v %v, want %v %v", want.group, want.t, p.Value, p.Status, want.value, want.status)
		}
	}
}

func TestGapsInFollowUp(t *testing.T) {
	counts := mustCount(t, survival.Data{Entry: []int32{0, 0, 5, 5}, Exit: []int32{2, 3, 8, 9}, Cause: []uint8{1, 0, 1, 0}})
	curve := counts.ProductLimit(0, 1)
	if p := curve.At(4); p.Status != survival.NobodyAtRisk {
		t.Errorf("in a gap: %v, want nobody at risk", p.Status)
	}
	if p := curve.At(8); p.Status != survival.Estimated || p.Value != 0.25 {
		t.Errorf("after the gap: %v %v, want 0.25", p.Value, p.Status)
	}
}
