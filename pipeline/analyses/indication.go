package analyses

import (
	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/describe"
)

// indication is the account of how the indications were settled while it is being written down.
type indication struct {
	*portrait
	settlement *cohorts.Settlement
	slugs      []string   // of the indications
	cells      [][]string // ids of the counts, [recorded][settled]
	recorded   []string   // ids of the totals
	settled    []string
	all        string
	compared   string // shoulders with both
	agree      string
	differ     string
	kappa      string
	share      string
}

// indicationDecided says how the indication was decided: what was recorded, what the rules settled on, and how far the two
// agree.
func indicationDecided(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	portrait, err := newPortrait(b, p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	section := report.Section{ID: asked.ID, Heading: "How the indication was decided" + withinWords(asked),
		Question: "How was the indication decided: what was recorded, and what do the findings say?"}
	s := &indication{portrait: portrait, settlement: c.Settlement()}
	if s.settlement == nil {
		section.Answer = []report.Text{report.Words("The indication is the recorded one: the export has no findings by which it could be settled.")}
		return section, nil
	}
	s.count()
	section.Answer, section.Sheets = s.answer(), []report.Sheet{s.crossSheet(), s.ruleSheet()}
	section.Method = []report.Text{
		report.Words("The indication is settled from the recorded code and the recorded findings by a table of rules that is tried from top to bottom; the first rule whose " +
			"conditions all hold decides, and where none does the recorded code stands. " + s.basis()),
		report.Words("Agreement beyond chance is Cohen's kappa (Educ Psychol Meas 1960;20:37) with the large-sample interval of Fleiss, Cohen and Everitt (Psychol Bull 1969;72:323), over " +
			"the shoulders that have both. Shoulders of one patient are taken as independent. Shoulders that the criteria of the cohort left out are not in it, so it says how the two agree within this cohort."),
	}
	return section, nil
}

// basis says which of the two the analyses use.
func (s *indication) basis() string {
	if s.cohort.Definition.Indication == cohorts.Settled {
		return "The analyses of this report use the settled indication."
	}
	return "The analyses of this report use the recorded indication."
}

// count records the cross table, its margins and the agreement.
func (s *indication) count() {
	t := s.settlement
	s.slugs = slugs(t.Labels)
	n := len(t.Counts)
	s.all = s.one("shoulders", "shoulders", s.n[0])
	table := make([][]int64, 0, n)
	agree, compared, off, diagonal := 0, 0, []string(nil), []string(nil)
	for i, row := range t.Counts {
		ids := make([]string, n)
		both := make([]int64, 0, n)
		for j, k := range row {
			ids[j] = s.one("recorded-"+s.slugs[i]+".settled-"+s.slugs[j], "recorded "+t.Labels[i]+", settled "+t.Labels[j], k)
			if t.Codes[i] == "" || t.Codes[j] == "" {
				continue
			}
			both, compared = append(both, int64(k)), compared+k
			if i == j {
				agree, diagonal = agree+k, append(diagonal, ids[j])
			} else {
				off = append(off, ids[j])
			}
		}
		s.cells = append(s.cells, ids)
		if t.Codes[i] != "" {
			table = append(table, both)
		}
	}
	s.margins()
	s.compared = s.one("compared", "recorded and settled", compared)
	s.agree, s.differ = s.one("agree", "recorded and settled agree", agree), s.one("differ", "recorded and settled differ", compared-agree)
	s.total(s.compared, s.agree, s.differ)
	s.total(s.agree, diagonal...)
	s.total(s.differ, off...)
	s.agreement(table, agree, compared)
}

// one records a count over the whole cohort.
func (s *indication) one(what, measure string, n int) string {
	e := report.Count(s.id(what), s.asked.ID, measure, n, shoulders)
	e.Cohort = s.cohort.Name
	return s.add(e)
}

func (s *indication) margins() {
	t := s.settlement
	for i := range t.Counts {
		row, column, down := 0, 0, make([]string, 0, len(t.Counts))
		for j := range t.Counts {
			row, column, down = row+t.Counts[i][j], column+t.Counts[j][i], append(down, s.cells[j][i])
		}
		s.recorded = append(s.recorded, s.one("recorded-"+s.slugs[i], "recorded "+t.Labels[i], row))
		s.settled = append(s.settled, s.one("settled-"+s.slugs[i], "settled "+t.Labels[i], column))
		s.total(s.recorded[i], s.cells[i]...)
		s.total(s.settled[i], down...)
	}
	s.total(s.all, s.recorded...)
	s.total(s.all, s.settled...)
}

// agreement records the share that agree and kappa. Both go when a count they rest on is hidden; with the margins shown, the value of kappa says no more than how many agree.
func (s *indication) agreement(table [][]int64, agree, compared int) {
	share := report.Estimate{ID: s.id("agreement"), Analysis: s.asked.ID, Cohort: s.cohort.Name, Unit: report.UnitProbability,
		Measure: "recorded and settled agree",
		Method:  "proportion, Wilson interval", Status: report.Estimated}
	s.share = s.add(withWilson(share, agree, compared, s.asked.Level))
	k := describe.Agreement(table, describe.NoPartialCredit, s.asked.Level)
	e := report.Estimate{ID: s.id("kappa"), Analysis: s.asked.ID, Cohort: s.cohort.Name, Unit: report.UnitKappa,
		Measure: "agreement beyond chance of recorded and settled",
		Method:  "Cohen's kappa, large-sample interval", Status: report.Estimated}
	if k.Status != describe.Estimated {
		e.Status, e.Note = report.NotIdentifiable, k.Status.String()
	} else {
		e.Value, e.Level = report.Some(k.Value), report.Some(s.asked.Level)
		e.Lower, e.Upper, e.Note = s.limits(k)
	}
	s.kappa = s.add(e)
	for _, id := range []string{s.share, s.kappa} {
		s.derived(id, s.agree, s.differ)
	}
}

// limits gives the interval of kappa; rounded outward to two decimals where the table holds a small count, since at full
// precision they are one more equation between its cells.
func (s *indication) limits(k describe.Kappa) (lower, upper report.Optional, note string) {
	if !s.anySmall(s.settlement.Counts...) {
		return report.Some(k.Lower), report.Some(k.Upper), ""
	}
	return report.Some(max(-1, roundDown(k.Lower))), report.Some(min(1, -roundDown(-k.Upper))),
		"the limits are rounded outward to two decimals, because the table holds small counts"
}

func (s *indication) answer() []report.Text {
	if s.get(s.kappa).Status == report.NotIdentifiable {
		return []report.Text{say("In ", value(s.agree), " of ", value(s.compared), " shoulders the findings lead to the indication that was recorded, and in ", value(s.differ),
			" to another. Agreement beyond chance cannot be worked out ("+s.get(s.kappa).Note+").")}
	}
	return []report.Text{say("In ", value(s.agree), " of ", value(s.compared), " shoulders the findings lead to the indication that was recorded, and in ", value(s.differ),
		" to another: agreement ", withInterval(s.share), ", beyond chance kappa ", withInterval(s.kappa), ". "+s.basis())}
}

func (s *indication) crossSheet() report.Sheet {
	t := s.settlement
	sheet := report.Sheet{ID: s.asked.ID + "-table", Title: "Recorded against settled",
		Columns: append(append([]string{"Recorded"}, t.Labels...), cohorts.All)}
	for i, label := range t.Labels {
		if s.get(s.recorded[i]).Value.X == 0 {
			continue
		}
		row := report.SheetRow{Label: label}
		for j := range t.Labels {
			row.Cells = append(row.Cells, number(s.cells[i][j]))
		}
		sheet.Rows = append(sheet.Rows, withCell(row, number(s.recorded[i])))
	}
	last := report.SheetRow{Label: cohorts.All, Strong: true}
	for j := range t.Labels {
		last.Cells = append(last.Cells, number(s.settled[j]))
	}
	sheet.Rows = append(sheet.Rows, withCell(last, number(s.all)))
	sheet.Notes = []report.Text{report.Words("Rows are the recorded indication, columns the settled one; where the two have one name they agree. An indication that was recorded for no shoulder has no row.")}
	return sheet
}

func withCell(r report.SheetRow, c report.Cell) report.SheetRow {
	r.Cells = append(r.Cells, c)
	return r
}

// ruleSheet says which rule decided how many shoulders, and on what ground. Rules that decided none are left out.
func (s *indication) ruleSheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-rules", Title: "The rules that decided", Columns: []string{"Rule", "Shoulders", "Changed the recorded indication", "Source"}}
	var parts []string
	changes := map[string][]string{} // by the indication that a rule settles on
	for _, by := range s.settlement.By {
		n := s.one("rule."+slug(by.ID), "decided by: "+by.ID, by.N)
		parts = append(parts, n)
		changed := s.one("rule."+slug(by.ID)+".changed", "changed by: "+by.ID, by.Changed)
		s.total(n, changed, s.one("rule."+slug(by.ID)+".kept", "kept by: "+by.ID, by.N-by.Changed))
		changes[by.Settles] = append(changes[by.Settles], changed)
		if by.N > 0 {
			sheet.Rows = append(sheet.Rows, report.SheetRow{Label: by.Sentence, Cells: []report.Cell{number(n), number(changed), words(by.Source)}})
		}
	}
	s.total(s.all, parts...)
	s.tieChanges(changes)
	sheet.Notes = []report.Text{report.Words("In the order in which they are tried; rules that decided no shoulder are left out.")}
	return sheet
}

// tieChanges says that the cross table and the rules count the same changes: what was changed to an indication is what stands
// beside the diagonal of its column, and what the rules that settle on it changed. Without it, one of them gives a masked
// count of the other away.
func (s *indication) tieChanges(changes map[string][]string) {
	t := s.settlement
	for j, code := range t.Codes {
		var beside []string
		n := 0
		for i := range t.Codes {
			if i != j {
				beside, n = append(beside, s.cells[i][j]), n+t.Counts[i][j]
			}
		}
		if len(beside) == 0 || len(changes[code]) == 0 {
			continue
		}
		whole := s.one("changed-to-"+s.slugs[j], "changed to "+t.Labels[j], n)
		s.total(whole, beside...)
		s.total(whole, changes[code]...)
	}
}
