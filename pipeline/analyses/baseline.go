package analyses

import (
	"slices"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/describe"
)

// usual are the fields of a table of baseline characteristics when the plan names none, in the order in which papers have
// them. Findings that make an indication are left to a plan that asks for them, since they only repeat it where it makes the
// groups; so are hospitals, surgeons and implants, which have too many codes.
var usual = []string{"age", "sex", "bmi", "asa", "cuff", "arthritis_grade", "acromiohumeral_distance", "deltoid_function", "fixation",
	"approach"}

// notable is the standardised difference from which groups are called unlike. A common rule (Austin 2009), not a law.
const notable = 0.1

// baseline is a table of baseline characteristics while it is being written down.
type baseline struct {
	*portrait
	compares string   // what is compared, as a sentence begins: "The groups"
	whole    []string // ids of the shoulders by column
	rows     []report.SheetRow
	missing  []string // characteristics that some shoulder lacks
	unlike   []string // characteristics in which the groups differ notably

	largest   string // id of the largest difference of those that rest on no small count
	largestOf string // its characteristic
}

// baselineCharacteristics describes who the groups are at the operation, and how unlike they are.
func baselineCharacteristics(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	portrait, err := newPortrait(b, p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	s := &baseline{portrait: portrait, compares: "The groups"}
	s.whole = s.counts("shoulders", "shoulders", shoulders, s.n)
	s.rows = append(s.rows, s.line("Shoulders", 0, func(column int) report.Cell { return number(s.whole[column]) }))
	for _, field := range s.fields() {
		if err := s.characteristic(field); err != nil {
			return report.Section{}, err
		}
	}
	return report.Section{ID: asked.ID, Heading: s.heading(), Question: s.question(), Answer: s.answer(),
		Sheets: []report.Sheet{s.sheet()}, Method: s.method()}, nil
}

// fields returns the fields that the plan asks for, or those of the usual list that the export has.
func (s *baseline) fields() []string {
	if len(s.asked.Fields) > 0 {
		return s.asked.Fields
	}
	var fields []string
	for _, f := range usual {
		if f != s.asked.Groups.By && s.cohort.Registry.Table.Column(f) != nil {
			fields = append(fields, f)
		}
	}
	return fields
}

func (s *baseline) characteristic(name string) error {
	column, err := s.cohort.Baseline(name, s.asked.Place)
	if err != nil {
		return err
	}
	if t := column.Field.Type; t == schemas.Number || t == schemas.Integer {
		s.measured(column)
		return nil
	}
	return s.coded(column)
}

// line makes a row whose last cells, for the difference and the p-value, may be left out.
func (s *baseline) line(label string, indent int, of func(column int) report.Cell, last ...report.Cell) report.SheetRow {
	row := report.SheetRow{Label: label, Indent: indent, Cells: s.cells(of, last...)}
	for len(row.Cells) < len(s.sheetColumns())-1 {
		row.Cells = append(row.Cells, report.Cell{})
	}
	return row
}

// measured describes a field of numbers.
func (s *baseline) measured(column *schemas.Column) {
	f := column.Field
	samples := s.samples(column)
	known := make([]int, len(samples))
	for i, x := range samples {
		known[i] = len(x)
	}
	median := slices.Contains(s.asked.Medians, f.Name)
	label, cell := titleWithUnit(f)+", mean (SD)", s.meanCell
	if median {
		label, cell = titleWithUnit(f)+", median (quartiles)", s.medianCell
	}
	moments := make([]describe.Moments, len(samples))
	for i, x := range samples {
		moments[i] = describe.MomentsOf(x)
	}
	ids := s.counts(f.Name+".known", lowerTitle(f)+": known", shoulders, known)
	rests := restsOn{ids: ids, small: s.anySmall(known)}
	difference := s.difference(f, rests, func(i, j int) describe.Standardised {
		return describe.StandardisedMeans(moments[i], moments[j])
	})
	p := s.pValue(f, rests, func(groups []int) (describe.Test, string) { return testSamples(groups, samples, moments, median) })
	cells := make([]report.Cell, len(samples))
	for i, x := range samples {
		cells[i] = cell(f, i, x, ids[i])
	}
	s.rows = append(s.rows, s.line(label, 0, func(column int) report.Cell { return cells[column] }, nonEmpty(difference, p)...))
	s.missingRow(f, known, ids)
}

// samples returns the known values of every column.
func (s *baseline) samples(column *schemas.Column) [][]float64 {
	samples := make([][]float64, len(s.labels))
	for i, g := range s.group {
		row := s.row(i)
		if g == nobody || column.IsMissing(row) {
			continue
		}
		x := 0.0
		if numbers := column.Numbers(); numbers != nil {
			x = numbers[row]
		} else {
			x = float64(column.Integers()[row])
		}
		samples[g] = append(samples[g], x)
	}
	if s.groups < len(samples) {
		samples[s.groups] = slices.Concat(samples[:s.groups]...)
	}
	return samples
}

func (s *baseline) meanCell(f *schemas.Field, column int, x []float64, known string) report.Cell {
	m := describe.MomentsOf(x)
	mean := s.figure(f, "mean", "mean", column, known, m.Mean, m.Status)
	sd := s.figure(f, "sd", "standard deviation", column, known, m.SD, m.Spread)
	return valueAndShare(mean, sd)
}

func (s *baseline) medianCell(f *schemas.Field, column int, x []float64, known string) report.Cell {
	sorted := describe.Sort(x)
	middle, status := sorted.Median()
	median := s.figure(f, "median", "median", column, known, middle, status)
	lower, status := sorted.Quantile(0.25, describe.Linear)
	first := s.figure(f, "lower-quartile", "lower quartile", column, known, lower, status)
	upper, status := sorted.Quantile(0.75, describe.Linear)
	third := s.figure(f, "upper-quartile", "upper quartile", column, known, upper, status)
	return report.Cell(say(inTable(median), " (", inTable(first), " to ", inTable(third), ")"))
}

// figure records one number that describes a sample.
func (s *baseline) figure(f *schemas.Field, what, words string, column int, known string, x float64, status describe.Status) string {
	e := s.estimate(f.Name+"."+what, column, lowerTitle(f)+": "+words, f.Unit)
	e.Method = words + " of the known values"
	if status == describe.Estimated {
		e.Value = report.Some(x)
	} else {
		e.Status, e.Note = report.NotIdentifiable, status.String()
	}
	s.derived(e.ID, known)
	return s.add(e)
}

// coded describes a field of codes or texts.
func (s *baseline) coded(column *schemas.Column) error {
	f := column.Field
	of, labels, _, err := s.cohort.Groups(cohorts.Grouping{By: f.Name, Place: s.asked.Place})
	if err != nil {
		return err
	}
	var categories []int
	for i, l := range labels {
		if l != cohorts.NotRecorded {
			categories = append(categories, i)
		}
	}
	counts := make([][]int, len(categories))
	known := make([]int, len(s.labels))
	for k, category := range categories {
		counts[k] = s.countBy(func(i int) bool { return of[i] == int32(category) })
		for column, n := range counts[k] {
			known[column] += n
		}
	}
	ids := s.counts(f.Name+".known", lowerTitle(f)+": known", shoulders, known)
	names := make([]string, len(categories))
	for k, category := range categories {
		names[k] = labels[category]
	}
	rows, cells := s.categoryRows(f, names, counts, ids)
	rests := restsOn{ids: cells, small: s.anySmall(counts...)}
	difference := s.difference(f, rests, func(i, j int) describe.Standardised { return categoriesApart(counts, i, j) })
	p := s.pValue(f, rests, func(groups []int) (describe.Test, string) { return testCategories(groups, counts) })
	s.rows = append(s.rows, s.line(f.Title+", n (%)", 0, func(int) report.Cell { return report.Cell{} }, nonEmpty(difference, p)...))
	s.rows = append(s.rows, rows...)
	s.missingRow(f, known, ids)
	return nil
}

// categoryRows records the counts of the categories and returns their rows, and the ids of all counts.
func (s *baseline) categoryRows(f *schemas.Field, names []string, counts [][]int, knownIDs []string) (rows []report.SheetRow, ids []string) {
	var parts [][]string
	for k, name := range slugs(names) {
		measure := lowerTitle(f) + ": " + names[k]
		count := s.counts(f.Name+"."+name, measure, shoulders, counts[k])
		share := s.shares(f.Name+"."+name+".share", measure, "of those with a known value", count, knownIDs)
		parts, ids = append(parts, count), append(ids, count...)
		rows = append(rows, s.line(names[k], 1, func(column int) report.Cell { return valueAndShare(count[column], share[column]) }))
	}
	if len(parts) > 0 {
		s.portrait.parts(knownIDs, parts...)
	}
	return rows, ids
}

// missingRow records how many have no value, and shows them when there are any.
func (s *baseline) missingRow(f *schemas.Field, known []int, knownIDs []string) {
	missing, any := make([]int, len(known)), false
	for i := range known {
		missing[i] = s.n[i] - known[i]
		any = any || missing[i] > 0
	}
	count := s.counts(f.Name+".missing", lowerTitle(f)+": missing", missingValues, missing)
	s.portrait.parts(s.whole, knownIDs, count)
	if !any {
		return
	}
	s.missing = append(s.missing, f.Title)
	share := s.shares(f.Name+".missing.share", lowerTitle(f)+": missing", "of all shoulders of the group", count, s.whole)
	s.rows = append(s.rows, s.line("Missing", 1, func(column int) report.Cell { return valueAndShare(count[column], share[column]) }))
}

func nonEmpty(cells ...report.Cell) []report.Cell {
	return slices.DeleteFunc(cells, func(c report.Cell) bool { return c == nil })
}
