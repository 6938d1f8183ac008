package analyses

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/covariates"
	"deltoid/stats/hazards"
)

// changing is the model whose ratios may differ between stretches of follow-up.
type changing struct {
	*fitted
	labels []string // of the stretches
	events []int    // in each
	start  []int    // of each column of the model, its first column here
}

// changes are the table of the ratios by stretch of follow-up, where the plan asks for one.
func (s *modelled) changes(*plan.Plan) ([]report.Sheet, []report.Figure, error) {
	sheet, any, err := s.changeSheet()
	if err != nil || !any {
		return nil, nil, err
	}
	return []report.Sheet{sheet}, nil, nil
}

// changeSheet fits the model once more with the ratios of the groups (of all characteristics where there are no groups) free to
// differ between the stretches that the plan's times divide follow-up into.
func (s *modelled) changeSheet() (sheet report.Sheet, any bool, err error) {
	if len(s.asked.Times) == 0 || s.asked.Model != plan.HazardModel || s.fit.why != "" {
		return sheet, false, nil
	}
	c, err := s.fitChanging()
	if err != nil {
		return sheet, false, fmt.Errorf("%s: %w", s.asked.Place, err)
	}
	sheet = report.Sheet{ID: s.asked.ID + "-stretches", Title: "Hazard ratios by time since the index procedure", Columns: append([]string{"Characteristic"}, c.labels...),
		Notes: []report.Text{report.Words("The last column tests whether the ratios of a characteristic are the same in all stretches; the characteristics that are not " +
			"in this table have one ratio for the whole of follow-up.")}}
	sheet.Columns = append(sheet.Columns, "p of no change")
	for _, t := range s.varying() {
		s.changeTest(c, t)
		first := true
		for _, e := range t.effects {
			if e.reference {
				continue
			}
			row := report.SheetRow{Label: t.title + ": " + spokenGroup(t, e)}
			for k := range c.labels {
				row.Cells = append(row.Cells, report.Cell(say(inTable(s.changeRatio(c, t, e, k)))))
			}
			last := report.Cell{}
			if first {
				last, first = number(s.id("between", t.slug, "change")+".p"), false
			}
			row.Cells = append(row.Cells, last)
			sheet.Rows = append(sheet.Rows, row)
		}
	}
	return sheet, true, nil
}

// varying returns the terms whose ratios may differ.
func (s *modelled) varying() []*term {
	if s.asked.Groups.By != "" {
		return s.terms[:1]
	}
	return slices.DeleteFunc(slices.Clone(s.terms), func(t *term) bool { return t.between[0] != nil || t.asked.Knots > 0 })
}

// fitChanging cuts follow-up and fits the model.
func (s *modelled) fitChanging() (*changing, error) {
	c := &changing{fitted: &fitted{terms: s.terms, status: report.Estimated}}
	cuts, vary := make([]int32, len(s.asked.Times)), map[string]bool{}
	for i, t := range s.asked.Times {
		cuts[i] = int32(max(1, math.Round(s.days(t))))
	}
	var names []string
	for _, t := range s.varying() {
		for _, column := range t.columns {
			names, vary[column.Name] = append(names, column.Name), true
		}
	}
	var columns []covariates.Column
	at := 0
	for _, t := range s.terms {
		for _, column := range t.columns {
			columns, c.start = append(columns, column), append(c.start, at)
			if at++; vary[column.Name] {
				at += len(cuts)
			}
		}
	}
	d, columns, err := hazards.SplitTime(s.hazardData(), columns, cuts, names...)
	if err != nil {
		return nil, err
	}
	if c.hazard, err = hazards.Cox(d, 1, columns, s.hazardOptions()); err != nil {
		return nil, err
	}
	c.Fit = &c.hazard.Fit
	c.stretches(s, d, cuts)
	c.nameFaults(s)
	c.status, c.why = s.verdict(c.fitted)
	return c, nil
}

// nameFaults calls the columns that are the reason why there are no estimates by the words of the stretches, not by days.
func (c *changing) nameFaults(s *modelled) {
	var columns []covariates.Column
	for _, t := range s.terms {
		columns = append(columns, t.columns...)
	}
	for j, column := range columns {
		for k, label := range c.labels {
			if at := c.start[j] + k; at < len(c.Names) && strings.HasPrefix(c.Names[at], column.Name+", ") {
				if fault := slices.Index(c.AtFault, c.Names[at]); fault >= 0 {
					c.AtFault[fault] = "“" + column.Name + ", " + inSentence(label) + "”"
				}
			}
		}
	}
}

// stretches names the stretches and counts their events.
func (c *changing) stretches(s *modelled, d hazards.Data, cuts []int32) {
	c.events = make([]int, len(cuts)+1)
	for i, cause := range d.Cause {
		if cause == 1 {
			k, _ := slices.BinarySearch(cuts, d.Exit[i])
			c.events[k]++
		}
	}
	from, unit := "0", " "+string(s.asked.Unit)
	for _, t := range s.asked.Times {
		c.labels, from = append(c.labels, from+" to "+plain(t)+unit), plain(t)
	}
	c.labels = append(c.labels, "After "+from+unit)
}

// changeRatio records the ratio of an effect in one stretch.
func (s *modelled) changeRatio(c *changing, t *term, e effect, k int) string {
	id := s.id("between", t.slug, "part-"+strconv.Itoa(k+1))
	if e.slug != "" {
		id = s.id("between", t.slug, e.slug, "part-"+strconv.Itoa(k+1))
	}
	out := s.estimatedIn(id, groupOf(t, e), "hazard ratio, "+inSentence(t.title)+", "+inSentence(c.labels[k]), report.UnitRatio)
	out.Events, out.Method = report.Some(float64(c.events[k])), s.modelName()+s.formOf(c.fitted)+"; ratios differ between stretches of follow-up"
	if c.why != "" {
		out.Status, out.Note = c.status, "with ratios that differ between stretches, "+c.why
	} else {
		weights := make([]float64, len(c.Names))
		for j, w := range e.weights {
			weights[c.start[s.firstColumn(t)+j]+k] = w
		}
		ratioOf(&out, c.Combine(weights, s.asked.Level))
	}
	s.derivedFrom(id, s.restsOn(t, e)...)
	return s.add(out)
}

// firstColumn returns where the columns of a term begin in the model.
func (s *modelled) firstColumn(t *term) (from int) {
	for _, other := range s.terms {
		if other == t {
			break
		}
		from += len(other.columns)
	}
	return from
}

// changeTest records the test of whether the ratios of a term are the same in all stretches: the differences between each later
// stretch and the first.
func (s *modelled) changeTest(c *changing, t *term) {
	run := func() covariates.Test {
		var later, first []int
		for j := range t.columns {
			at := c.start[s.firstColumn(t)+j]
			for k := 1; k < len(c.labels); k++ {
				later, first = append(later, at+k), append(first, at)
			}
		}
		p, k, v := len(c.Names), len(later), c.Variance()
		u, m := make([]float64, k), make([]float64, k*k)
		for i := range k {
			u[i] = c.Coefficient[later[i]] - c.Coefficient[first[i]]
			for j := range k {
				m[i*k+j] = v[later[i]*p+later[j]] - v[later[i]*p+first[j]] - v[first[i]*p+later[j]] + v[first[i]*p+first[j]]
			}
		}
		return covariates.ChiSquareTest(t.title, u, m)
	}
	s.testedIn(c.fitted, s.id("between", t.slug, "change"), "no change of "+inSentence(t.title)+" between stretches of follow-up", "Wald test", run)
}
