package analyses

import (
	"fmt"
	"math"
	"strings"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/mixed"
)

func filled(pattern, words string) string { return strings.Replace(pattern, "%s", words, 1) }

// sheets are the tables of the section.
func (s *repeated) sheets() []report.Sheet {
	if s.model == nil {
		return []report.Sheet{s.triedSheet()}
	}
	sheets := []report.Sheet{s.meanSheet()}
	if len(s.columns) > 1 {
		sheets = append(sheets, s.contrastSheet())
	}
	if dropout, any := s.dropoutSheet(); any {
		sheets = append(sheets, dropout)
	}
	if len(s.tried) > 1 {
		sheets = append(sheets, s.triedSheet())
	}
	return append(sheets, s.covarianceSheet(), s.checkSheet())
}

// meanSheet shows the means by visit and group, and the change since the first visit.
func (s *repeated) meanSheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-means", Title: "Adjusted means at each visit, " + s.points(), Columns: []string{"Visit", "Scores", "Adjusted mean", "Change since “" + s.data.Visits[0] + "”"}}
	for _, c := range s.each {
		label := s.visits.Windows[c.k].Label
		cells := func(column int) []report.Cell {
			return []report.Cell{number(c.scores[column]), shownOrNot(c.mean[column]), shownOrNot(c.change[column])}
		}
		if len(s.columns) == 1 {
			sheet.Rows = append(sheet.Rows, report.SheetRow{Label: label, Cells: cells(s.columns[0])})
			continue
		}
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: label, Strong: true, Cells: make([]report.Cell, 3)})
		for _, column := range s.columns {
			sheet.Rows = append(sheet.Rows, report.SheetRow{Label: s.labels[column], Indent: 1, Cells: cells(column)})
		}
	}
	sheet.Notes = []report.Text{report.Words(sentence(s.meansWords()) + ". Means of all visits come from all the scores of one model, so that a shoulder that stays away later still tells with those it has.")}
	return sheet
}

func shownOrNot(id string) report.Cell {
	if id == "" {
		return nil
	}
	return report.Cell(say(inTable(id)))
}

// contrastSheet compares each group with the first at each visit.
func (s *repeated) contrastSheet() report.Sheet {
	reference := inSentence(s.labels[s.columns[0]])
	sheet := report.Sheet{ID: s.asked.ID + "-contrasts", Title: "Differences from " + reference + ", " + s.points(),
		Columns: []string{"Visit", "Adjusted difference", "p value", "Difference of the changes since “" + s.data.Visits[0] + "”"}}
	for _, c := range s.each {
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: s.visits.Windows[c.k].Label, Strong: true, Cells: make([]report.Cell, 3)})
		for _, column := range s.columns[1:] {
			sheet.Rows = append(sheet.Rows, report.SheetRow{Label: s.labels[column], Indent: 1,
				Cells: []report.Cell{shownOrNot(c.difference[column]), shownOrNot(c.p[column]), shownOrNot(c.changeDifference[column])}})
		}
	}
	sheet.Notes = []report.Text{say("That the groups have the same means at every visit: p ", value(s.overall["groups"]), "; that their differences are the same at every visit: p ", value(s.overall["course"]),
		". A p value of one visit is one of several; read them with the test of all.")}
	return sheet
}

// triedSheet compares the covariances of the plan.
func (s *repeated) triedSheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-covariances", Title: "Covariances of the plan, in their order",
		Columns: []string{"Covariance", "Parameters", "Akaike's criterion", "Bayesian criterion", "Against the first that holds it, p value", "What became of it"}}
	for i, a := range s.tried {
		name := string(a.covariance)
		row := report.SheetRow{Label: sentence(name), Cells: make([]report.Cell, 5)}
		fit := a.model.Fit
		switch {
		case fit.Status != mixed.Converged:
			row.Cells[4] = words("no result: " + repeatedWords(fit.Status, fit.AtFault))
		default:
			c := fit.Criteria()
			add := func(what, measure, unit, method string, x float64) report.Cell {
				e := s.modelEstimate("covariance-"+slug(name)+"."+what, measure+", covariance "+name, unit, method)
				e.Value = report.Some(x)
				return report.Cell(say(inTable(s.add(e))))
			}
			row.Cells[0] = add("parameters", "parameters of the covariance", "parameters", "number of them that are not 0 by themselves", float64(c.Parameters))
			row.Cells[1] = add("akaike", "Akaike's criterion", "criterion", "−2 restricted log-likelihood + 2 parameters", c.Akaike)
			row.Cells[2] = add("bayes", "Bayesian criterion", "criterion", "−2 restricted log-likelihood + log(independent units) parameters", c.Bayes)
			row.Cells[3] = s.ratio(i, name)
			row.Cells[4] = words("")
			if a.covariance == s.chosen.covariance {
				row.Cells[4] = words("the results are of it")
			}
		}
		sheet.Rows = append(sheet.Rows, row)
	}
	sheet.Notes = []report.Text{report.Words("The results are those of the first covariance that the scores can tell, not of the one with the best criterion: a choice by the data would make intervals too short. " +
		"Smaller criteria are better. The p value is that of the likelihood ratio against a covariance of the list that holds this one as a special case; a small one says that this covariance is too simple.")}
	return sheet
}

// ratio tests a covariance against the first of the list that holds it.
func (s *repeated) ratio(i int, name string) report.Cell {
	for _, larger := range s.tried {
		c, err := larger.model.Fit.Compare(s.tried[i].model.Fit)
		if err != nil || c.Status != mixed.Converged {
			continue
		}
		e := s.modelEstimate("covariance-"+slug(name)+".p", "likelihood ratio of the covariance "+name+" against "+string(larger.covariance), report.UnitPValue, "likelihood ratio test")
		e.Value, e.Note = report.Some(c.P), fmt.Sprintf("chi-square %.6g with %d degrees of freedom", c.ChiSquare, c.DF)
		return report.Cell(say(inTable(s.add(e))))
	}
	return nil
}

// modelEstimate is an estimate of the whole model.
func (s *repeated) modelEstimate(what, measure, unit, method string) report.Estimate {
	return report.Estimate{ID: s.id(what), Analysis: s.asked.ID, Cohort: s.cohort.Name, Measure: measure, Unit: unit, Status: report.Estimated, Method: method}
}

// covarianceSheet shows the fitted standard deviations and correlations.
func (s *repeated) covarianceSheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-correlations", Title: "How scores of one shoulder vary and go together, as fitted", Columns: []string{"Visit", "Standard deviation"}}
	for _, name := range s.data.Visits[:len(s.data.Visits)-1] {
		sheet.Columns = append(sheet.Columns, "Correlation with “"+name+"”")
	}
	k, fit := len(s.places), s.model.Fit
	correlation := fit.Correlation()
	for v, place := range s.places {
		w := s.visits.Windows[place]
		e := s.modelEstimate(w.ID+".fitted-sd", w.Label+": standard deviation of scores about their means, as fitted", s.scoreUnit(), s.modelWords())
		e.Value = report.Some(math.Sqrt(fit.Covariance[v*(k+1)]))
		row := report.SheetRow{Label: w.Label, Cells: []report.Cell{report.Cell(say(inTable(s.add(e))))}}
		for u := range k - 1 {
			if u >= v {
				row.Cells = append(row.Cells, nil)
				continue
			}
			other := s.visits.Windows[s.places[u]]
			e := s.modelEstimate(w.ID+".correlation-"+other.ID, w.Label+" and "+other.Label+": correlation of scores about their means, as fitted", report.UnitCorrelation, s.modelWords())
			e.Value = report.Some(correlation[v*k+u])
			row.Cells = append(row.Cells, report.Cell(say(inTable(s.add(e)))))
		}
		sheet.Rows = append(sheet.Rows, row)
	}
	if s.two {
		sheet.Notes = []report.Text{say("Of the variance at the last visit, ", value(s.sharedByPatients()), " is shared by the two shoulders of a patient.")}
	}
	if s.chosen.covariance == plan.SpatialPower {
		sheet.Notes = append(sheet.Notes, report.Words("Correlations are those at the mean time of each visit."))
	}
	return sheet
}

// sharedByPatients is the share of the variance that two shoulders of a patient have in common.
func (s *repeated) sharedByPatients() string {
	fit := s.model.Fit
	between := fit.Parameters[len(fit.Parameters)-1].Estimate
	e := s.modelEstimate("shared", "share of the variance at the last visit that the two shoulders of a patient have in common", report.UnitProbability, s.modelWords())
	e.Value = report.Some(between / fit.Covariance[len(fit.Covariance)-1])
	return s.add(e)
}

// checkSheet says how the scores lie about the model.
func (s *repeated) checkSheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-checks", Title: "How well the model fits", Columns: []string{"Of the standardised residuals", "Value", "If the model held"}}
	r := s.model.Fit.Residuals()
	row := func(what, measure, unit string, x float64, expected string) {
		e := s.modelEstimate("check."+what, measure, unit, "standardised residuals of the model")
		e.Value = report.Some(x)
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: sentence(measure), Cells: []report.Cell{report.Cell(say(inTable(s.add(e)))), words(expected)}})
	}
	row("sd", "standard deviation of the residuals", report.UnitSpread, r.SD, "1")
	row("skewness", "skewness", report.UnitSpread, r.Skewness, "0")
	row("kurtosis", "excess kurtosis", report.UnitSpread, r.Kurtosis, "0")
	row("beyond", "share of residuals beyond three standard deviations", report.UnitProbability, float64(r.Beyond3)/float64(len(r.Standardised)), "0.27%")
	row("correlation", "largest distance of an observed correlation from the fitted one", report.UnitCorrelation, r.MostDistant, "about 0")
	sheet.Notes = []report.Text{report.Words("Means hold up well when residuals are not normal; intervals of single shoulders would not. Scores that end at a best value make residuals skewed.")}
	return sheet
}
