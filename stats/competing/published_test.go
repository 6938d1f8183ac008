package competing_test

import (
	"math"
	"slices"
	"testing"

	"deltoid/stats/competing"
	"deltoid/stats/references"
	"deltoid/stats/survival"
)

const published = "../../testdata/published/data"

// The fourteen-subject set of the survival package's tests (therneau/survival, tests/finegray.R),
// small enough to be worked by hand. Estimates to the printed nine digits; the two variances come
// from two programs that define them differently.
func TestFourteenSubjects(t *testing.T) {
	counts := mustCount(t, survival.Data{
		Exit:   []int32{1, 2, 3, 4, 4, 4, 5, 5, 6, 8, 8, 9, 10, 12},
		Cause:  []uint8{1, 2, 0, 1, 0, 0, 2, 1, 0, 0, 2, 0, 1, 0},
		Causes: 2,
	})
	set := competing.All(counts, 0)
	for _, want := range []struct{ t, first, second, oneMinus, aalen, delta float64 }{
		{1, 0.071428571, 0, 0.071428571, 0.0051020408, 0.068830294},
		{4, 0.149350649, 0.071428571, 0.155844156, 0.0103956982, 0.097645450},
		{5, 0.246753247, 0.168831169, 0.261363636, 0.017706772, 0.125865098},
		{8, 0.246753247, 0.285714286, 0.261363636, 0.017706772, 0.125865098},
		{10, 0.480519481, 0.285714286, 0.630681818, 0.067761946, 0.198298118},
	} {
		first := set.Cause(1).At(want.t)
		aalen := set.Cause(1).Using(competing.Aalen).At(want.t)
		printed(t, "first cause", first.Value, want.first, 9)
		printed(t, "second cause", set.Cause(2).At(want.t).Value, want.second, 9)
		printed(t, "1 - product-limit", counts.ProductLimit(0, 1).At(want.t).Complement().Value, want.oneMinus, 9)
		printed(t, "delta standard error", first.SE, want.delta, 9)
		printed(t, "Aalen variance", aalen.SE*aalen.SE, want.aalen, 9)
	}
}

// printed fails unless got, rounded to the decimals of the source, is the printed number. One
// unit in the last place is let through where the source rounded an already rounded number.
func printed(t *testing.T, what string, got, want float64, decimals int) {
	t.Helper()
	if math.Abs(got-want) > 0.51*math.Pow(10, -float64(decimals)) {
		t.Errorf("%s: %.*f, printed %.*f", what, decimals+2, got, decimals, want)
	}
}

// mgus2: 1,384 elderly subjects with death competing; data and counts of events from the
// vignette "compete" of therneau/survival (Therneau, Crowson & Atkinson), estimates recomputed
// with that package and written down to the digits below.
func TestMgus2(t *testing.T) {
	f := references.Read(t, published+"/mgus2_cr.csv")
	d := mgus2(t, f)
	counts := mustCountReal(t, d)
	overall := counts.Pooled()
	if p, q := overall.Events(0, 1), overall.Events(0, 2); overall.N(0) != 1384 || p != 115 || q != 860 {
		t.Fatalf("%d subjects, %d progressions, %d deaths, printed 1384, 115, 860", overall.N(0), p, q)
	}
	incidence, one := competing.Incidence(overall, 0, 1), overall.ProductLimit(0, 1)
	for _, want := range []struct{ months, incidence, se, oneMinus float64 }{
		{60, 0.034103713, 0.0048892579, 0.042153862},
		{120, 0.063722168, 0.0067968484, 0.095221659},
		{240, 0.099813716, 0.0097848468, 0.209561624},
		{360, 0.134041644, 0.0201275625, 0.424836941},
	} {
		p := incidence.At(want.months)
		printed(t, "incidence", p.Value, want.incidence, 9)
		printed(t, "standard error", p.SE, want.se, 9)
		printed(t, "1 - product-limit", one.At(want.months).Complement().Value, want.oneMinus, 9)
	}
	for g, want := range [][2]float64{{0.073885664, 0.480490046}, {0.055310241, 0.575178489}} {
		set := competing.All(counts, g)
		printed(t, "progression by sex", set.Cause(1).At(120).Value, want[0], 9)
		printed(t, "death by sex", set.Cause(2).At(120).Value, want[1], 9)
	}
	// The interval of the complementary log-log form at 60 months.
	p := incidence.At(60)
	printed(t, "lower", p.Lower, 0.0254419912, 9)
	printed(t, "upper", p.Upper, 0.0446577219, 9)
}

func mgus2(t *testing.T, f map[string][]string) survival.RealData {
	t.Helper()
	d := survival.RealData{Exit: numbers(t, f["etime"]), Groups: 2, Causes: 2}
	for i, s := range f["ev"] {
		d.Cause = append(d.Cause, uint8(slices.Index([]string{"0", "1", "2"}, s)))
		d.Group = append(d.Group, int32(slices.Index([]string{"F", "M"}, f["sex"][i])))
	}
	return d
}

// Melanoma, 205 patients: printed to nine decimals in the project's list of published checks,
// from the R packages cmprsk and survival; its last digit is a 0 in places, so eight are held.
func TestMelanoma(t *testing.T) {
	f := references.Read(t, published+"/melanoma.csv")
	d := survival.RealData{Exit: numbers(t, f["time"]), Causes: 2}
	for _, s := range numbers(t, f["status"]) {
		d.Cause = append(d.Cause, map[float64]uint8{1: 1, 2: 0, 3: 2}[s])
	}
	counts := mustCountReal(t, d)
	set, one := competing.All(counts, 0), counts.ProductLimit(0, 1)
	first := []float64{.127457136, .230139634, .309620166, .338717510, .338717510}
	second := []float64{.034267085, .050456445, .058111429, .105947060, .105947060}
	oneMinus := []float64{.131080680, .238251450, .323158850, .355141460, .355141460}
	for i := range first {
		at := float64(1000 * (i + 1))
		printed(t, "melanoma", set.Cause(1).At(at).Value, first[i], 8)
		printed(t, "other causes", set.Cause(2).At(at).Value, second[i], 8)
		printed(t, "1 - product-limit", one.At(at).Complement().Value, oneMinus[i], 8)
	}
}

// Solved by hand: two causes and a censoring on day 6 share one set at risk, so that nothing
// has to decide which of them came first.
func TestTiesShareOneSetAtRisk(t *testing.T) {
	counts := mustCount(t, survival.Data{Exit: []int32{3, 6, 6, 6, 8}, Cause: []uint8{1, 1, 2, 0, 0}, Causes: 2})
	set := competing.All(counts, 0)
	if got := set.Cause(1).At(6).Value; math.Abs(got-0.4) > 1e-16 {
		t.Errorf("first cause %v, by hand 1/5 + 4/5·1/4 = 0.4", got)
	}
	if got := set.Cause(2).At(6).Value; math.Abs(got-0.2) > 1e-16 {
		t.Errorf("second cause %v, by hand 4/5·1/4 = 0.2", got)
	}
}
