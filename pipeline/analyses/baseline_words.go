package analyses

import (
	"strings"

	"deltoid/pipeline/report"
	"deltoid/schemas"
)

func titleWithUnit(f *schemas.Field) string {
	if f.Unit == "" {
		return f.Title
	}
	return f.Title + " (" + strings.ReplaceAll(f.Unit, "m2", "m²") + ")"
}

// lowerTitle is a field's title inside a sentence; one in capitals stays.
func lowerTitle(f *schemas.Field) string { return inSentence(f.Title) }

// inSentence makes the first letter small, unless the word is an abbreviation.
func inSentence(title string) string {
	if len(title) < 2 || strings.ToUpper(title[:2]) == title[:2] {
		return title
	}
	return strings.ToLower(title[:1]) + title[1:]
}

func (s *baseline) heading() string {
	heading := "Baseline characteristics"
	if by := s.byWords(); by != "" {
		heading += ", by " + by
	}
	return heading + withinWords(s.asked)
}

// byWords names the field of the groups, empty when there is none.
func (s *portrait) byWords() string {
	column := s.cohort.Registry.Column(s.asked.Groups.By, s.cohort.Definition.Indication)
	if s.asked.Groups.By == "" || column == nil {
		return ""
	}
	return lowerTitle(column.Field)
}

func (s *baseline) question() string {
	if len(s.compared()) < 2 {
		return "Who are the patients at the operation?"
	}
	return "Who are the patients at the operation, and are the groups comparable?"
}

// answer says how far the groups are apart, in words that name the characteristics.
func (s *baseline) answer() []report.Text {
	if len(s.compared()) < 2 {
		return []report.Text{say(value(s.whole[0]), " shoulders are described as they were at the operation. There is one group, so nothing is compared.")}
	}
	if s.largest == "" {
		return []report.Text{report.Words("No standardised difference between the groups can be shown; the table says why.")}
	}
	of := ""
	if len(s.compared()) > 2 {
		of = " (" + s.get(s.largest).Note + ")"
	}
	return []report.Text{say(s.compares+" are furthest apart in "+inSentence(s.largestOf)+", by ", value(s.largest), " standard deviations"+of+".", s.unlikeWords())}
}

func (s *baseline) unlikeWords() report.Text {
	if len(s.unlike) == 0 {
		return report.Words(" In nothing are they more than 0.1 apart, the usual bound for a balanced comparison.")
	}
	return report.Words(" They are more than 0.1 apart, the usual bound for a balanced comparison, in " + listed(s.unlike) +
		": a plain comparison of their results compares these too.")
}

// listed writes titles as a list in a sentence.
func listed(titles []string) string {
	var items []report.Text
	for _, t := range titles {
		items = append(items, report.Words(inSentence(t)))
	}
	var b strings.Builder
	for _, span := range join(items) {
		b.WriteString(span.Words)
	}
	return b.String()
}

func (s *baseline) sheetColumns() []string {
	columns := s.columns("At the operation")
	if groups := s.compared(); len(groups) == 2 {
		columns = append(columns, "Standardised difference")
	} else if len(groups) > 2 {
		columns = append(columns, "Largest standardised difference")
	}
	if s.asked.PValues && len(s.compared()) > 1 {
		columns = append(columns, "p")
	}
	return columns
}

func (s *baseline) sheet() report.Sheet {
	sheet := report.Sheet{ID: s.asked.ID + "-table", Title: s.heading(), Columns: s.sheetColumns(), Rows: s.rows}
	sheet.Notes = append(sheet.Notes, report.Words("Percents of categories are of the shoulders of the group with a known value; percents missing are of all shoulders of the group."))
	if len(s.compared()) > 1 {
		sheet.Notes = append(sheet.Notes, report.Words(s.formula()))
	}
	if len(s.missing) == 0 {
		sheet.Notes = append(sheet.Notes, report.Words("No value is missing."))
	}
	return sheet
}

// formula states the standardised differences and their sign.
func (s *baseline) formula() string {
	of := "the first group minus the second; it is positive when the first is larger"
	if len(s.compared()) > 2 {
		of = "between any two groups, the largest in absolute value, without a sign; its row in the estimates names the two"
	}
	return "Standardised difference, " + of + ". Measured: (m₁ − m₂)/√((s₁² + s₂²)/2) with means m and standard deviations s. " +
		"Two categories: (p₁ − p₂)/√((p₁(1 − p₁) + p₂(1 − p₂))/2) with the shares p of the first category among the known (Austin, Stat Med 2009;28:3083). " +
		"More categories: √(Tᵀ S⁻¹ T), always without a sign, with T the differences of the shares and S the mean of their two covariance matrices (Yang and Dalton 2012). " +
		"Missing values are left out of it."
}

func (s *baseline) method() []report.Text {
	texts := []report.Text{report.Words("The unit is the shoulder; a patient with two shoulders is described twice. Values belong to the index procedure; one that became known " +
		"later is refused as a characteristic at the operation. Medians are those of the textbook, the middle value or the mean of the two in the middle; quartiles are of type 7 of Hyndman and Fan (Am Stat 1996;50:361).")}
	if s.asked.PValues {
		texts = append(texts, report.Words("P-values were asked for. They say whether a difference could be chance in groups of this size; how large it is, the standardised difference says. "+
			"The test of each characteristic is named in its row of the estimates; the two shoulders of one patient are taken as independent in it."))
	} else {
		texts = append(texts, report.Words("Groups are compared by standardised differences, not by p-values, which depend on the number of shoulders."))
	}
	return texts
}
