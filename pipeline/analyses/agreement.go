package analyses

import (
	"fmt"
	"math"
	"slices"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/change"
	"deltoid/stats/describe"
)

// agreeing is an account of how well two measurements agree, while it is being written down.
type agreeing struct {
	*scored
	first, second []float64
	names         [2]string
	n             string
	sheet         report.Sheet
}

// shareBetween is the share of differences that the limits of agreement are meant for: common practice since Bland and Altman.
const shareBetween = 0.95

// agreementSection asks how well one score at two visits, or two scores at one visit, agree.
func agreementSection(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	codes := asked.Instruments
	if len(codes) == 0 {
		codes = []string{asked.Scores.Instrument, asked.Scores.Instrument}
	}
	asked.Scores.Instrument = codes[0]
	shared, err := newScored(b, p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	s := &agreeing{scored: shared}
	section := report.Section{ID: asked.ID, Heading: "Agreement: " + s.instrument.Title + withinWords(asked), Question: "How well do two measurements of one shoulder agree?"}
	if s.visits == nil {
		return s.noScores(section.Heading, section.Question), nil
	}
	if err := s.measured(codes); err != nil {
		return report.Section{}, err
	}
	if section.Answer, err = s.agree(); err != nil {
		return report.Section{}, fmt.Errorf("%s: %w", asked.Place, err)
	}
	section.Sheets = []report.Sheet{s.sheet}
	section.Method = []report.Text{report.Words("Intraclass correlations are those of two-way models: absolute agreement, in which a shift between the two counts as error, and consistency, in which it does not (Shrout and Fleiss, Psychol Bull 1979;86:420; McGraw and Wong, Psychol Methods 1996;1:30). " +
		"Limits of agreement are the mean difference less and plus 1.96 standard deviations (Bland and Altman, Lancet 1986;i:307), with intervals. Kappa gives neighbouring categories credit by the square of their distance. Both shoulders of a patient are taken as independent here. " +
		"No picture of single differences is drawn: a point is a person.")}
	return section, nil
}

// measured takes the two measurements of each shoulder.
func (s *agreeing) measured(codes []string) error {
	s.first, s.names[0] = s.visits.Value[0], s.visits.Windows[0].Label
	if codes[0] == codes[1] {
		s.second, s.names[1] = s.visits.Value[1], s.visits.Windows[1].Label
		return nil
	}
	other, err := s.ask(codes[1])
	if err != nil {
		return err
	}
	second, _ := schemas.InstrumentOf(codes[1])
	s.names = [2]string{s.instrument.Title, second.Title}
	s.second = other.Value[0]
	return nil
}

func (s *agreeing) row(what, label, unit string, x change.Estimate) string {
	e := report.Estimate{ID: s.id(what), Analysis: s.asked.ID, Cohort: s.cohort.Name, Measure: label, Unit: unit, Method: "of those measured twice", Status: report.Estimated}
	settle(&e, x)
	s.derived(e.ID, s.n)
	id := s.add(e)
	s.sheet.Rows = append(s.sheet.Rows, report.SheetRow{Label: sentence(label), Cells: []report.Cell{report.Cell(say(inTable(id)))}})
	return id
}

func (s *agreeing) agree() ([]report.Text, error) {
	level := s.asked.Level
	limits, err := change.Agreement(s.first, s.second, shareBetween, level)
	if err != nil {
		return nil, err
	}
	s.sheet = report.Sheet{ID: s.asked.ID + "-table", Title: sentence(s.names[0]) + " against " + inSentence(s.names[1]), Columns: []string{"Shoulders measured twice", "Value"}}
	e := report.Count(s.id("both"), s.asked.ID, "shoulders measured twice", limits.N, shoulders)
	e.Cohort = s.cohort.Name
	s.n = s.add(e)
	s.sheet.Rows = append(s.sheet.Rows, report.SheetRow{Label: "Shoulders", Cells: []report.Cell{number(s.n)}})
	if !limits.OK() {
		_, why := notFound(limits.State)
		t := say("Of ", value(s.n), " shoulders both measurements are known: "+why+".")
		return []report.Text{t}, nil
	}
	var correlations [2]string
	for i, form := range []change.ReliabilityForm{change.TwoWayAgreement, change.TwoWayConsistency} {
		icc, err := change.Reliability([][]float64{s.first, s.second}, form, false, level)
		if err != nil {
			return nil, err
		}
		correlations[i] = s.row([]string{"agreement", "consistency"}[i], "intraclass correlation, "+form.String(), report.UnitCorrelation, icc.Estimate)
	}
	bias := s.row("bias", "mean difference, first less second", s.scoreUnit(), limits.Bias)
	low := s.row("lower-limit", "lower limit of agreement", s.scoreUnit(), limits.Lower)
	high := s.row("upper-limit", "upper limit of agreement", s.scoreUnit(), limits.Upper)
	s.row("with-mean", "rank correlation of the difference with the mean", report.UnitCorrelation, limits.WithMean)
	errorOf := change.ErrorFromRepeats(s.first, s.second)
	s.row("sem", "standard error of measurement", s.scoreUnit(), change.Estimate{Value: errorOf.SEM, State: errorOf.State})
	s.row("detectable", "smallest detectable change, 95%", s.scoreUnit(), change.Estimate{Value: errorOf.Detectable95, State: errorOf.State})
	answer := []report.Text{say("Of ", value(s.n), " shoulders measured twice ("+inSentence(s.names[0])+", "+inSentence(s.names[1])+"), the intraclass correlation is ", withInterval(correlations[0]), " for absolute agreement."),
		say("The first less the second is ", withInterval(bias), " "+s.points()+" in the mean; nineteen in twenty differences lie between ", value(low), " and ", value(high), ".")}
	s.short[s.asked.ID] = answer[0]
	return append(answer, s.kappa()...), nil
}

// kappa is the agreement of the categories that the plan divides the scores into.
func (s *agreeing) kappa() []report.Text {
	cuts := s.asked.Scores.Cuts
	if len(cuts) == 0 {
		return nil
	}
	table := make([][]int64, len(cuts)+1)
	for i := range table {
		table[i] = make([]int64, len(cuts)+1)
	}
	of := func(x float64) int {
		return len(cuts) - len(slices.DeleteFunc(slices.Clone(cuts), func(c float64) bool { return x >= c }))
	}
	for i, x := range s.first {
		if y := s.second[i]; !math.IsNaN(x) && !math.IsNaN(y) {
			table[of(x)][of(y)]++
		}
	}
	k := describe.Agreement(table, describe.QuadraticCredit, s.asked.Level)
	x := change.Estimate{Value: k.Value, SE: k.SE, Lower: k.Lower, Upper: k.Upper, Level: k.Level}
	if k.Status != describe.Estimated {
		x = change.Estimate{State: change.State{Status: change.NoSpread}}
	}
	id := s.row("kappa", "weighted kappa of the categories", report.UnitKappa, x)
	if k.Status != describe.Estimated {
		return nil
	}
	return []report.Text{say("In categories that begin at "+joinWords(plainly(cuts))+" "+s.points()+", weighted kappa is ", withInterval(id), ".")}
}

func plainly(x []float64) []string {
	out := make([]string, len(x))
	for i, v := range x {
		out[i] = plain(v)
	}
	return out
}
