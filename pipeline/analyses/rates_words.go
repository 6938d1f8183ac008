package analyses

import (
	"fmt"
	"strconv"
	"strings"

	"deltoid/pipeline/report"
)

// mostDots is the number of groups above which a figure would be longer than it is useful.
const mostDots = 60

func (s *rates) eventsWord() string {
	if s.endpoint.Event == "revised" || s.endpoint.Event == "" {
		return "Revisions"
	}
	return "Events"
}

func (s *rates) rateHeading(byReason bool) string {
	h := "Rate of " + s.endpoint.Label
	switch by := s.byWords(); {
	case byReason:
		h += ", by reason"
	case by != "":
		h += ", by " + by
	}
	return h + s.chosen()
}

// rateAnswer says the rate of the whole, then those of the groups where they are few, then how they compare.
func (s *rates) rateAnswer() []report.Text {
	texts := []report.Text{say("There were ", value(s.eventsID(s.whole)), " "+strings.ToLower(s.eventsWord())+" in ", value(s.yearsID(s.whole)),
		" "+unitProsthesisYears+": ", withInterval(s.rateID(s.whole)), ".")}
	if len(s.list) == 0 || len(s.list) > chanceGroups {
		return texts
	}
	var values, ratios []report.Text
	for i, x := range s.list {
		values = append(values, say(withInterval(s.rateID(x)), s.within(x)))
		if _, yes := s.other(i); yes {
			ratios = append(ratios, say(withInterval(s.id("ratio", x.slug)), " times as high", s.within(x)))
		}
	}
	texts = append(texts, say("The rate was ", join(values), "."))
	if len(ratios) > 0 {
		texts = append(texts, say("Compared with "+s.spokenReference()+", it was ", join(ratios), "."))
	}
	return texts
}

// within says of which group or reason a number is.
func (s *rates) within(x rated) string {
	if x.group == nil {
		return " for " + s.spoken(x.label)
	}
	return " in " + s.spoken(x.label)
}

func (s *rates) spokenReference() string {
	if s.against < 0 {
		return "all others"
	}
	return s.spoken(s.list[s.against].label)
}

// shorten says the answer in one sentence for the top of the report: of the groups or reasons where they are few, of the
// whole otherwise.
func (s *rates) shorten() {
	list := s.list
	if len(list) == 0 || len(list) > chanceGroups {
		list = []rated{s.whole}
	}
	var values []report.Text
	for _, x := range list {
		number := say(shown{s.rateID(x), report.ShowValueAndRange})
		if len(list) > 1 {
			number = append(number, report.Span{Words: s.within(x)})
		}
		values = append(values, number)
	}
	s.short[s.asked.ID] = say(fmt.Sprintf("Rate of %s %s (%s%% interval): ", s.endpoint.Label, s.unit(), plain(100*s.asked.Level)), join(values), ".")
}

// rateSheet shows what every rate is made of, and how the groups compare.
func (s *rates) rateSheet(byReason bool) report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-rates", Title: s.eventsWord() + " " + s.unit(),
		Columns: []string{s.groupHeader(), "Shoulders", "Prosthesis-years", s.eventsWord(), "Rate"}}
	if byReason {
		sheet.Columns = []string{"Reason for revision", s.eventsWord(), "Rate"}
	}
	if s.compared() {
		sheet.Columns = append(sheet.Columns, "Ratio to "+s.withWhom(), "p", "Difference from "+s.withWhom())
		sheet.Notes = []report.Text{say("p of one rate for all groups: ", value(s.id("one-rate", "p")), ".")}
	}
	for i, x := range s.all() {
		row := report.SheetRow{Label: x.label, Strong: i == len(s.list) && i > 0}
		if !byReason {
			row.Cells = []report.Cell{number(s.countID(*x.group, "shoulders")), number(s.yearsID(x))}
		}
		row.Cells = append(row.Cells, number(s.eventsID(x)), report.Cell{{Estimate: s.rateID(x), Show: report.ShowValueAndRange}})
		if s.compared() {
			row.Cells = append(row.Cells, s.contrastCells(i, x)...)
		}
		sheet.Rows = append(sheet.Rows, row)
	}
	return sheet
}

func (s *rates) contrastCells(i int, x rated) []report.Cell {
	if i == s.against {
		return []report.Cell{words("reference"), {}, {}}
	}
	if i >= len(s.list) {
		return []report.Cell{{}, {}, {}}
	}
	return []report.Cell{{{Estimate: s.id("ratio", x.slug), Show: report.ShowValueAndRange}}, number(s.id("ratio", x.slug, "p")),
		{{Estimate: s.id("difference", x.slug), Show: report.ShowValueAndRange}}}
}

// rateFigures draws the rates of the groups or reasons under one another, with the rate of the whole as a line.
func (s *rates) rateFigures() []report.Figure {
	if len(s.list) < 2 || len(s.list) > mostDots {
		return nil
	}
	f := report.Figure{ID: s.asked.ID, Title: "Rate of " + s.endpoint.Label, X: report.Axis{Label: sentence(s.eventsWord()) + " " + s.unit(), Unit: s.unit()},
		Line:  s.rateID(s.whole),
		Notes: []report.Text{report.Words("Dots are rates, lines their " + plain(100*s.asked.Level) + "% intervals; an arrow marks an interval that goes on. The upright line is the rate of all.")}}
	if s.list[0].group == nil {
		f.Notes = []report.Text{report.Words("Dots are rates, lines their " + plain(100*s.asked.Level) + "% intervals; an arrow marks an interval that goes on.")}
		f.Line = ""
	}
	f.Alt = f.Title + " " + s.unit() + ": one dot with its interval for each group. The table gives the values."
	for _, x := range s.list {
		f.Dots = append(f.Dots, report.Dot{Label: x.label, Estimate: s.rateID(x)})
	}
	return []report.Figure{f}
}

func (s *rates) rateMethods() []report.Text {
	source := "Garwood, Biometrika 1936;28:437"
	if s.asked.Interval != "exact" {
		source = "Cohen and Yang, Stat Med 1994;13:2189"
	}
	texts := []report.Text{s.timeText(), report.Words(fmt.Sprintf("Prosthesis-years are the days under observation divided by 365.25. Events are taken as a Poisson count; "+
		"intervals aim at %s%% and are %s (%s).", plain(100*s.asked.Level), s.form, source))}
	if s.clustered {
		texts = append(texts, report.Words("Two shoulders of one patient are not taken for those of two patients: events are divided by their design effect, the variance of a rate over "+
			"patients over that over shoulders (Stukel and others, Stat Med 1994;13:1781), before exact limits are made (as for surveys: Korn and Graubard, Survey "+
			"Methodology 1998;24:193). Where there is no event the shoulders of a patient are taken to be wholly alike."))
	}
	if s.compared() {
		texts = append(texts, report.Words(fmt.Sprintf("Rates are compared with %s: ratios by %s limits given the events of both (Przyborowski and Wilenski, Biometrika 1940;31:313), with a "+
			"two-sided p-value of twice the smaller tail; differences by squaring and adding the arms of the two intervals (Zou and Donner, Stat Med 2008;27:1693). "+
			"One rate for all groups is tested by the χ² of observed and expected events (Breslow and Day, Statistical Methods in Cancer Research II, 1987).",
			s.spokenReference(), s.form)))
		if s.clustered {
			texts = append(texts, report.Words("Patients with shoulders in two groups are allowed for, and the test of one rate is divided by the mean design effect (Rao and Scott, J Am Stat Assoc 1981;76:221)."))
		}
	}
	return texts
}

// chanceGroups is from how many groups on a reader is warned of differences by chance.
const chanceGroups = 5

func (s *rates) rateNotes() []report.Text {
	notes := []report.Text{report.Words("A rate sums up a hazard that may change; the table by time since the index procedure shows how it does.")}
	if groups := len(s.list); s.compared() && groups >= chanceGroups {
		notes = append(notes, report.Words("With "+strconv.Itoa(groups)+" groups some look unlike the others by chance alone: where all have one rate, about one p-value in twenty is below 0.05. "+
			"P-values are not adjusted for that; look at the test of one rate first, and at a group again when more years are in."))
	}
	if len(s.rare) > 0 {
		notes = append(notes, report.Words("Too rare to be shown by themselves, and put together: "+strings.Join(s.rare, ", ")+"."))
	}
	return notes
}
