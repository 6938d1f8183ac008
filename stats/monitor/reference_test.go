package monitor_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"deltoid/stats/monitor"
)

// The reference results were made with R; testdata/references/README.md says which version and by
// which scripts. Their tolerance is 1e-9.
const tolerance = 1e-9

type knownRatio struct {
	Events                          [2]int64
	Exposure                        [2]float64
	Ratio, Exact_lower, Exact_upper any // a number, or "Infinity"
	Exact_p_two_sided               float64
	Difference                      float64
}

func readCase(t *testing.T, id string) map[string]json.RawMessage {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("../../testdata/references/expected", id+".json"))
	if err != nil {
		t.Fatal(err)
	}
	var c struct{ Results map[string]json.RawMessage }
	if err := json.Unmarshal(b, &c); err != nil {
		t.Fatal(err)
	}
	return c.Results
}

func checkRate(t *testing.T, raw json.RawMessage) {
	t.Helper()
	var k struct {
		Events                   int64
		Exposure, Rate           float64
		Exact_lower, Exact_upper float64
		Midp_lower, Midp_upper   float64
		Observed                 *int64 // observed over expected events instead
		Expected, Ratio          float64
	}
	if err := json.Unmarshal(raw, &k); err != nil {
		t.Fatal(err)
	}
	if k.Observed != nil {
		k.Events, k.Exposure, k.Rate = *k.Observed, k.Expected, k.Ratio
	}
	exact, mid := rate(t, k.Events, k.Exposure, 1, 0.95, monitor.Exact), rate(t, k.Events, k.Exposure, 1, 0.95, monitor.MidP)
	if !within(exact.Value, k.Rate, tolerance) || !within(exact.Lower, k.Exact_lower, tolerance) || !within(exact.Upper, k.Exact_upper, tolerance) {
		t.Errorf("%s: exact %v (%v to %v)", raw, exact.Value, exact.Lower, exact.Upper)
	}
	if k.Observed == nil && (!within(mid.Lower, k.Midp_lower, 1e-8) || !within(mid.Upper, k.Midp_upper, 1e-8)) {
		t.Errorf("%s: mid-P %v to %v", raw, mid.Lower, mid.Upper)
	}
}

func checkRatio(t *testing.T, raw json.RawMessage) {
	t.Helper()
	var k knownRatio
	if err := json.Unmarshal(raw, &k); err != nil {
		t.Fatal(err)
	}
	first, second := monitor.Tally{Events: k.Events[0], Exposure: k.Exposure[0]}, monitor.Tally{Events: k.Events[1], Exposure: k.Exposure[1]}
	r := ratio(t, first, second, monitor.Exact)
	agrees := func(got float64, want any) bool {
		x, ok := want.(float64)
		return !ok && got == 0 && r.Status == monitor.NoReference || ok && within(got, x, tolerance)
	}
	if !agrees(r.Value, k.Ratio) || !agrees(r.Lower, k.Exact_lower) || !agrees(r.Upper, k.Exact_upper) {
		t.Errorf("%s: %v (%v to %v), %v", raw, r.Value, r.Lower, r.Upper, r.Status)
	}
	// The reference adds up all outcomes no more probable than the one seen, which are the smaller
	// tail and some of the other; ours is twice the smaller tail.
	if p := k.Exact_p_two_sided; p < r.P/2*(1-tolerance) || p > 2*r.P {
		t.Errorf("%s: p is %v", raw, r.P)
	}
	d, err := monitor.Difference(first, second, 1, 0.95, monitor.Exact)
	if err != nil || !within(d.Value, k.Difference, tolerance) || d.Lower >= d.Value || d.Upper <= d.Value {
		t.Errorf("%s: difference %v (%v to %v), %v", raw, d.Value, d.Lower, d.Upper, err)
	}
}

func TestAgainstReferences(t *testing.T) {
	breslow := readCase(t, "rates_breslow")
	for key, check := range map[string]func(*testing.T, json.RawMessage){"by_row": checkRate, "age_specific_ratios": checkRatio} {
		var rows []json.RawMessage
		if err := json.Unmarshal(breslow[key], &rows); err != nil || len(rows) < 5 {
			t.Fatalf("%s: %d rows, %v", key, len(rows), err)
		}
		for _, row := range rows {
			check(t, row)
		}
	}
	checkRatio(t, breslow["crude_ratio_smokers_vs_not"])
	checkRate(t, breslow["smr_smokers_nonsmoker_rates"])
	edge, lung := readCase(t, "rates_edge"), readCase(t, "rates_lung_100py")
	for _, key := range []string{"zero", "one", "three", "smr_zero", "smr_12"} {
		checkRate(t, edge[key])
	}
	checkRatio(t, edge["ratio_zero_first"])
	checkRatio(t, edge["ratio_zero_second"])
	checkRate(t, lung["male"])
	checkRate(t, lung["female"])
	checkRatio(t, lung["ratio_male_female"])
}

// The chi-square statistics were worked out by R 4.2.2's chisq.test(events, p = exposure/sum(exposure)):
// deaths of doctors who did not smoke, by age, from breslow_rates.csv, all ten rows of that file, and
// a small made-up set with a group without events.
func TestHomogeneity(t *testing.T) {
	others := []monitor.Tally{{2, 18790}, {12, 10673}, {28, 5710}, {28, 2585}, {31, 1462}}
	smokers := []monitor.Tally{{32, 52407}, {104, 43248}, {206, 28612}, {186, 12663}, {102, 5317}}
	for _, c := range []struct {
		tallies      []monitor.Tally
		chiSquare, p float64
	}{
		{others, 330.65873259279562, 2.6262583958349001e-70},
		{append(others[:5:5], smokers...), 1144.0424358477158, 1.4531168200942290e-240},
		{[]monitor.Tally{{3, 100}, {0, 50}, {5, 120.5}}, 2.05816649377593386, 0.35733439787791998},
	} {
		test, err := monitor.Homogeneity(c.tallies)
		if err != nil || test.DF != len(c.tallies)-1 || !within(test.ChiSquare, c.chiSquare, tolerance) || !within(test.P, c.p, tolerance) {
			t.Errorf("%+v, %v, want %+v", test, err, c)
		}
	}
}
