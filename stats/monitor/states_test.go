package monitor_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"deltoid/stats/monitor"
	"deltoid/stats/survival"
)

func TestWhatCannotBeEstimatedSaysSo(t *testing.T) {
	none, day0, quiet, busy := monitor.Tally{}, monitor.Tally{Events: 2}, monitor.Tally{Exposure: 50}, monitor.Tally{Events: 3, Exposure: 20}
	for _, c := range []struct {
		tally monitor.Tally
		want  monitor.Status
	}{{none, monitor.NoExposure}, {day0, monitor.NoExposure}, {monitor.Tally{Events: 2, Exposure: 1e-310}, monitor.NoExposure},
		{quiet, monitor.Estimated}, {busy, monitor.Estimated}, {monitor.Tally{Events: 1, Exposure: 1e-9}, monitor.Estimated}} {
		r := rate(t, c.tally.Events, c.tally.Exposure, 100, 0.95, monitor.Exact)
		if r.Status != c.want || r.Status != monitor.Estimated && (r.Value != 0 || r.Upper != 0) {
			t.Errorf("%+v: %+v, want %v", c.tally, r, c.want)
		}
	}
	for _, c := range []struct {
		first, second monitor.Tally
		want          monitor.Status
	}{{busy, none, monitor.NoExposure}, {none, busy, monitor.NoExposure}, {day0, busy, monitor.NoExposure}, {quiet, quiet, monitor.NoEvents},
		{busy, quiet, monitor.NoReference}, {quiet, busy, monitor.Estimated}, {busy, busy, monitor.Estimated}} {
		r := ratio(t, c.first, c.second, monitor.MidP)
		if r.Status != c.want {
			t.Errorf("%+v over %+v: %v, want %v", c.first, c.second, r.Status, c.want)
		}
		if r.Status == monitor.NoReference && (r.Lower <= 0 || r.P <= 0 || r.Upper != 0 || r.Value != 0) {
			t.Errorf("without reference events: %+v", r)
		}
	}
	for _, c := range []struct {
		tallies []monitor.Tally
		want    monitor.Status
		df      int
	}{{nil, monitor.NotComparable, 0}, {[]monitor.Tally{busy}, monitor.NotComparable, 0}, {[]monitor.Tally{busy, none}, monitor.NotComparable, 0},
		{[]monitor.Tally{quiet, quiet}, monitor.NoEvents, 0}, {[]monitor.Tally{quiet, busy, day0}, monitor.Estimated, 1}} {
		test, err := monitor.Homogeneity(c.tallies)
		if err != nil || test.Status != c.want || test.DF != c.df {
			t.Errorf("%+v: %+v, %v", c.tallies, test, err)
		}
	}
}

func TestWhatCannotBeIsRefused(t *testing.T) {
	good := monitor.Tally{Events: 1, Exposure: 1}
	for _, bad := range []monitor.Tally{{-1, 1}, {1, -1}, {1, math.NaN()}, {1, math.Inf(1)}} {
		_, e1 := bad.Rate(1, 0.95, monitor.Exact)
		_, e2 := monitor.Ratio(good, bad, 0.95, monitor.Exact)
		_, e3 := monitor.Difference(bad, good, 1, 0.95, monitor.Exact)
		_, e4 := monitor.Homogeneity([]monitor.Tally{good, bad})
		if e1 == nil || e2 == nil || e3 == nil || e4 == nil {
			t.Errorf("%+v: errors %v, %v, %v, %v", bad, e1, e2, e3, e4)
		}
	}
	for _, c := range []struct{ per, level float64 }{{0, 0.95}, {math.NaN(), 0.95}, {math.Inf(1), 0.95}, {1, 95}, {1, 0.05}, {1, math.NaN()}, {1, 1}} {
		if _, err := good.Rate(c.per, c.level, monitor.Exact); err == nil {
			t.Errorf("per %v at level %v is accepted", c.per, c.level)
		}
	}
	if _, err := good.Rate(1, 0.95, 2); err == nil {
		t.Error("a form that does not exist is accepted")
	}
	counts, err := survival.Count(survival.Data{Exit: []int32{3}, Cause: []uint8{1}})
	if err != nil {
		t.Fatal(err)
	}
	for _, cuts := range [][]float64{{0}, {-1}, {2, 2}, {3, 1}, {math.NaN()}, {math.Inf(1)}} {
		if _, err := monitor.Stretches(counts, 0, 1, cuts...); err == nil {
			t.Errorf("cuts %v are accepted", cuts)
		}
	}
	if _, err := monitor.Stretches(counts, 0, 2); err == nil {
		t.Error("a cause that was not counted is accepted")
	}
}

// Whatever goes in, nothing that comes out is NaN or infinite, limits embrace the value, and a rate
// in other units of time is the same rate.
func TestNothingOddComesOut(t *testing.T) {
	exposures := rapid.OneOf(rapid.Float64Range(0, 1e-300), rapid.Float64Range(0, 10), rapid.Float64Range(0, 1e270), rapid.Just(0.0))
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) monitor.Tally {
			return monitor.Tally{Events: rapid.OneOf(rapid.Int64Range(0, 5), rapid.Int64Range(0, 100_000)).Draw(t, name), Exposure: exposures.Draw(t, name)}
		}
		a, b := draw("first"), draw("second")
		form := monitor.Form(rapid.IntRange(0, 1).Draw(t, "form"))
		level := rapid.Float64Range(0.51, 0.999).Draw(t, "level")
		r, err1 := a.Rate(100, level, form)
		q, err2 := monitor.Ratio(a, b, level, form)
		d, err3 := monitor.Difference(a, b, 100, level, form)
		h, err4 := monitor.Homogeneity([]monitor.Tally{a, b})
		if err1 != nil || err2 != nil || err3 != nil || err4 != nil {
			t.Fatal(err1, err2, err3, err4)
		}
		for _, x := range []float64{r.Value, r.Lower, r.Upper, q.Value, q.Lower, q.Upper, q.P, d.Value, d.Lower, d.Upper, h.ChiSquare, h.P} {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				t.Fatalf("%+v %+v %+v %+v", r, q, d, h)
			}
		}
		if r.Lower > r.Value || r.Upper < r.Value || d.Lower > d.Value || d.Upper < d.Value || q.P < 0 || q.P > 1 {
			t.Fatalf("%+v %+v %+v", r, q, d)
		}
		if q.Status == monitor.Estimated && (q.Lower > q.Value || q.Upper < q.Value || (q.P < 1-level) != (q.Lower > 1 || q.Upper < 1)) {
			t.Fatalf("%+v", q)
		}
	})
}

func TestOthersAreTheRest(t *testing.T) {
	got := monitor.Others([]monitor.Tally{{1, 10}, {2, 0.25}, {4, 1e6}})
	want := []monitor.Tally{{6, 1000000.25}, {5, 1000010}, {3, 10.25}}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("others of %d: %+v, want %+v", i, got[i], want[i])
		}
	}
	if len(monitor.Others(nil)) != 0 {
		t.Error("others of nobody")
	}
}
