package analyses

import (
	"fmt"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/survival"
)

// followUp is the account of how long and how completely shoulders were followed while it is being written down.
type followUp struct {
	*portrait
	endpoint cohorts.Endpoint
	reversed *survival.Counts
	whole    []string // ids of the shoulders by column
	median   []string
	complete []string // completeness by column; nil without a data cut
	lost     []string
	dead     []string
	died     []int
}

// followUpSection says how long and how complete follow-up is, and who is missing at the visits.
func followUpSection(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	s, err := newFollowUp(b, p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	sheet, err := s.sheet()
	if err != nil {
		return report.Section{}, err
	}
	section := report.Section{ID: asked.ID, Heading: "Follow-up" + withinWords(asked), Question: "How long and how complete is follow-up, and who is missing?",
		Answer: s.answer(), Sheets: []report.Sheet{sheet}, Method: s.method()}
	for _, instrument := range asked.Instruments {
		visits, err := s.visits(instrument)
		if err != nil {
			return report.Section{}, err
		}
		section.Answer = append(section.Answer, visits.answer...)
		section.Sheets = append(section.Sheets, visits.sheets...)
	}
	if len(asked.Instruments) > 0 {
		section.Method = append(section.Method, report.Words("A score counts for the visit in whose window it lies; of several in one window the one closest to the time of the visit counts, of two equally "+
			"close the earlier one. A shoulder is due at a visit when the whole window lies before the data cut and before death and the endpoint. Who was assessed is compared with who was not by standardised differences."))
	}
	return section, nil
}

func newFollowUp(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (*followUp, error) {
	portrait, err := newPortrait(b, p, c, asked)
	if err != nil {
		return nil, err
	}
	s := &followUp{portrait: portrait.withAll()}
	if e := p.Endpoint(asked.Endpoint); e != nil {
		s.endpoint = *e
	}
	episodes, err := c.Episodes(s.endpoint, p.FollowUp, asked.Groups)
	if err != nil {
		return nil, err
	}
	r := episodes.Reversed()
	s.reversed, err = survival.Count(survival.Data{Entry: r.Entry, Exit: r.Exit, Cause: r.Cause, Group: r.Group, Groups: len(r.Groups), Causes: 1})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", asked.Place, err)
	}
	s.died = s.countBy(func(i int) bool { return s.dies(i) })
	return s, nil
}

// dies reports whether the patient of a shoulder is known to have died by the end of follow-up.
func (s *followUp) dies(i int) bool {
	shoulder := s.cohort.Registry.Shoulders[s.cohort.Shoulders[i]]
	cut := s.plan.FollowUp.DataCut
	return shoulder.Death != schemas.NoDay && (cut == schemas.NoDay || shoulder.Death <= cut)
}

func (s *followUp) sheet() (report.Sheet, error) {
	sheet := report.Sheet{ID: s.asked.ID + "-table", Title: "Length and completeness of follow-up", Columns: s.columns("Follow-up")}
	add := func(label string, of func(column int) report.Cell) {
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: label, Cells: s.cells(of)})
	}
	s.whole = s.counts("shoulders", "shoulders", shoulders, s.n)
	add("Shoulders", func(column int) report.Cell { return number(s.whole[column]) })
	if err := s.lengths(); err != nil {
		return sheet, err
	}
	add("Median "+string(s.asked.Unit)+" (interval)", func(column int) report.Cell { return report.Cell(say(inTable(s.median[column]))) })
	s.dead = s.counts("died", "died by the end of follow-up", shoulders, s.died)
	deadShare := s.shares("died.share", "died by the end of follow-up", "", s.dead, s.whole)
	add("Died, n (%)", func(column int) report.Cell { return valueAndShare(s.dead[column], deadShare[column]) })
	completeness, err := s.cohort.Completeness(s.endpoint, s.plan.FollowUp, s.asked.Groups)
	if err != nil || completeness == nil {
		return sheet, err
	}
	s.completeness(completeness, add)
	sheet.Notes = []report.Text{report.Words("Completeness is the observed over the possible time: the time until the endpoint, death or the last contact, over the time until the endpoint, death or the data cut. " +
		"Where a registry learns of every death and revision, a last contact before the data cut does not mean that an event was missed.")}
	return sheet, nil
}

// lengths records the median follow-up of every column by reversed censoring.
func (s *followUp) lengths() error {
	for column := range s.labels {
		counts, at := s.reversed, column
		if column == s.groups {
			counts, at = s.reversed.Pooled(), 0
		}
		q, err := counts.ProductLimit(at, 1).Quantile(0.5, s.asked.Level, survival.LogLog)
		if err != nil {
			return fmt.Errorf("%s: %w", s.asked.Place, err)
		}
		e := s.estimate("median", column, "median follow-up by reversed censoring", string(s.asked.Unit))
		e.N, e.Method = report.Some(float64(s.n[column])), "median of the reversed product-limit curve"
		s.settleMedian(&e, q)
		s.median = append(s.median, s.add(e))
	}
	return nil
}

func (s *followUp) settleMedian(e *report.Estimate, q survival.Quantile) {
	per, _ := schemas.DaysPer(s.asked.Unit)
	if q.Status != survival.Estimated {
		e.Status, e.Note = report.NotReached, "more than half had the endpoint or another event before their observation ended"
		return
	}
	e.Value, e.Level = report.Some(q.Time/per), report.Some(q.Level)
	if q.LowerStatus == survival.Estimated {
		e.Lower = report.Some(q.Lower / per)
	}
	if q.UpperStatus == survival.Estimated {
		e.Upper = report.Some(q.Upper / per)
	}
}

func (s *followUp) completeness(c *cohorts.Completeness, add func(string, func(int) report.Cell)) {
	observed, possible, lost := withSum(c.Observed, s.labels), withSum(c.Possible, s.labels), withSum(c.Lost, s.labels)
	per, _ := schemas.DaysPer(schemas.Years)
	time := make([]string, len(s.labels))
	for column := range s.labels {
		t := s.estimate("observed", column, "prosthesis-years observed", report.UnitYears)
		t.Value, t.Method, t.N = report.Some(float64(observed[column])/per), "sum", report.Some(float64(s.n[column]))
		time[column] = s.add(t)
		e := s.estimate("completeness", column, "completeness of follow-up", report.UnitProbability)
		e.Method, e.N = "observed over possible time", report.Some(float64(s.n[column]))
		if possible[column] > 0 {
			e.Value = report.Some(float64(observed[column]) / float64(possible[column]))
		} else {
			e.Status, e.Note = report.NotIdentifiable, "no time was possible"
		}
		s.complete = append(s.complete, s.add(e))
	}
	s.lost = s.counts("lost", "last known about before the data cut", shoulders, lost)
	share := s.shares("lost.share", "last known about before the data cut", "", s.lost, s.whole)
	add("Prosthesis-years observed", func(column int) report.Cell { return report.Cell(say(inTable(time[column]))) })
	add("Completeness", func(column int) report.Cell { return report.Cell(say(value(s.complete[column]))) })
	add("Last known about before the data cut, n (%)", func(column int) report.Cell { return valueAndShare(s.lost[column], share[column]) })
}

// withSum appends the sum of the groups where there is a column for the whole cohort.
func withSum[T int | int64](groups []T, labels []string) []T {
	out := append([]T(nil), groups...)
	if len(labels) > len(groups) {
		var sum T
		for _, x := range groups {
			sum += x
		}
		out = append(out, sum)
	}
	return out
}

func (s *followUp) answer() []report.Text {
	last := len(s.labels) - 1
	t := say("Follow-up had a median of ", withInterval(s.median[last]), " by reversed censoring")
	if s.get(s.median[last]).Status != report.Estimated {
		t = say("A median follow-up is not reached: more than half had an event before their observation ended")
	}
	if s.complete == nil {
		return []report.Text{say(t, ". Completeness cannot be told without a data cut.")}
	}
	return []report.Text{say(t, "; ", value(s.complete[last]), " of the possible time was observed, and ", value(s.lost[last]), " of ", value(s.whole[last]),
		" shoulders were last known about before the data cut.")}
}

func (s *followUp) method() []report.Text {
	return []report.Text{report.Words("Median follow-up is the median of the product-limit curve with event and censoring exchanged (Schemper and Smith, Control Clin Trials 1996;17:343): how long shoulders would have been " +
		"followed had none been revised and nobody died. Completeness is after Clark, Altman and De Stavola (Lancet 2002;359:1309).")}
}
