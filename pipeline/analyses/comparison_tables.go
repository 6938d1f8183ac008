package analyses

import (
	"slices"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/dist"
	"deltoid/stats/survival"
)

// testSheet shows the results of the tests.
func (s *comparison) testSheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-tests", Title: "Tests over the whole of follow-up", Columns: []string{"Test", "χ²", "p"}}
	for _, t := range s.tests {
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: sentence(t.name) + ", " + degrees(t.df), Cells: []report.Cell{number(t.chiID()), number(t.id)}})
	}
	sheet.Notes = []report.Text{report.Words("A p-value says how often a difference at least this large would come about by chance if the groups did not differ. " +
		"It says nothing about how large the difference is.")}
	return sheet
}

// mostPaired is the number of groups above which their pairs are no longer compared: a table of hundreds of pairs answers nothing.
const mostPaired = 12

// pairSheet compares every two groups by the first of the rates tests, where there are more than two.
func (s *comparison) pairSheet() (sheet report.Sheet, any bool, err error) {
	at := slices.IndexFunc(s.asked.Tests, func(t plan.Test) bool { return t != plan.Gray })
	if s.asked.Pairs == plan.NoPairs || at < 0 || !s.paired() {
		return sheet, false, nil
	}
	w, name := weightingOf(s.asked.Tests[at])
	pairs, err := s.pairs(w)
	if err != nil {
		return sheet, false, err
	}
	adjusted := adjust(pairs, s.asked.Pairs)
	sheet = report.Sheet{ID: s.asked.ID + "-pairs", Title: "Each pair of groups, " + name,
		Columns: []string{"Pair", "χ²", "p", "p, adjusted (" + pairsName(s.asked.Pairs) + ")"}}
	for i, pair := range pairs {
		row := s.recordPair(pair, name, adjusted[i])
		sheet.Rows = append(sheet.Rows, row)
	}
	return sheet, true, nil
}

func (s *comparison) paired() bool { return len(s.compared()) > 2 && len(s.compared()) <= mostPaired }

func pairsName(p plan.Pairs) string {
	if p == plan.BenjaminiHochberg {
		return "Benjamini–Hochberg"
	}
	return string(p)
}

// pairs compares every group with every other on the rows of the two.
func (s *comparison) pairs(w survival.Weighting) ([]survival.Pair, error) {
	if !s.byRows() {
		counts, err := s.counted()
		if err != nil {
			return nil, err
		}
		return survival.Pairwise(1, w, counts...)
	}
	var pairs []survival.Pair
	for first := range s.compared() {
		for second := first + 1; second < len(s.compared()); second++ {
			d, in := s.rowsOf(first, second)
			t, err := s.logRank(w, d, in, nil)
			if err != nil {
				return nil, err
			}
			pairs = append(pairs, survival.Pair{First: first, Second: second, Test: t})
		}
	}
	return pairs, nil
}

// rowsOf returns the rows of two groups with their strata.
func (s *comparison) rowsOf(first, second int) (survival.Data, strata) {
	return s.rowsFor(2, func(g int32) (int32, bool) {
		if int(g) == second {
			return 1, true
		}
		return 0, int(g) == first
	})
}

// rowsFor returns the rows of some groups with their strata. place gives each group its place among groups, and whether it
// is in.
func (s *comparison) rowsFor(groups int, place func(int32) (int32, bool)) (survival.Data, strata) {
	all, in := s.data(), strata{labels: s.strata.labels}
	d := survival.Data{Groups: groups, Causes: all.Causes}
	var order []int
	for i, g := range all.Group {
		if at, kept := place(g); kept {
			order, d.Group = append(order, i), append(d.Group, at)
		}
	}
	d.Entry, d.Exit, d.Cause, d.Cluster = gather(all.Entry, order), gather(all.Exit, order), gather(all.Cause, order), gather(all.Cluster, order)
	d.Weight = gather(all.Weight, order)
	in.of = gather(s.strata.of, order)
	return d, in
}

// adjust returns the adjusted p-value of each pair that could be compared.
func adjust(pairs []survival.Pair, how plan.Pairs) []float64 {
	var p []float64
	var at []int
	for i, pair := range pairs {
		if pair.Test.Status == survival.Estimated {
			p, at = append(p, pair.Test.P), append(at, i)
		}
	}
	method := dist.Holm
	if how == plan.BenjaminiHochberg {
		method = dist.BenjaminiHochberg
	}
	out := make([]float64, len(pairs))
	for j, x := range method(p) {
		out[at[j]] = x
	}
	return out
}

// recordPair records the comparison of two groups and returns its row.
func (s *comparison) recordPair(pair survival.Pair, name string, adjusted float64) report.SheetRow {
	a, b := s.groups[pair.First], s.groups[pair.Second]
	t := s.resultOf(pair.Test, name, []string{a.label, b.label})
	row := report.SheetRow{Label: against(b, a)}
	for _, part := range []struct {
		slug, measure, unit, method string
		x                           float64
	}{
		{"chi-square", "chi-square", "chi-square", "", t.chiSquare},
		{"p", "p value", report.UnitPValue, "", t.p},
		{"p-adjusted", "adjusted p value", report.UnitPValue, ", adjusted for the number of pairs by " + pairsName(s.asked.Pairs), adjusted},
	} {
		e := s.estimated(s.id("pair", b.slug, a.slug, part.slug), b, part.measure, part.unit)
		e.Group = against(b, a)
		e.N, e.Events = report.Some(float64(sum(t.n))), report.Some(float64(sum(t.events)))
		e.Method = t.method + ", 1 degree of freedom" + part.method
		if t.status == survival.Estimated {
			e.Value = report.Some(part.x)
		} else {
			e.Status, e.Note = report.NotIdentifiable, t.reason()
		}
		s.doc.Derived = append(s.doc.Derived, report.Derived{Estimate: e.ID, From: append(s.countsOf(a), s.countsOf(b)...)})
		row.Cells = append(row.Cells, number(s.add(e)))
	}
	return row
}

// countsOf names the counts that a comparison of a group rests on.
func (s *followed) countsOf(g group) []string {
	return []string{s.countID(g, "shoulders"), s.countID(g, "ended-"+slug(string(s.episodes.Causes[0])))}
}
