package analyses

import (
	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
)

// bothSides says how many patients have two shoulders in, and which of them have a different group on each side: the
// matched pairs in which a patient is compared with himself.
func bothSides(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	portrait, err := newPortrait(b, p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	s := &sides{portrait: portrait}
	section := report.Section{ID: asked.ID, Heading: "Two shoulders of one patient" + withinWords(asked), Question: "What about both sides of one patient?"}
	if c.Registry.Anonymous {
		section.Answer = []report.Text{report.Words("The data do not tell patients apart, so every row counts as a patient of its own.")}
		return section, nil
	}
	if s.pairs, err = c.Pairs(asked.Groups); err != nil {
		return report.Section{}, err
	}
	section.Sheets = []report.Sheet{s.patientSheet()}
	if s.everyone, err = withoutCriteria(p, c, asked); err != nil {
		return report.Section{}, err
	}
	if s.matched, err = s.everyone.Pairs(asked.Groups); err != nil {
		return report.Section{}, err
	}
	if len(s.matched.Groups) > 1 && s.matched.Unsided < s.everyone.Patients() {
		section.Sheets = append(section.Sheets, s.pairSheet())
	}
	section.Answer = s.answer()
	section.Method = []report.Text{report.Words("The unit of analysis is the shoulder. Two shoulders of one patient are not independent: intervals are widened for that where the report says clustered, and the analysis " +
		"can be repeated with the first shoulder of each patient only. Patients with a different group on each side are matched pairs. Of several prostheses in one shoulder the first in the cohort counts.")}
	return section, nil
}

// sides is the account of both sides while it is being written down.
type sides struct {
	*portrait
	pairs    *cohorts.Pairs // of the cohort
	everyone *cohorts.Cohort
	matched  *cohorts.Pairs // of all linked shoulders
	patients string
	both     string
	share    string
	unsided  string // patients with a shoulder whose side is not recorded; empty when there is none
	several  string
	all      string // matched pairs of all linked shoulders
}

func (s *sides) one(what, measure string, n int, unit string) string {
	e := report.Count(s.id(what), s.asked.ID, measure, n, unit)
	e.Cohort = s.cohort.Name
	return s.add(e)
}

func (s *sides) patientSheet() report.Sheet {
	const unit = "patients"
	pairs, alike := len(s.pairs.Pairs), s.pairs.Alike
	all := s.cohort.Patients()
	s.patients = s.one("patients", "patients", all, unit)
	one := s.one("one-side", "patients with one side in", s.pairs.OneSided, unit)
	parts := []string{one}
	if s.pairs.Unsided > 0 {
		s.unsided = s.one("unsided", "patients with a shoulder whose side is not recorded", s.pairs.Unsided, unit)
		s.several = s.one("unsided-several", "of these, patients with two or more shoulders", s.pairs.Several, unit)
		s.total(s.unsided, s.several, s.one("unsided-single", "of these, patients with one shoulder", s.pairs.Unsided-s.pairs.Several, unit))
		parts = append(parts, s.unsided)
	}
	s.both = s.one("both-sides", "patients with both sides in", pairs+alike, unit)
	unlike := s.one("unlike", "patients whose sides are in different groups", pairs, unit)
	same := s.one("alike", "patients whose sides are in one group", alike, unit)
	s.total(s.patients, append(parts, s.both)...)
	s.total(s.both, unlike, same)
	e := report.Estimate{ID: s.id("both-sides", "share"), Analysis: s.asked.ID, Cohort: s.cohort.Name, Measure: "patients with both sides in",
		Unit: report.UnitProbability, Method: "proportion, Wilson interval", Status: report.Estimated}
	s.share = s.add(withWilson(e, pairs+alike, all-s.pairs.Unsided, s.asked.Level))
	s.derived(s.share, s.both, one)
	sheet := report.Sheet{ID: s.asked.ID + "-table", Title: "Patients by sides", Columns: []string{"Patients", "Number"}}
	row := func(label string, indent int, id string) {
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: label, Indent: indent, Cells: []report.Cell{number(id)}})
	}
	row("All", 0, s.patients)
	if s.unsided != "" {
		row("Side not recorded", 0, s.unsided)
		row("Two or more shoulders in the cohort", 1, s.several)
	}
	row("One side in the cohort", 0, one)
	row("Both sides in the cohort", 0, s.both)
	if len(s.pairs.Groups) > 1 {
		row("Both in one group", 1, same)
		row("In different groups", 1, unlike)
	}
	return sheet
}

// pairSheet counts the matched pairs by the groups of the first and the second shoulder, among all linked shoulders: the
// criteria of a cohort often keep one side of a pair only.
func (s *sides) pairSheet() report.Sheet {
	groups := s.matched.Groups
	n := make([][]int, len(groups))
	for i := range n {
		n[i] = make([]int, len(groups))
	}
	for _, p := range s.matched.Pairs {
		n[p.FirstGroup][p.SecondGroup]++
	}
	sheet := report.Sheet{ID: s.asked.ID + "-pairs", Title: "Matched pairs among all linked shoulders, by the group of the first and the second shoulder",
		Columns: append([]string{"First shoulder"}, groups...)}
	parts := slugs(groups)
	var all []string
	for i, label := range groups {
		row := report.SheetRow{Label: label}
		for j := range groups {
			if i == j {
				row.Cells = append(row.Cells, words("—"))
				continue
			}
			id := s.pairCount("first-"+parts[i]+".second-"+parts[j], "first "+label+", second "+groups[j], n[i][j])
			all = append(all, id)
			row.Cells = append(row.Cells, number(id))
		}
		sheet.Rows = append(sheet.Rows, row)
	}
	s.all = s.pairCount("pairs", "matched pairs", len(s.matched.Pairs))
	s.total(s.all, all...)
	sheet.Notes = []report.Text{report.Words("Columns are the second shoulder. The first is the one operated on first, the left one when both were operated on in one day.")}
	return sheet
}

func (s *sides) pairCount(what, measure string, n int) string {
	e := report.Count(s.id(what), s.asked.ID, measure, n, "patients")
	e.Cohort = s.everyone.Name
	return s.add(e)
}

func (s *sides) answer() []report.Text {
	if s.pairs.Unsided == s.cohort.Patients() {
		return []report.Text{say("The data do not say which side a shoulder is. Of ", value(s.patients), " patients, ", value(s.several),
			" have two or more shoulders in the cohort; which of them make matched pairs cannot be told.")}
	}
	texts := s.sidedAnswer()
	if s.unsided != "" {
		texts = append(texts, say("For ", value(s.unsided), " patients a side is not recorded; ", value(s.several), " of these have two or more shoulders in."))
	}
	return texts
}

func (s *sides) sidedAnswer() []report.Text {
	t := say("Of ", value(s.patients), " patients, ", value(s.both), " have both shoulders in: ", withInterval(s.share))
	if s.unsided != "" {
		t = say(t, " of those whose sides are recorded")
	}
	if s.all != "" {
		t = say(t, ". Among all linked shoulders, whatever the criteria, ", value(s.all), " patients have a different "+s.byWords()+" on each side and make matched pairs")
	}
	return []report.Text{say(t, ".")}
}
