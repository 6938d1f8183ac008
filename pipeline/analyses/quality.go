package analyses

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
)

// Quality is the report on the exports themselves, before anyone is counted: for each table its rows, what is missing,
// ranges, codes, and how complete each year is. All rows read are described, also those that a rule has set aside; a
// value that was refused counts as missing.
func Quality(p *plan.Plan, x Exports, ledgers []schemas.Ledger, version string) report.Document {
	doc := report.Document{Study: p.Study, Title: "Data quality: " + p.Title, About: p.About, Invented: p.Invented, Version: version,
		DataCut: dataCut(p), Cautions: []string{
			"This page describes exports. It says nothing about an implant, a surgeon or a hospital.",
			"What is complete can still be wrong: the rules find what contradicts itself, not what is untrue.",
			"This page is private. Small counts are masked within it alone; a report on the same rows masks others, and who has both can subtract.",
		}}
	b := newBook(&doc)
	accounts := ledgerSection(b, x, ledgers)
	doc.Lead = append(slices.Clone(accounts.Answer), report.Words("This page is private: it shows counts that a report on the same rows hides."))
	doc.Sections = append(doc.Sections, accounts)
	for _, t := range x.Tables {
		q := &portion{book: b, table: t, below: max(1, p.Disclosure.MaskBelow)}
		doc.Sections = append(doc.Sections, q.section())
	}
	return doc
}

// portion is one table of the report on quality.
type portion struct {
	book  *book
	table *schemas.Table
	below int
}

func (q *portion) section() report.Section {
	t := q.table
	s := report.Section{ID: "quality-" + t.Schema.Name, Heading: "The table " + t.Schema.Name,
		Question: "What does the table hold, what is missing, and is one year worse than the others?",
		Method: []report.Text{report.Words("Every row read is described, also one that a rule has set aside. A value that a rule refused counts as missing. A year is " +
			"compared with all other years together; a year with fewer than " + strconv.Itoa(fewest) + " rows is not singled out.")}}
	rows := q.count("rows", "rows", t.Rows(), "rows")
	s.Answer = []report.Text{say("The table has ", value(rows), " rows and "+counted(len(t.Columns()), "column")+" that were read.")}
	if t.Rows() == 0 {
		return s
	}
	years := yearsOf(t)
	if worst, any := q.fallen(years); any {
		s.Answer = append(s.Answer, worst)
	}
	s.Sheets = append(s.Sheets, q.missing())
	for _, sheet := range []report.Sheet{q.ranges(), q.codes(), q.trend(years)} {
		if len(sheet.Rows) > 0 {
			s.Sheets = append(s.Sheets, sheet)
		}
	}
	return s
}

func (q *portion) id(parts string) string { return "quality." + q.table.Schema.Name + "." + parts }

func (q *portion) count(id, measure string, n int, unit string) string {
	return q.book.add(report.Count(q.id(id), "quality", q.table.Schema.Name+": "+measure, n, unit))
}

// share records a part of rows. It carries no counts: how many rows lack a value says nothing about a person, and stands
// beside it.
func (q *portion) share(id, measure string, n, of int) string {
	return q.book.add(report.Estimate{ID: q.id(id), Analysis: "quality", Measure: q.table.Schema.Name + ": " + measure,
		Value: report.Some(float64(n) / float64(of)), Unit: report.UnitProbability, Method: "part of the rows", Status: report.Estimated})
}

func title(c *schemas.Column) string { return cmp.Or(c.Field.Title, c.Field.Name) }

// missing is how many values each column lacks.
func (q *portion) missing() report.Sheet {
	sheet := report.Sheet{ID: q.table.Schema.Name + "-missing", Title: "Missing values", Columns: []string{"Field", "Column of the file", "Missing", "Of all rows"}}
	for _, c := range q.table.Columns() {
		n := c.Missing()
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: title(c), Cells: []report.Cell{words(c.Header),
			number(q.count("missing."+c.Field.Name, c.Field.Name+" missing", n, "rows")),
			number(q.share("missing-share."+c.Field.Name, c.Field.Name+" missing", n, q.table.Rows()))}})
	}
	return sheet
}

// ranges is where the values of each numeric column lie. The very smallest and largest value belong to one person each
// and are not shown; days are shown as years.
func (q *portion) ranges() report.Sheet {
	sheet := report.Sheet{ID: q.table.Schema.Name + "-ranges", Title: "Ranges", Columns: []string{"Field", "From", "To"},
		Notes: []report.Text{report.Words(fmt.Sprintf("Shown are the values that come at place %d from the bottom and from the top, since the outermost values belong to "+
			"single people. Values outside the range that a field allows are findings.", q.below))}}
	for _, c := range q.table.Columns() {
		at := valuesOf(c)
		if at == nil {
			continue
		}
		low, high, ok := outermost(c.Len(), at, q.below)
		cells := []report.Cell{words("too few values"), nil}
		switch {
		case ok && c.Days() != nil && !q.table.Offsets:
			cells = []report.Cell{words(strconv.Itoa(yearOf(low))), words(strconv.Itoa(yearOf(high)))}
		case ok:
			cells = []report.Cell{number(q.limit(c, "low", low)), number(q.limit(c, "high", high))}
		}
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: title(c), Cells: cells})
	}
	return sheet
}

func (q *portion) limit(c *schemas.Column, end string, x float64) string {
	return q.book.add(report.Estimate{ID: q.id("range." + c.Field.Name + "." + end), Analysis: "quality", Measure: q.table.Schema.Name + ": " + c.Field.Name + " " + end,
		Value: report.Some(x), Unit: cmp.Or(c.Field.Unit, "units"), Method: "value at a place from the end", Status: report.Estimated})
}

// valuesOf returns the values of a numeric column or a column of days, NaN where missing; nil for other columns.
func valuesOf(c *schemas.Column) func(row int) float64 {
	switch {
	case c.Numbers() != nil:
		return func(row int) float64 { return c.Numbers()[row] }
	case c.Integers() != nil:
		return func(row int) float64 {
			if v := c.Integers()[row]; v != schemas.NoInt {
				return float64(v)
			}
			return math.NaN()
		}
	case c.Days() != nil:
		return func(row int) float64 {
			if v := c.Days()[row]; v != schemas.NoDay {
				return float64(v)
			}
			return math.NaN()
		}
	}
	return nil
}

// outermost returns the values at place k from the bottom and from the top of n; false when fewer than 2k are there.
func outermost(n int, at func(int) float64, k int) (low, high float64, ok bool) {
	bottom, top := make([]float64, 0, k+1), make([]float64, 0, k+1)
	keep := func(list []float64, x float64) []float64 {
		if len(list) == k && x >= list[k-1] {
			return list
		}
		place, _ := slices.BinarySearch(list, x)
		list = slices.Insert(list, place, x)
		return list[:min(k, len(list))]
	}
	known := 0
	for row := range n {
		if x := at(row); !math.IsNaN(x) {
			known++
			bottom, top = keep(bottom, x), keep(top, -x)
		}
	}
	if known < 2*k {
		return 0, 0, false
	}
	return bottom[k-1], -top[k-1], true
}

// mostCodes is how many codes of a column without a list are shown.
const mostCodes = 20

// codes is how often each code stands. These are counts of records of people: small ones are masked.
func (q *portion) codes() report.Sheet {
	sheet := report.Sheet{ID: q.table.Schema.Name + "-codes", Title: "Codes", Columns: []string{"Field and code", "Records"}}
	for _, c := range q.table.Columns() {
		if c.Codes() == nil {
			continue
		}
		n := make([]int, len(c.Levels()))
		for _, code := range c.Codes() {
			if code >= 0 {
				n[code]++
			}
		}
		q.addCodes(&sheet, c, n)
	}
	return sheet
}

func (q *portion) addCodes(sheet *report.Sheet, c *schemas.Column, n []int) {
	order := make([]int, len(n))
	for i := range order {
		order[i] = i
	}
	rest := 0
	if len(c.Field.Codes) == 0 {
		slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(n[b], n[a]) })
		for _, i := range order[min(mostCodes, len(order)):] {
			rest += n[i]
		}
		order = order[:min(mostCodes, len(order))]
	}
	whole := q.count("codes."+c.Field.Name, c.Field.Name+" given", c.Len()-c.Missing(), "records")
	sheet.Rows = append(sheet.Rows, report.SheetRow{Label: title(c), Strong: true, Cells: []report.Cell{number(whole)}})
	var parts []string
	add := func(name, label string, count int) {
		id := q.count("codes."+c.Field.Name+"."+name, c.Field.Name+": "+label, count, "records")
		parts = append(parts, id)
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: label, Indent: 1, Cells: []report.Cell{number(id)}})
	}
	labels := make([]string, len(order))
	for k, i := range order {
		labels[k] = c.Levels()[i]
	}
	for k, name := range slugs(labels) {
		add("code-"+name, c.Field.Label(labels[k]), n[order[k]])
	}
	if rest > 0 {
		add("others", "all other codes", rest)
	}
	q.book.total(whole, parts...)
	q.book.total(q.id("rows"), whole, q.id("missing."+c.Field.Name))
}
