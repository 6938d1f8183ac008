package analyses

import (
	"fmt"
	"strings"

	"deltoid/pipeline/report"
	"deltoid/stats/trials"
)

// assumedEstimates are the choices that the answer rests on; they are recorded when they are first said.
func (s *next) assumed(what, measure, unit string, x float64) string {
	id := s.id("assumed", what)
	if _, there := s.seen[id]; !there {
		s.add(report.Estimate{ID: id, Analysis: s.asked.ID, Measure: measure, Value: report.Some(x), Unit: unit, Method: "given", Status: report.Estimated})
	}
	return id
}

func (s *next) powerAsked() string {
	return s.assumed("power", "power", report.UnitProbability, s.ask.Power)
}

func (s *next) level() string {
	return s.assumed("significance", "two-sided significance level", report.UnitProbability, s.ask.Significance)
}

func (s *next) ratio() string {
	return s.assumed("hazard-ratio", "hazard ratio", report.UnitRatio, s.ask.HazardRatio)
}

// nextAnswer says what every size sees and finds: all of them where they are few, the first and the last otherwise.
func (s *next) nextAnswer() []report.Text {
	sizes := s.sizes
	if len(sizes) > 3 {
		sizes = []int{sizes[0], sizes[len(sizes)-1]}
	}
	var texts []report.Text
	for _, n := range sizes {
		t := say("A study of ", value(s.sizeID(n, "patients-planned")), " patients like those of this cohort, "+s.split()+" and followed as they were"+s.furtherWords()+
			", would see about ", value(s.sizeID(n, "events-expected")), " events if ")
		if s.ask.HazardRatio > 0 {
			t = append(t, say("the hazard ratio were ", value(s.ratio()), ", and find that with a power of ", withInterval(s.sizeID(n, "power")), ".")...)
		} else {
			t = append(t, say("its groups did not differ.")...)
		}
		t = append(t, say(" With a power of ", value(s.powerAsked()), " it finds hazard ratios of ", value(s.sizeID(n, "detectable-lower")), " and less, or of ",
			value(s.sizeID(n, "detectable-higher")), " and more (two-sided ", value(s.level()), " level).")...)
		texts = append(texts, t)
	}
	if s.ask.HazardRatio > 0 {
		texts = append(texts, s.neededSentence())
	}
	return texts
}

func (s *next) split() string {
	if s.ask.Allocation == 1 {
		return "half of them in each group"
	}
	return plain(s.ask.Allocation) + " in the second group for each one in the first"
}

func (s *next) furtherWords() string {
	if s.ask.Further == 0 {
		return ""
	}
	return " and " + plain(s.ask.Further) + " " + unitWord(string(s.asked.Unit), s.ask.Further) + " longer"
}

func (s *next) nextSheets() []report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-sizes", Title: "What a study of each size sees and finds",
		Columns: []string{"Patients", "Shoulders", "Events", "Deaths before", "Lost before"}}
	if s.ask.HazardRatio > 0 {
		sheet.Columns = append(sheet.Columns, "Power for a hazard ratio of "+plain(s.ask.HazardRatio), "Monte-Carlo error")
	}
	sheet.Columns = append(sheet.Columns, "Smallest detectable ratio below 1", "Above 1")
	for _, n := range s.sizes {
		row := report.SheetRow{Label: fmt.Sprint(n)}
		if len(s.ask.Patients) == 0 {
			row.Label = "As many as the cohort"
		}
		for _, what := range []string{"shoulders-expected", "events-expected", "deaths-expected", "losses-expected"} {
			row.Cells = append(row.Cells, number(s.sizeID(n, what)))
		}
		if s.ask.HazardRatio > 0 {
			row.Cells = append(row.Cells, report.Cell(say(inTable(s.sizeID(n, "power")))), number(s.sizeID(n, "power-error")))
		}
		row.Cells = append(row.Cells, report.Cell(say(inTable(s.sizeID(n, "detectable-lower")))), report.Cell(say(inTable(s.sizeID(n, "detectable-higher")))))
		sheet.Rows = append(sheet.Rows, row)
	}
	sheet.Notes = []report.Text{report.Words("Numbers of shoulders are means over the drawn studies. The ranges are what the simulation leaves open, 95%; they say nothing about whether the next patients will be like these.")}
	return []report.Sheet{sheet, s.leftSheet()}
}

// leftSheet shows how the shoulders left that studies are drawn from.
func (s *next) leftSheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-cohort", Title: "The cohort that studies are drawn from", Columns: []string{"How they left", "Shoulders"}}
	sheet.Rows = append(sheet.Rows, report.SheetRow{Label: "Came to " + s.endpoint.Label, Cells: []report.Cell{number(s.eventsID())}})
	for _, way := range []trials.Leaving{trials.ByDeath, trials.LostFrom, trials.AtCut} {
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: sentence(leftWords[way][1]), Cells: []report.Cell{number(s.leftID(way))}})
	}
	sheet.Rows = append(sheet.Rows, report.SheetRow{Label: "All", Strong: true, Cells: []report.Cell{number(s.countID(s.total(), "shoulders"))}})
	return sheet
}

// nextFigure draws power against size where there are several.
func (s *next) nextFigure() (report.Figure, bool) {
	if len(s.sizes) < 2 || s.ask.HazardRatio == 0 {
		return report.Figure{}, false
	}
	last := float64(s.sizes[len(s.sizes)-1])
	f := report.Figure{ID: s.asked.ID, Title: "Power against size, hazard ratio " + plain(s.ask.HazardRatio),
		X: report.Axis{Label: "Patients", Unit: "patients", Max: last, Ticks: ticksTo(last)},
		Y: report.Axis{Label: "Power", Unit: report.UnitProbability, Max: 1, Ticks: []float64{0, 0.2, 0.4, 0.6, 0.8, 1}}}
	c := report.Curve{Group: "Hazard ratio " + plain(s.ask.HazardRatio), Measure: "power", Sloping: true, EndX: last, End: "largest size asked for"}
	for _, n := range s.sizes {
		e := s.get(s.sizeID(n, "power"))
		if e.Status == report.Estimated {
			c.Steps = append(c.Steps, report.Step{X: float64(n), Y: e.Value.X, Lower: e.Lower, Upper: e.Upper})
			c.Estimates = append(c.Estimates, e.ID)
		}
	}
	f.Alt = f.Title + ": a line through the power of each size in the table."
	f.Curves = []report.Curve{c}
	f.Notes = []report.Text{report.Words("The band is what the simulation leaves open, 95%.")}
	return f, len(c.Steps) > 1
}

func (s *next) nextMethod() []report.Text {
	t := fmt.Sprintf("For each question %d studies were drawn (seed %d). Patients were drawn from the cohort with replacement, with all their shoulders, days of operation, deaths and losses, and allocated to two groups, %s. "+
		"In the second group the hazard of %s was multiplied by the hazard ratio: below 1 each event was kept with that probability, and a shoulder whose event was dropped went on under the hazards of those in the cohort who were still at risk; "+
		"above 1 events were added at the cohort's hazard (thinning and superposition of the product-limit hazard). Each study was analysed by a %s, two-sided. "+
		"Where a size is given as needed, studies were drawn at one size after another until their power could not be told from the one asked for. "+
		"The smallest detectable effect was found by halving the range of log hazard ratios on common random numbers.",
		s.asked.Replicates, s.asked.Seed, s.split(), s.endpoint.Label, s.test.Name)
	if s.ask.Further > 0 {
		t += " Shoulders that were watched to the data cut were watched on under the deaths and losses of the cohort."
	}
	return []report.Text{report.Words(t), s.timeText()}
}

func (s *next) nextNotes() []report.Text {
	notes := []report.Text{report.Words("The next patients are taken to be like those of this cohort, in its years and its hospitals. Events drawn beyond somebody's own follow-up are independent between the shoulders of one patient.")}
	if s.ask.Further > 0 {
		n := s.sizes[len(s.sizes)-1]
		notes = append(notes, say("Of the shoulders of the study ", value(s.sizeID(n, "beyond")), " would be watched for longer than anybody in the cohort was; they are counted up to there, since nothing is known of what comes after."))
		if s.drawn.Cut == nil {
			notes = append(notes, report.Words("The data do not say when each shoulder would have been watched to, so that this is drawn from those who left without an event."))
		}
	}
	if len(s.ask.Patients) == 0 {
		notes = append(notes, report.Words("No size is given in the plan: the study is as large as the cohort."))
	}
	if strings.Contains(s.test.Name, "clustered") {
		notes = append(notes, report.Words("The test allows for patients with two or more shoulders."))
	}
	return notes
}
