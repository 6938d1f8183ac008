package schemas

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// The code list of the field instrument says range and direction in words, the file of instruments in numbers. Written
// apart, they must agree.
func TestInstrumentsAgreeWithTheCodeList(t *testing.T) {
	scores, err := Shipped("scores")
	if err != nil {
		t.Fatal(err)
	}
	codes := scores.Field("instrument").Codes
	if len(codes) != len(Instruments()) {
		t.Fatalf("%d codes and %d instruments", len(codes), len(Instruments()))
	}
	for n, code := range codes {
		i, ok := InstrumentOf(code.Value)
		if !ok || Instruments()[n].Code != code.Value || i.Title != code.Label || i.Source == "" {
			t.Errorf("%s: %+v", code.Value, i)
		}
		if words := fmt.Sprintf("%v to %v ", i.Minimum, i.Maximum); !strings.Contains(code.Description, words) {
			t.Errorf("%s: the code list says %q, which does not hold %q", code.Value, code.Description, words)
		}
		if i.HigherIsBetter() == strings.Contains(code.Description, "higher is worse") {
			t.Errorf("%s: direction %q, the code list says %q", code.Value, i.Better, code.Description)
		}
	}
}

func TestInstrumentsCannotBeChangedThroughTheList(t *testing.T) {
	Instruments()[0].Maximum = -1
	if Instruments()[0].Maximum != 100 {
		t.Error("Instruments hands out its own slice")
	}
	if _, ok := InstrumentOf("unheard of"); ok {
		t.Error("there is an instrument with a name nobody gave")
	}
}

// Scoring by hand. The ASES rows are check vectors worked out from its formula, 5 (10 − pain) + 5/3 of ten activities: pain 3 with
// activities that sum to 15 is 35 + 25, and 4.5 with 20 is 27.5 + 33⅓.
func TestTotalsFromItems(t *testing.T) {
	ases := func(pain float64, activities ...float64) map[string]float64 {
		items := map[string]float64{"pain": pain}
		for i, x := range activities {
			items[fmt.Sprint(i+1)] = x
		}
		return items
	}
	all := func(n int, x float64) map[string]float64 {
		items := map[string]float64{}
		for i := range n {
			items[fmt.Sprint(i+1)] = x
		}
		return items
	}
	constant := map[string]float64{"pain": 10, "work": 2, "leisure": 3, "sleep": 1, "reach": 8, "elevation_degrees": 121, "abduction_degrees": 90,
		"external_rotation": 6, "internal_rotation": 4, "strength_kg": 5.5}
	for _, c := range []struct {
		instrument string
		items      map[string]float64
		want       float64
		ok         bool
	}{
		{"ases", ases(3, 2, 2, 2, 1, 1, 1, 2, 2, 1, 1), 60, true},
		{"ases", ases(0, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3), 100, true},
		{"ases", ases(10, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0), 0, true},
		{"ases", ases(4.5, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2), 27.5 + 100.0/3, true},
		{"ases", ases(4.5, 2, 2, 2, 2, 2, 2, 2, 2, 2), 0, false},
		{"ases", ases(math.NaN(), 2, 2, 2, 2, 2, 2, 2, 2, 2, 2), 0, false},
		{"sst", all(12, 1), 12, true},
		{"sst", all(11, 1), 0, false},
		{"oxford", all(12, 3), 36, true},
		{"oxford", all(10, 3), 36, true}, // two missing take the mean of the others
		{"oxford", all(9, 3), 0, false},
		{"oxford", nil, 0, false},
		{"constant", constant, 10 + 2 + 3 + 1 + 8 + 8 + 4 + 6 + 4 + 11, true}, // 121° are 8 points, 90° are 4, 5.5 kg are 11
	} {
		i, _ := InstrumentOf(c.instrument)
		got, _, _, ok := i.Scoring.Total(func(code string) float64 {
			if x, has := c.items[code]; has {
				return x
			}
			return math.NaN()
		})
		if ok != c.ok || ok && math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%s of %v: %v (%v), want %v (%v)", c.instrument, c.items, got, ok, c.want, c.ok)
		}
	}
}

// The best answers to all items make the best total, the worst the worst: the ranges of items and totals were written apart.
func TestItemsReachBothEndsOfTheScale(t *testing.T) {
	for _, i := range Instruments() {
		if i.Scoring == nil {
			continue
		}
		for _, best := range []bool{false, true} {
			total := 0.0
			for _, p := range i.Scoring.Parts {
				one := Scoring{Parts: []Part{p}}
				x, _, _, _ := one.Total(func(code string) float64 {
					item, _ := one.Item(code)
					if best == (p.Times >= 0) {
						return item.Maximum
					}
					return item.Minimum
				})
				total += x
			}
			if want := map[bool]float64{false: i.Minimum, true: i.Maximum}[best]; math.Abs(total-want) > 1e-9 {
				t.Errorf("%s: the total of the extreme items is %v, want %v", i.Code, total, want)
			}
		}
		if i.Scoring.Source == "" || i.Scoring.Missing.Rule == "" || i.Scoring.Missing.Source == "" {
			t.Errorf("%s: the scoring does not say where it or its rule of missing items comes from", i.Code)
		}
	}
}

// A value on another scale must become one of ours: the ends of the two scales belong together, worse to worse.
func TestOtherScalesTurnIntoOurs(t *testing.T) {
	for _, i := range Instruments() {
		for _, s := range i.Others {
			worst, best := s.Minimum, s.Maximum
			if s.Better == "lower" {
				worst, best = best, worst
			}
			if math.Abs(s.Ours(worst)-i.Minimum) > 1e-9 || math.Abs(s.Ours(best)-i.Maximum) > 1e-9 || !i.HigherIsBetter() {
				t.Errorf("%s on %s: from %v to %v", i.Code, s.Name, s.Ours(worst), s.Ours(best))
			}
			if s.Source == "" || i.Scale == "" {
				t.Errorf("%s: the scale %s has no source, or our own no name", i.Code, s.Name)
			}
		}
	}
	oxford, _ := InstrumentOf("oxford")
	old, _ := oxford.OnScale("12-60")
	if old.Ours(18) != 42 {
		t.Error("18 on the Oxford scale of 12 to 60 is 42 on that of 0 to 48")
	}
	if _, ok := oxford.OnScale("0-100"); ok {
		t.Error("a scale that nobody has described")
	}
}

// What is published can be chosen only when it was read at its source, is one number, and lies on its scale.
func TestPublishedThresholds(t *testing.T) {
	seen := map[string]bool{}
	for _, i := range Instruments() {
		for _, p := range PublishedFor(i.Code) {
			s, ok := i.OnScale(p.Scale)
			if seen[p.ID] || !ok || p.Author == "" || p.Year < 1990 || p.Method == "" || p.FollowUp == "" {
				t.Errorf("%+v", p)
			}
			seen[p.ID] = true
			if p.Of == "change" && !(p.Value > 0 && p.Value <= s.Maximum-s.Minimum) || p.Of == "state" && !(p.Value >= s.Minimum && p.Value <= s.Maximum) {
				t.Errorf("%s: %v is not on its scale", p.ID, p.Value)
			}
			if (i.Scale != "") && i.Code == "oxford" && p.Scale == "" {
				t.Errorf("%s does not say which scale it is on", p.ID)
			}
			if p.Offered() != (p.Address != "" && !p.FromMemory && p.To == nil) {
				t.Errorf("%s: offered %v", p.ID, p.Offered())
			}
		}
	}
	if len(seen) < 30 || len(seen) != len(instrumentList().Published) {
		t.Errorf("%d of %d published thresholds belong to an instrument", len(seen), len(instrumentList().Published))
	}
	// From the abstracts: a state of 18 on the scale of 12 to 60 is one of 42 on ours; a change keeps its size.
	if p, ok := PublishedOf("isakos-2023-oxford"); !ok || p.Ours() != 42 {
		t.Errorf("%+v", p)
	}
	if p, ok := PublishedOf("liu-2023-oxford-cut-off"); !ok || p.Ours() != 13 || !p.Offered() {
		t.Errorf("%+v", p)
	}
	for _, id := range []string{"tashjian-2017-pain", "werner-2016-ases"} {
		if p, ok := PublishedOf(id); !ok || p.Offered() {
			t.Errorf("%s can be chosen", id)
		}
	}
}
