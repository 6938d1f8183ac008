package analyses

import (
	"strconv"
	"strings"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
)

// Exports is what was read, what was found wrong with it, and what the plan says to that.
type Exports struct {
	Tables   []*schemas.Table // in the order of the plan
	Findings *schemas.Findings
	Sources  []schemas.Source // as the plan has them
	Rules    []plan.Lowered
	Suspects []schemas.Suspect // columns that may identify people; each is reviewed or dropped in the plan
}

// accountsSection is the row ledger: every row read was used, set aside by a rule, or left unlinked. The recode log
// follows it.
func accountsSection(b *book, x Exports, ledgers []schemas.Ledger) report.Section {
	s := ledgerSection(b, x, ledgers)
	if sheet, any := recodeSheet(x.Tables); any {
		s.Sheets = append(s.Sheets, sheet)
	}
	return s
}

func ledgerSection(b *book, x Exports, ledgers []schemas.Ledger) report.Section {
	s := report.Section{
		ID:       "exports",
		Heading:  "What came in",
		Question: "Which exports were read, and is every row accounted for?",
		Method: []report.Text{report.Words("No type is guessed and no value is changed except by a recode of the plan. A row that breaks " +
			"a rule is set aside whole and listed, with its file, line, value and remedy, in the private folder set-aside. A row is unlinked " +
			"when it belongs to no shoulder with an index procedure. Numbers of rows are shown as they are: they say something about an export, not about a person.")},
	}
	read, lost := 0, 0
	for _, l := range ledgers {
		read += l.Read
		lost += l.SetAside + l.Unlinked
	}
	whole := b.add(report.Count("accounts.read", "accounts", "rows read from all exports", read, "rows"))
	out := b.add(report.Count("accounts.not-used", "accounts", "rows set aside or unlinked in all exports", lost, "rows"))
	s.Answer = []report.Text{say(value(whole), " rows were read from "+counted(len(ledgers), "table")+", of which ", value(out),
		" were set aside or could not be linked. Rows read = rows used + rows set aside + rows unlinked, in every table.")}
	s.Sheets = append(s.Sheets, ledgerSheet(b, ledgers))
	if counts := x.Findings.Counts(); len(counts) > 0 {
		s.Sheets = append(s.Sheets, findingSheet(b, counts))
	}
	s.Sheets = append(s.Sheets, trustSheets(b, x)...)
	s.Sheets = append(s.Sheets, fileSheet(b, x))
	return s
}

// counted writes a small number of things in words fit for a sentence: "1 table", "6 tables".
func counted(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return strconv.Itoa(n) + " " + thing + "s"
}

func ledgerSheet(b *book, ledgers []schemas.Ledger) report.Sheet {
	sheet := report.Sheet{ID: "row-ledger", Title: "Row ledger",
		Columns: []string{"Table", "Rows read", "Used", "Set aside", "Unlinked"}}
	for _, l := range ledgers {
		count := func(what string, n int) string {
			return b.add(report.Count("accounts."+l.Table+"."+what, "accounts", l.Table+": rows "+what, n, "rows"))
		}
		read, used, aside, unlinked := count("read", l.Read), count("used", l.Used), count("set-aside", l.SetAside), count("unlinked", l.Unlinked)
		b.total(read, used, aside, unlinked)
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: l.Table,
			Cells: []report.Cell{number(read), number(used), number(aside), number(unlinked)}})
	}
	return sheet
}

func findingSheet(b *book, counts []schemas.Count) report.Sheet {
	sheet := report.Sheet{ID: "findings", Title: "Findings by rule",
		Columns: []string{"Rule", "Table", "Findings", "What happened to the row", "What to do"}}
	for _, c := range counts {
		id := b.add(report.Count("accounts.finding."+c.Table+"."+c.Rule.ID, "accounts", c.Rule.Sentence, c.N, "findings"))
		effect := "set aside"
		switch c.Rule.Severity {
		case schemas.Warns:
			effect = warned(c.Rule)
		case schemas.Unlinks:
			effect = "not linked"
		}
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: c.Rule.Sentence, Cells: []report.Cell{
			words(c.Table), number(id), words(effect), words(c.Rule.Remedy)}})
	}
	sheet.Notes = []report.Text{report.Words("A row can break several rules, so findings can outnumber the rows set aside.")}
	return sheet
}

// warned says what becomes of a row that breaks a rule which sets nothing aside.
func warned(r *schemas.Rule) string {
	if strings.Contains(r.Sentence, "not counted") {
		return "kept, not counted"
	}
	return "used, with a warning"
}

func words(s string) report.Cell { return report.Cell(report.Words(s)) }

// fileSheet lists the files with what reading them found out.
func fileSheet(b *book, x Exports) report.Sheet {
	sheet := report.Sheet{ID: "files", Title: "Files read", Columns: []string{"File", "Table", "Rows", "Hash", "Read as"},
		Notes: []report.Text{report.Words("A file without a hash in the plan was taken as it lay there; its own hash is in the run record.")}}
	for _, t := range x.Tables {
		for i, p := range t.Sources {
			id := b.add(report.Count("accounts."+t.Schema.Name+".file-"+strconv.Itoa(i+1), "accounts", "rows in "+p.File, p.Rows, "rows"))
			sheet.Rows = append(sheet.Rows, report.SheetRow{Label: p.File,
				Cells: []report.Cell{words(t.Schema.Name), number(id), words(hashed(x, t.Schema.Name, p.File)), words(p.Note)}})
		}
	}
	return sheet
}

// recodeSheet is the recode log, one row for each field, and whether there is anything in it. It has no counts: in a table of
// one row a shoulder the cells of a code are the shoulders of a group, and here nothing ties them to the counts of the
// analyses. They are in the private list of recodes.
func recodeSheet(tables []*schemas.Table) (sheet report.Sheet, any bool) {
	sheet = report.Sheet{ID: "recodes", Title: "Recodes made", Columns: []string{"Field", "Table", "Codes", "Cells recoded"},
		Notes: []report.Text{report.Words("What each code became, and how many cells held it, is listed in the private folder set-aside, in recodes.csv.")}}
	for _, t := range tables {
		for from := 0; from < len(t.Recoded); {
			to, cells := from, 0
			for ; to < len(t.Recoded) && t.Recoded[to].Field == t.Recoded[from].Field; to++ {
				cells += t.Recoded[to].N
			}
			sheet.Rows = append(sheet.Rows, report.SheetRow{Label: t.Recoded[from].Field, Cells: []report.Cell{
				words(t.Schema.Name), words(counted(to-from, "code")), words(howMany(cells, t.Rows()))}})
			from = to
		}
	}
	return sheet, len(sheet.Rows) > 0
}

// howMany says without a number how many of all there are.
func howMany(n, all int) string {
	switch n {
	case 0:
		return "none"
	case all:
		return "all"
	default:
		return "some"
	}
}
