package analyses

import (
	"slices"
	"strings"

	"deltoid/pipeline/report"
	"deltoid/schemas"
)

// trustSheets says how far the exports are trusted: rules that the plan lowers, and columns that may identify people.
func trustSheets(b *book, x Exports) []report.Sheet {
	var sheets []report.Sheet
	if len(x.Rules) > 0 {
		sheets = append(sheets, loweredSheet(b, x))
	}
	if len(x.Suspects) > 0 {
		sheets = append(sheets, suspectSheet(x.Suspects))
	}
	return sheets
}

// loweredSheet lists the rules that only warn because the plan says so, with its reason and what that let through.
func loweredSheet(b *book, x Exports) report.Sheet {
	warned := map[string]int{}
	for _, c := range x.Findings.Counts() {
		if c.Rule.Severity == schemas.Warns {
			warned[c.Rule.ID] += c.N
		}
	}
	sheet := report.Sheet{ID: "lowered-rules", Title: "Rules that the plan lowers to a warning", Columns: []string{"Rule", "Findings that only warned", "Reason given"},
		Notes: []report.Text{report.Words("A value that breaks a lowered rule counts as missing, and its row is used. In a field that every row needs the rule " +
			"sets the row aside all the same.")}}
	for _, r := range x.Rules {
		id := b.add(report.Count("accounts.lowered."+r.Rule, "accounts", "findings of the lowered rule "+r.Rule, warned[r.Rule], "findings"))
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: r.Rule, Cells: []report.Cell{number(id), words(r.Reason)}})
	}
	return sheet
}

// suspectSheet lists the columns that looked as if they could identify people. It gives the kind of identifier only: how
// many values looked like one says something about people.
func suspectSheet(suspects []schemas.Suspect) report.Sheet {
	sheet := report.Sheet{ID: "identifiers", Title: "Columns that may identify people", Columns: []string{"Column", "Table", "May hold", "What the plan says"},
		Notes: []report.Text{report.Words("All column names and all values that were read are looked at by fixed rules, which follow the 18 identifiers of " +
			"45 CFR 164.514(b)(2). They are a net and no guarantee: somebody can be recognised by what no rule looks for.")}}
	at := map[[2]string]int{}
	for _, s := range suspects {
		key := [2]string{s.Table, s.Header}
		if i, seen := at[key]; seen {
			if held := &sheet.Rows[i].Cells[1]; !strings.Contains((*held)[0].Words, s.Identifier.Title) {
				*held = words((*held)[0].Words + "; " + s.Identifier.Title)
			}
			continue
		}
		at[key] = len(sheet.Rows)
		said := "not read"
		if s.Reviewed != "" {
			said = "reviewed: " + s.Reviewed
		}
		sheet.Rows = append(sheet.Rows, report.SheetRow{Label: s.Header, Cells: []report.Cell{words(s.Table), words(s.Identifier.Title), words(said)}})
	}
	return sheet
}

// hashed says whether a file was held against a hash in the plan.
func hashed(x Exports, table, file string) string {
	at := slices.IndexFunc(x.Sources, func(s schemas.Source) bool { return s.Table == table })
	if at >= 0 && x.Sources[at].SHA256[file] != "" {
		return "as in the plan"
	}
	return "none in the plan"
}
