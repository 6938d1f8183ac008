package report

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func probability(x float64) Estimate {
	return Estimate{ID: "p", Value: Some(x), Unit: UnitProbability, Status: Estimated}
}

func ranged(unit string, x, lower, upper float64) Estimate {
	return Estimate{ID: "r", Value: Some(x), Lower: Some(lower), Upper: Some(upper), Level: Some(0.95), Unit: unit,
		Status: Estimated}
}

// The expected words are those of the house rules for numbers, written down case by case.
func TestFormat(t *testing.T) {
	rate := "per 100 prosthesis-years"
	noUpper := Estimate{Value: Some(7.25), Lower: Some(6), Level: Some(0.95), Unit: UnitYears, Status: Estimated}
	notReached := Estimate{Status: NotReached, Unit: UnitYears, Note: "survival stays above one half"}
	masked := Estimate{Status: Masked, Unit: "shoulders", Note: "fewer than 5"}
	for _, c := range []struct {
		e    Estimate
		show Show
		want string
	}{
		{probability(0.0312), ShowValue, "3.1%"},
		{probability(0), ShowValue, "0%"},
		{probability(1), ShowValue, "100%"},
		{probability(0.0062), ShowValue, "0.62%"},
		{probability(0.00099), ShowValue, "<0.1%"},
		{probability(1e-12), ShowValue, "<0.1%"},
		{probability(0.9994), ShowValue, ">99.9%"},
		{probability(0.9989), ShowValue, "99.9%"},
		{probability(-0.0213), ShowValue, "−2.1%"},
		{probability(-0.0001), ShowValue, "−0.01%"},
		{ranged(UnitDifference, 0.0081, -0.0003, 0.0169), ShowValueAndRange, "0.81 (−0.03 to 1.69)"},
		{ranged(UnitDifference, 0.02, -0.0003, 0.05), ShowValueAndRange, "2.0 (0.0 to 5.0)"},
		{probability(0.025), ShowGiven, "2.5%"},
		{probability(0.07), ShowGiven, "7%"},
		{Estimate{Value: Some(0.625), Unit: UnitRatio, Status: Estimated}, ShowGiven, "0.625"},
		{Estimate{Value: Some(-1200.5), Unit: "points", Status: Estimated}, ShowGiven, "−1,200.5"},
		{Estimate{Value: Some(1), Unit: UnitYears, Status: Estimated}, ShowGiven, "1 year"},
		{Estimate{Value: Some(0.03), Unit: UnitDifference, Status: Estimated}, ShowGiven, "3 percentage points"},
		{Estimate{Status: NotIdentifiable}, ShowGiven, "not identifiable"},
		{Estimate{Value: Some(0.314), Unit: UnitCorrelation, Status: Estimated}, ShowValue, "0.31"},
		{Estimate{Value: Some(0.755), Unit: UnitArea, Status: Estimated}, ShowValue, "0.76"},
		{probability(math.NaN()), ShowValue, "not identifiable"},
		{ranged(UnitProbability, 0.0312, 0.022, 0.044), ShowValue, "3.1%"},
		{ranged(UnitProbability, 0.0312, 0.022, 0.044), ShowWithInterval, "3.1% (95% interval 2.2% to 4.4%)"},
		{ranged(UnitProbability, 0.0312, 0.022, 0.044), ShowValueAndRange, "3.1% (2.2–4.4)"},
		{ranged(UnitProbability, 0.012, 0.0004, 0.036), ShowValueAndRange, "1.2% (<0.1–3.6)"},
		{ranged(UnitProbability, 0.0062, 0.0021, 0.0153), ShowValueAndRange, "0.62% (0.21–1.53)"},
		{ranged(UnitProbability, 0, 0, 0.0085), ShowWithInterval, "0% (95% interval 0% to 0.85%)"},
		{ranged(UnitProbability, -0.01, -0.03, 0.011), ShowValueAndRange, "−1.0% (−3.0 to 1.1)"},
		{ranged(UnitYears, 7.25, 6, 9.04), ShowWithInterval, "7.2 years (95% interval 6 to 9.0)"},
		{ranged(UnitRatio, 1.3, 0.98, 1.7), ShowValueAndRange, "1.30 (0.98–1.70)"},
		{ranged(UnitKappa, 0.4842, 0.2137, 0.7547), ShowWithInterval, "0.48 (95% interval 0.21 to 0.75)"},
		{Estimate{Value: Some(-0.219), Unit: UnitSpread, Status: Estimated}, ShowValue, "−0.22"},
		{ranged(UnitScore, 0.08314, 0.0712, 0.0951), ShowValueAndRange, "0.083 (0.071–0.095)"},
		{ranged(rate, 0.618, 0.5, 0.77), ShowWithInterval, "0.62 per 100 prosthesis-years (95% interval 0.50 to 0.77)"},
		{ranged(rate, 0.001, 0.0001, 0.77), ShowValueAndRange, "<0.01 (<0.01–0.77)"},
		{ranged(UnitDifference, 0.0312, -0.01, 0.0724), ShowWithInterval, "3.1 percentage points (95% interval −1.0 to 7.2)"},
		{ranged(UnitDifference, -0.0312, -0.0724, -0.01), ShowValueAndRange, "−3.1 (−7.2 to −1.0)"},
		{noUpper, ShowWithInterval, "7.2 years (95% interval 6 to not reached)"},
		{noUpper, ShowValueAndRange, "7.2 (6 to not reached)"},
		{Count("c", "flow", "shoulders", 12345, "shoulders"), ShowValue, "12,345"},
		{Count("c", "flow", "shoulders", 1000000, "shoulders"), ShowValue, "1,000,000"},
		{Count("c", "flow", "shoulders", 999, "shoulders"), ShowWithInterval, "999"},
		{Count("c", "flow", "shoulders", 0, "shoulders"), ShowValue, "0"},
		{Estimate{Value: Some(1234.56), Unit: "revisions", Status: Estimated}, ShowValue, "1,234.6"},
		{Estimate{Value: Some(0.01), Unit: "revisions", Status: Estimated}, ShowValue, "<0.1"},
		{Estimate{Value: Some(0.00004), Unit: UnitPValue, Status: Estimated}, ShowValue, "<0.001"},
		{Estimate{Value: Some(0.0344), Unit: UnitPValue, Status: Estimated}, ShowValue, "0.034"},
		{Estimate{Value: Some(0.42), Unit: UnitPValue, Status: Estimated}, ShowValue, "0.42"},
		{Estimate{Value: Some(0.9999), Unit: UnitPValue, Status: Estimated}, ShowValue, ">0.99"},
		{notReached, ShowValue, "not reached"},
		{notReached, ShowWithInterval, "not reached"},
		{Estimate{Status: BeyondFollowUp}, ShowValueAndRange, "beyond follow-up"},
		{masked, ShowValue, "[masked]"},
		{masked, ShowN, "[masked]"},
		{Estimate{Status: Estimated}, ShowN, ""},
		{Estimate{N: Some(4120), Events: Some(31), Status: Estimated}, ShowN, "4,120"},
		{Estimate{N: Some(4120), Events: Some(31), Status: Estimated}, ShowEvents, "31"},
		{Estimate{At: Some(5), AtUnit: UnitYears}, ShowAt, "5 years"},
		{Estimate{At: Some(1), AtUnit: UnitYears}, ShowAt, "1 year"},
		{Estimate{At: Some(2.5), AtUnit: UnitYears}, ShowAt, "2.5 years"},
		{Estimate{At: Some(30), AtUnit: "days"}, ShowAt, "30 days"},
		{Estimate{At: Some(3)}, ShowAt, "3"},
		{Estimate{}, ShowAt, ""},
		{Estimate{Level: Some(0.95)}, ShowLevel, "95%"},
		{Estimate{Level: Some(0.998)}, ShowLevel, "99.8%"},
		{Estimate{}, ShowLevel, ""},
	} {
		if got := Format(c.e, c.show); got != c.want {
			t.Errorf("Format(%+v, %d) = %q, want %q", c.e, c.show, got, c.want)
		}
	}
}

func TestTick(t *testing.T) {
	for _, c := range []struct {
		x    float64
		unit string
		want string
	}{{0, UnitYears, "0"}, {2.5, UnitYears, "2.5"}, {0.025, UnitProbability, "2.5%"}, {0.07, UnitProbability, "7%"},
		{0.3, UnitProbability, "30%"}, {1500, "shoulders", "1,500"}, {-2, UnitYears, "−2"}} {
		if got := Tick(c.x, c.unit); got != c.want {
			t.Errorf("Tick(%v, %q) = %q, want %q", c.x, c.unit, got, c.want)
		}
	}
}

func TestTraceNamesWhatIsKnown(t *testing.T) {
	e := Estimate{ID: "survival.revision.5y", N: Some(1200), Events: Some(31), Method: "product limit", Note: "tail"}
	if got, want := Trace(e), "survival.revision.5y; n 1,200; events 31; product limit; tail"; got != want {
		t.Errorf("Trace = %q, want %q", got, want)
	}
	if got := Trace(Estimate{ID: "a"}); got != "a" {
		t.Errorf("Trace of a bare estimate = %q", got)
	}
}

// A shown percent is within half a unit of its last place of the truth, or it is an inequality that holds.
func TestPercentIsTrue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.OneOf(rapid.Float64Range(0, 1), rapid.Float64Range(0, 0.02), rapid.Float64Range(0.98, 1)).Draw(t, "p")
		text := strings.TrimSuffix(Format(probability(p), ShowValue), "%")
		bound, _ := strconv.ParseFloat(strings.TrimLeft(text, "<>"), 64)
		switch {
		case strings.HasPrefix(text, "<"):
			if p <= 0 || 100*p >= bound {
				t.Fatalf("%v shown as %q", p, text)
			}
		case strings.HasPrefix(text, ">"):
			if p >= 1 || 100*p <= bound {
				t.Fatalf("%v shown as %q", p, text)
			}
		case math.Abs(100*p-bound) > 0.0500001 || (bound == 0) != (p == 0) || (bound == 100) != (p == 1):
			t.Fatalf("%v shown as %q", p, text)
		}
	})
}

// Taking the commas away gives the number back.
func TestGroupingKeepsTheNumber(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 1<<52).Draw(t, "n")
		text := Format(Count("c", "flow", "rows", n, "rows"), ShowValue)
		if got := strings.ReplaceAll(text, ",", ""); got != strconv.Itoa(n) {
			t.Fatalf("%d shown as %q", n, text)
		}
		for i, part := range strings.Split(text, ",") {
			if len(part) != 3 && (i > 0 || len(part) > 3 || part == "") {
				t.Fatalf("%d shown as %q", n, text)
			}
		}
	})
}
