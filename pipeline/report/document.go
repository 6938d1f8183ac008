package report

// Document is a whole report.
type Document struct {
	Study     string // short name
	Title     string
	Invented  bool   // the data are invented; every page says so
	About     string // one sentence on the data, from the plan
	DataCut   string // last day of follow-up, as shown
	Version   string // of the program
	Lead      []Text // what must be known first, if anything, and then the most important sentences, at most three
	Sections  []Section
	Cautions  []string
	Estimates []Estimate
	Totals    []Total
	Derived   []Derived
}

// Section answers one question.
type Section struct {
	ID       string // anchor: "survival-revision"
	Heading  string
	Question string // what the section answers, as a question
	Answer   []Text // sentences, first in the section
	Figures  []Figure
	Sheets   []Sheet
	Notes    []Text // footnotes
	Method   []Text // the method, in sentences fit for a methods paragraph
}

// Text is a run of words and numbers.
type Text []Span

// Span is either words, or a part of an estimate.
type Span struct {
	Words    string
	Estimate string // id; empty for plain words
	Show     Show
}

// Words makes a text without numbers.
func Words(s string) Text { return Text{{Words: s}} }

// Show says which part of an estimate is shown and how.
type Show uint8

// The parts of an estimate. Percent and decimal places follow from the estimate's unit; see [Format].
const (
	ShowValue         Show = iota // 3.1%
	ShowWithInterval              // 3.1% (95% interval 2.2% to 4.4%)
	ShowValueAndRange             // 3.1% (2.2–4.4), for tables
	ShowN                         // the number it rests on
	ShowEvents
	ShowAt    // 5 years
	ShowLevel // 95%
	ShowGiven // the value with every digit that somebody chose: 2.5%, 0.625
	// ShowOfHundred is a probability as a number of a hundred: 82 (95% interval 78 to 86).
	ShowOfHundred
)

// Sheet is a table for people.
type Sheet struct {
	ID      string
	Title   string
	Columns []string // headers; the first is the header of the row labels
	Rows    []SheetRow
	Notes   []Text
}

// SheetRow is one row of a sheet.
type SheetRow struct {
	Label  string
	Indent int  // depth below the row above, for grouped rows
	Strong bool // a total or a heading
	Cells  []Cell
}

// Cell is one cell: a text, usually a single span. An empty cell shows nothing.
type Cell Text
