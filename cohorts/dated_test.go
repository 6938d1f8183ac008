package cohorts_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"deltoid/cohorts"
	"deltoid/schemas"

	gocmp "github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// smoking is five reverse replacements with a covariate that became known on a day of its own. Days are offsets; the data
// cut is day 1000.
//
//	A operated 0, smokes, known before the operation; followed 1000 days
//	B operated 0, smokes, known on day 200; revised on day 500
//	C operated 0, not recorded; revised on day 100
//	D operated 0, does not smoke, known on day 300; died on day 300
//	E operated 600, smokes, known on day 700; followed 400 days
func smoking(tb testing.TB) (*cohorts.Registry, cohorts.FollowUp) {
	tb.Helper()
	s := studyOf(
		newExport("procedures", "patient,side,day,procedure,occasion", "A,left,0,reverse,primary", "B,left,0,reverse,primary",
			"C,left,0,reverse,primary", "D,left,0,reverse,primary", "E,left,600,reverse,primary"),
		newExport("revisions", "patient,side,day,reason", "B,left,500,wear", "C,left,100,wear"),
		newExport("deaths", "patient,day", "D,300"),
	)
	tables := s.tables(tb)
	field := &schemas.Field{Name: "smokes", Type: schemas.Code, KnownOn: "asked",
		Codes: []schemas.CodeValue{{Value: "y", Label: "Smokes"}, {Value: "n", Label: "Does not smoke"}}}
	tables["procedures"] = with(tables["procedures"], codeColumn(field, []string{"y", "y", "", "n", "y"}),
		schemas.DateColumn(&schemas.Field{Name: "asked", Type: schemas.Date}, []int32{-5, 200, schemas.NoDay, 300, 700}))
	f := cohorts.FollowUp{DataCut: 1000}
	r, err := cohorts.Link(tables, f, &schemas.Findings{})
	if err != nil {
		tb.Fatal(err)
	}
	return r, f
}

// with returns a table with more columns.
func with(t *schemas.Table, more ...*schemas.Column) *schemas.Table {
	lines := make([]int32, t.Rows())
	for i := range lines {
		_, line := t.Place(i)
		lines[i] = int32(line)
	}
	out := schemas.NewTable(t.Schema, t.Sources, lines, append(append([]*schemas.Column{}, t.Columns()...), more...))
	out.Offsets = t.Offsets
	return out
}

// spells writes episodes as "patient group (entry, exit] cause".
func spells(c *cohorts.Cohort, eps *cohorts.Episodes) []string {
	var out []string
	for i := range eps.Exit {
		member, entry := i, int32(0)
		if eps.Shoulder != nil {
			member = int(eps.Shoulder[i])
		}
		if eps.Entry != nil {
			entry = eps.Entry[i]
		}
		patient, _, _ := describe(c, member)
		out = append(out, fmt.Sprintf("%s %s (%d, %d] %s", patient, eps.Groups[eps.Group[i]], entry, eps.Exit[i], ending(eps, i)))
	}
	return out
}

func TestLateCovariateIsRefusedAsBaseline(t *testing.T) {
	r, f := smoking(t)
	c, _ := define(t, r, everyone, f)
	check := func(err error) {
		t.Helper()
		var p *schemas.Problem
		if !errors.As(err, &p) || p.Kind != schemas.PlanProblem {
			t.Fatalf("error %v", err)
		}
		if !strings.Contains(p.What, "3 values were recorded after the operation") ||
			!strings.Contains(p.Remedy, "landmark") || !strings.Contains(p.Remedy, "split") {
			t.Errorf("the message does not say how many and what to do: %v", p)
		}
	}
	_, err := c.Episodes(anyRevision, f, cohorts.Grouping{By: "smokes"})
	check(err)
	_, _, err = cohorts.Define(r, cohorts.Definition{Criteria: []cohorts.Criterion{{Label: "Smokers",
		Where: []cohorts.Condition{{Field: "smokes", In: []string{"y"}}}}}}, f)
	check(err)
	_, _, err = c.Keep(cohorts.Criterion{Label: "Smokers", Where: []cohorts.Condition{{Field: "smokes", In: []string{"y"}}}})
	check(err)
}

func TestLandmark(t *testing.T) {
	r, f := smoking(t)
	c, _ := define(t, r, everyone, f)
	eps := episodes(t, c, anyRevision, f, cohorts.Grouping{By: "smokes", Landmark: 250})
	want := []string{"A Smokes (250, 1000] censored", "B Smokes (250, 500] revised", "D Not recorded by then (250, 300] died",
		"E Smokes (250, 400] censored"}
	if diff := gocmp.Diff(want, spells(c, eps)); diff != "" {
		t.Error(diff)
	}
	if eps.BeforeLandmark != 1 { // C was revised on day 100
		t.Errorf("%d left by the landmark, want 1", eps.BeforeLandmark)
	}
	plain := episodes(t, c, anyRevision, f, cohorts.Grouping{Landmark: 100})
	if plain.BeforeLandmark != 1 || len(plain.Exit) != 4 { // an event of the landmark's own day is not after it
		t.Errorf("%d left by day 100 and %d stayed, want 1 and 4", plain.BeforeLandmark, len(plain.Exit))
	}
}

func TestSplit(t *testing.T) {
	r, f := smoking(t)
	c, _ := define(t, r, everyone, f)
	eps := episodes(t, c, anyRevision, f, cohorts.Grouping{By: "smokes", Split: true})
	want := []string{"A Smokes (0, 1000] censored", "B Not recorded by then (0, 200] censored", "B Smokes (200, 500] revised",
		"C Not recorded by then (0, 100] revised",
		"D Not recorded by then (0, 300] died", // known on the day of death: the event belongs to the time before
		"E Not recorded by then (0, 100] censored", "E Smokes (100, 400] censored"}
	if diff := gocmp.Diff(want, spells(c, eps)); diff != "" {
		t.Error(diff)
	}
	if eps.Divided != 2 {
		t.Errorf("%d divided, want 2", eps.Divided)
	}
	back := eps.Reversed()
	ends := 0
	for _, cause := range back.Cause {
		ends += int(cause)
	}
	if ends != 2 { // A and E; the first halves of B and E end nothing
		t.Errorf("%d ends of observation, want 2", ends)
	}
}

func TestSplitNeedsDays(t *testing.T) {
	r, f := smoking(t)
	c, _ := define(t, r, everyone, f)
	_, err := c.Episodes(anyRevision, f, cohorts.Grouping{By: "procedure", Split: true})
	var p *schemas.Problem
	if !errors.As(err, &p) || !strings.Contains(p.Allowed, "known_on") {
		t.Errorf("error %v", err)
	}
}

// TestSplitKeepsTimeAndEvents: however the days fall, dividing follow-up adds no time and loses no event.
func TestSplitKeepsTimeAndEvents(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s, f := randomStudy(rt), randomFollowUp(rt)
		tables := s.tables(t)
		n := tables["procedures"].Rows()
		cells, days := make([]string, n), make([]int32, n)
		for i := range cells {
			cells[i] = rapid.SampledFrom([]string{"", "y", "n"}).Draw(rt, "value")
			days[i] = rapid.Int32Range(-1, 12).Draw(rt, "known on")
		}
		field := &schemas.Field{Name: "smokes", Type: schemas.Code, KnownOn: "asked"}
		tables["procedures"] = with(tables["procedures"], codeColumn(field, cells),
			schemas.DateColumn(&schemas.Field{Name: "asked", Type: schemas.Date}, days))
		r, err := cohorts.Link(tables, f, &schemas.Findings{})
		if err != nil {
			rt.Fatal(err)
		}
		c, _, err := cohorts.Define(r, everyone, f)
		if err != nil {
			return
		}
		whole := episodes(t, c, anyRevision, f, cohorts.Grouping{})
		parts := episodes(t, c, anyRevision, f, cohorts.Grouping{By: "smokes", Split: true})
		if a, b := account(whole), account(parts); a != b {
			rt.Fatalf("days, events, shoulders: whole %v, divided %v", a, b)
		}
		for i := range parts.Exit {
			if parts.Exit[i] <= parts.Entry[i] && parts.Exit[i] > 0 {
				rt.Fatalf("an episode from %d to %d", parts.Entry[i], parts.Exit[i])
			}
		}
	})
}

// account adds up days, events and last episodes.
func account(eps *cohorts.Episodes) (sum [3]int) {
	for i := range eps.Exit {
		sum[0] += int(eps.Exit[i])
		if eps.Entry != nil {
			sum[0] -= int(eps.Entry[i])
		}
		if eps.Cause[i] > 0 {
			sum[1]++
		}
		if eps.Last == nil || eps.Last[i] {
			sum[2]++
		}
	}
	return sum
}

// TestBandsOfPeriod: bands of calendar days, and of day numbers, with their labels.
func TestBandsOfPeriod(t *testing.T) {
	s := studyOf(newExport("procedures", "patient,side,day,procedure,occasion", "A,left,14609,reverse,primary", // 2009-12-31
		"B,left,14610,reverse,primary",                                  // 2010-01-01
		"C,left,16435,reverse,primary", "D,left,16436,reverse,primary")) // 2014-12-31 and 2015-01-01
	tables := s.tables(t)
	tables["procedures"].Offsets = false
	f := cohorts.FollowUp{DataCut: 20_000}
	r, err := cohorts.Link(tables, f, &schemas.Findings{})
	if err != nil {
		t.Fatal(err)
	}
	c, _ := define(t, r, everyone, f)
	for _, one := range []struct {
		bounds []float64
		want   []string
	}{
		{[]float64{14610, 16436}, []string{"before 2010", "2010 to 2014", "2015 and later"}},
		{[]float64{14609.0}, []string{"2009-12-31 and later"}},
		{[]float64{14610}, []string{"before 2010", "2010 and later"}},
	} {
		eps := episodes(t, c, anyRevision, f, cohorts.Grouping{By: "day", Bands: one.bounds})
		if diff := gocmp.Diff(one.want, eps.Groups); diff != "" {
			t.Errorf("bounds %v:\n%s", one.bounds, diff)
		}
	}
	if _, err := c.Episodes(anyRevision, f, cohorts.Grouping{By: "day", Bands: []float64{2, 1}}); err == nil {
		t.Error("bounds that fall were taken")
	}
	if _, err := c.Episodes(anyRevision, f, cohorts.Grouping{By: "procedure", Bands: []float64{1}}); err == nil {
		t.Error("bands of codes were taken")
	}
}

// TestRefusedEndpoints: a definition of revision that does not exist, or that the reasons contradict.
func TestRefusedEndpoints(t *testing.T) {
	r, f := smoking(t)
	c, _ := define(t, r, everyone, f)
	for _, e := range []cohorts.Endpoint{{Counts: "every"}, {Counts: cohorts.StatedReasons},
		{Counts: cohorts.AnyReoperation, Reasons: []string{"wear"}}} {
		var p *schemas.Problem
		if _, err := c.Episodes(e, f, cohorts.Grouping{}); !errors.As(err, &p) || p.Kind != schemas.PlanProblem {
			t.Errorf("%+v: %v", e, err)
		}
	}
	for e, want := range map[*cohorts.Endpoint]cohorts.Counts{{}: cohorts.AnyReoperation, {Reasons: []string{"wear"}}: cohorts.StatedReasons,
		{Counts: cohorts.ComponentExchanged, Reasons: []string{"wear"}}: cohorts.ComponentExchanged} {
		if got := e.Definition(); got != want {
			t.Errorf("%+v counts %q, want %q", e, got, want)
		}
	}
}

// TestVisitsAgainstTwin assigns random scores by going through all of them for every shoulder and window.
func TestVisitsAgainstTwin(t *testing.T) {
	windows := []cohorts.Window{{ID: "before", Target: 0, From: -3, To: 0}, {ID: "soon", Target: 2, From: 1, To: 3}, {ID: "late", Target: 6, From: 4, To: 7}}
	rapid.Check(t, func(rt *rapid.T) {
		s, f := randomStudy(rt), randomFollowUp(rt)
		var rows []string
		for i := range rapid.IntRange(1, 12).Draw(rt, "scores") {
			rows = append(rows, fmt.Sprintf("%s,%s,%d,%s,%d", rapid.SampledFrom([]string{"A", "B"}).Draw(rt, "patient"),
				rapid.SampledFrom([]string{"left", "right"}).Draw(rt, "side"), rapid.IntRange(0, 9).Draw(rt, "day"),
				rapid.SampledFrom([]string{"constant", "oxford"}).Draw(rt, "instrument"), i))
		}
		s["scores"] = newExport("scores", "patient,side,day,instrument,value", rows...)
		r, found := s.link(t, f)
		c, _, err := cohorts.Define(r, everyone, f)
		if err != nil {
			return
		}
		v, err := c.Visits("constant", windows, anyRevision, f)
		if err != nil {
			rt.Fatal(err)
		}
		aside := refused(found)
		for i := range c.Shoulders {
			for k, w := range windows {
				want := math.NaN()
				best := int32(-1)
				for line, cells := range s["scores"].rows {
					if _, gone := aside[fmt.Sprint("scores ", s["scores"].lines[line])]; gone || cells[3] != "constant" {
						continue
					}
					var day int32
					var value float64
					fmt.Sscan(cells[2]+" "+cells[4], &day, &value)
					if after, ok := belongs(c, i, cells[0], cells[1], day, f); ok && after >= w.From && after <= w.To {
						far := max(after-w.Target, w.Target-after)*100 + after + 10 // closest, then earliest, then lowest
						if best < 0 || far < best || far == best && value < want {
							best, want = far, value
						}
					}
				}
				if got := v.Value[k][i]; got != want && !(math.IsNaN(got) && math.IsNaN(want)) {
					rt.Fatalf("shoulder %d, window %s: %v, want %v", i, w.ID, got, want)
				}
				if (v.State[k][i] == cohorts.Assessed) == math.IsNaN(want) {
					rt.Fatalf("shoulder %d, window %s: state %d with the value %v", i, w.ID, v.State[k][i], want)
				}
			}
		}
	})
}

// belongs says how many days after the operation a score of a shoulder was taken, and whether it is one of this prosthesis.
func belongs(c *cohorts.Cohort, i int, patient, side string, day int32, f cohorts.FollowUp) (after int32, ok bool) {
	mine, mySide, _ := describe(c, i)
	if mine != patient || mySide != side || day > f.DataCut {
		return 0, false
	}
	s := c.Registry.Shoulders[c.Shoulders[i]]
	for j, other := range c.Registry.Shoulders {
		if other.Patient == s.Patient && other.Side == s.Side && int32(j) != c.Shoulders[i] {
			if other.Day < s.Day && day <= other.Day || other.Day > s.Day && day >= other.Day {
				return 0, false
			}
		}
	}
	for _, v := range c.Registry.RevisionsOf(int(c.Shoulders[i])) {
		if !v.SecondStage && day >= v.Day && day > s.Day {
			return 0, false
		}
	}
	return day - s.Day, true
}
