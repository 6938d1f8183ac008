package analyses

import (
	"slices"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
)

// sensitivitySheet shows events, prosthesis-years and rates beside those under other choices of shoulders.
func (s *rates) sensitivitySheet(p *plan.Plan, byReason, clustered bool) (report.Sheet, error) {
	sheet := report.Sheet{ID: s.asked.ID + "-sensitivity", Title: "Sensitivity: other choices of shoulders",
		Columns: []string{s.groupHeader(), "Shoulders", "Prosthesis-years", s.eventsWord(), "Rate " + s.unit()}}
	if byReason {
		sheet.Columns[0] = "Reason for revision"
	}
	others, err := s.repeat(p)
	if err != nil {
		return sheet, err
	}
	varied := make([]*rates, len(others))
	for i, o := range others {
		o.countEstimates()
		o.asked.Reference = plan.AllOthers // groups are not compared here, and one may be gone
		varied[i] = &rates{followed: o.followed, form: s.form, against: -1}
		if err := varied[i].cluster(clustered); err != nil {
			return sheet, err
		}
		if err := varied[i].gather(p, byReason); err != nil {
			return sheet, err
		}
		if _, err := varied[i].rateRows(); err != nil {
			return sheet, err
		}
	}
	for _, x := range s.all() {
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: x.label, Strong: true, Cells: make([]report.Cell, len(sheet.Columns)-1)}, s.sensitivityRow(x, "Main analysis"))
		for i, v := range varied {
			if at := slices.IndexFunc(v.all(), func(y rated) bool { return y.label == x.label }); at >= 0 {
				sheet.Rows = append(sheet.Rows, v.sensitivityRow(v.all()[at], others[i].label))
			}
		}
	}
	return sheet, nil
}

func (s *rates) sensitivityRow(x rated, label string) report.SheetRow {
	of := x
	if of.group == nil {
		of = s.whole // the reasons share the shoulders and their prosthesis-years
	}
	return report.SheetRow{Label: label, Indent: 1, Cells: []report.Cell{number(s.countID(*of.group, "shoulders")), number(s.yearsID(of)),
		number(s.eventsID(x)), {{Estimate: s.rateID(x), Show: report.ShowValueAndRange}}}}
}

// sensitivitySheet shows the incidence of every reason beside that under other choices of shoulders: of every group, or of all
// together where the groups are many.
func (s *reasons) sensitivitySheet(p *plan.Plan) (report.Sheet, error) {
	sheet := report.Sheet{ID: s.asked.ID + "-sensitivity", Title: "Sensitivity: other choices of shoulders", Columns: []string{"Reason"},
		Notes: []report.Text{report.Words("Cumulative incidence of each reason.")}}
	for _, t := range s.asked.Times {
		sheet.Columns = append(sheet.Columns, plain(t)+" "+unitWord(string(s.asked.Unit), t))
	}
	others, err := s.repeat(p)
	if err != nil {
		return sheet, err
	}
	varied := make([]*reasons, len(others))
	for i, o := range others {
		if varied[i], err = s.vary(o, p); err != nil {
			return sheet, err
		}
	}
	groups := s.groups
	if len(s.parts()) > manyGroups {
		groups = groups[len(groups)-1:]
	}
	for _, g := range groups {
		if len(groups) > 1 {
			sheet.Rows = append(sheet.Rows, report.SheetRow{Label: g.label, Strong: true, Cells: make([]report.Cell, len(s.asked.Times))})
		}
		for _, r := range s.list {
			sheet.Rows = append(sheet.Rows, s.sensitivityRow(r, g, r.label))
			for i, v := range varied {
				at := s.alike(v, r)
				if same, there := v.like(g.label); there && at >= 0 {
					row := v.sensitivityRow(v.list[at], same, others[i].label)
					row.Indent = 1
					sheet.Rows = append(sheet.Rows, row)
				}
			}
		}
	}
	return sheet, nil
}

// vary estimates the incidences of the reasons in a variant of the cohort.
func (s *reasons) vary(o again, p *plan.Plan) (*reasons, error) {
	v := newReasons(o.followed, p)
	v.countEstimates()
	v.risks(merged(nil, s.asked.Times))
	if err := v.points(v.all); err != nil || len(v.ended.Codes) == 0 {
		return v, err
	}
	if err := v.split(); err != nil {
		return nil, err
	}
	if err := v.reasonEstimates(); err != nil {
		return nil, err
	}
	s.tieReasons(v, o)
	return v, nil
}

// alike returns the place of a reason among those of a variant, or −1. Reasons that are put together are one only where they are
// the same ones.
func (s *reasons) alike(v *reasons, r reason) int {
	if r.slug == othersTogether && !slices.Equal(slices.Sorted(slices.Values(s.rare)), slices.Sorted(slices.Values(v.rare))) {
		return -1
	}
	return slices.IndexFunc(v.list, func(x reason) bool { return x.label == r.label })
}

// tieReasons says that the revisions of the first shoulders are a part of all: the others follow from both.
func (s *reasons) tieReasons(v *reasons, o again) {
	if o.label != sentence(string(cohorts.FirstShoulders)) {
		return
	}
	for _, g := range s.groups {
		same, there := v.like(g.label)
		for _, r := range s.list {
			at := s.alike(v, r)
			if !there || at < 0 {
				continue
			}
			for _, t := range s.asked.Times {
				all, first := s.get(s.eventsID(r, g, t)), v.get(v.eventsID(v.list[at], same, t))
				rest := report.Count(s.id("events-beyond-first", r.slug, g.slug, s.timeMark(t)), s.asked.ID, "revisions by then beyond the first shoulder: "+r.label,
					int(all.Value.X-first.Value.X), "revisions")
				rest.Endpoint, rest.Cohort, rest.Group = r.endpoint, s.cohort.Name, g.label
				s.book.total(all.ID, first.ID, s.add(s.at(rest, t)))
			}
		}
	}
}

func (s *reasons) sensitivityRow(r reason, g group, label string) report.SheetRow {
	row := report.SheetRow{Label: label}
	for _, t := range s.asked.Times {
		row.Cells = append(row.Cells, report.Cell{{Estimate: s.reasonID(r, g, t), Show: report.ShowValueAndRange}})
	}
	return row
}
