package monitor_test

import (
	"math"
	"testing"

	"deltoid/stats/monitor"
)

// weights returns the probabilities of the counts 0 … most of a Poisson variable.
func weights(mean float64, most int) []float64 {
	w := make([]float64, most+1)
	w[0] = math.Exp(-mean)
	for k := 1; k <= most; k++ {
		w[k] = w[k-1] * mean / float64(k)
	}
	return w
}

// The true coverage of the intervals, added up over all pairs of counts that can come about: no
// simulation. The exact forms must hold their level everywhere; mid-P on average, and nowhere be far
// below it. Exposures 40 and 100, expected events from 0.2 to 12.
func TestCoverageOverAllOutcomes(t *testing.T) {
	const most = 38
	first, second := 40.0, 100.0
	means := []float64{0.2, 0.7, 1.5, 3, 6, 12}
	intervals := map[monitor.Form]*[most + 1][most + 1]monitor.RateDifference{}
	ratios := map[monitor.Form]*[most + 1][most + 1]monitor.RateRatio{}
	for _, form := range []monitor.Form{monitor.Exact, monitor.MidP} {
		intervals[form], ratios[form] = new([most + 1][most + 1]monitor.RateDifference), new([most + 1][most + 1]monitor.RateRatio)
		for i := range int64(most + 1) {
			for j := range int64(most + 1) {
				a, b := monitor.Tally{Events: i, Exposure: first}, monitor.Tally{Events: j, Exposure: second}
				d, err := monitor.Difference(a, b, 1, 0.95, form)
				if err != nil {
					t.Fatal(err)
				}
				intervals[form][i][j], ratios[form][i][j] = d, ratio(t, a, b, form)
			}
		}
	}
	lowest := map[string]float64{}
	sum := map[string]float64{}
	cells := 0.0
	for _, m1 := range means {
		for _, m2 := range means {
			cells++
			w1, w2 := weights(m1, most), weights(m2, most)
			for form, table := range intervals {
				var difference, quotient, all float64
				for i := range w1 {
					for j := range w2 {
						p := w1[i] * w2[j]
						all += p
						if d := table[i][j]; d.Lower <= m1/first-m2/second && m1/first-m2/second <= d.Upper {
							difference += p
						}
						truth := m1 / first / (m2 / second)
						r := ratios[form][i][j]
						if r.Status == monitor.NoEvents || r.Lower <= truth && (r.Status == monitor.NoReference || truth <= r.Upper) {
							quotient += p
						}
					}
				}
				for name, c := range map[string]float64{"difference " + form.String(): difference / all, "ratio " + form.String(): quotient / all} {
					if old, seen := lowest[name]; !seen || c < old {
						lowest[name] = c
					}
					sum[name] += c
				}
			}
		}
	}
	for name, least := range map[string]float64{"difference exact": 0.95, "ratio exact": 0.95, "difference mid-P": 0.92, "ratio mid-P": 0.92} {
		if lowest[name] < least || sum[name]/cells < 0.95 {
			t.Errorf("%s: coverage from %.4f, on average %.4f, want at least %v and 0.95", name, lowest[name], sum[name]/cells, least)
		}
		t.Logf("%s: coverage from %.4f, on average %.4f", name, lowest[name], sum[name]/cells)
	}
}

// Li, Tang, Poon & Tang (2011; quoted in statsmodels, statsmodels/stats/tests/test_rates_poisson.py)
// put Jeffreys limits together in the same way: −0.9195 to −0.3193 at 90 % for 30 events in 54.3087
// against 60 in 51.4775. Exact limits are a little longer, mid-P
// limits next to equal.
func TestDifferenceBesideAPublishedOne(t *testing.T) {
	a, b := monitor.Tally{Events: 30, Exposure: 54.3087}, monitor.Tally{Events: 60, Exposure: 51.4775}
	exact, err := monitor.Difference(a, b, 1, 0.9, monitor.Exact)
	if err != nil || exact.Lower > -0.9195 || exact.Lower < -0.94 || exact.Upper < -0.3193 || exact.Upper > -0.30 {
		t.Errorf("exact %v to %v, %v", exact.Lower, exact.Upper, err)
	}
	mid, err := monitor.Difference(a, b, 1, 0.9, monitor.MidP)
	if err != nil || math.Abs(mid.Lower+0.9195) > 0.005 || math.Abs(mid.Upper+0.3193) > 0.005 {
		t.Errorf("mid-P %v to %v, %v", mid.Lower, mid.Upper, err)
	}
}
