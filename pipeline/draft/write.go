package draft

import (
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"deltoid/schemas"
)

// Plan writes the plan.
func (d *Draft) Plan() []byte {
	p := &page{}
	p.say(0, "A first study plan, written from the exports alone by \"deltoid draft\".\n\n"+
		"Lines that begin with #? wait for your decision: take the mark away when the line is right, put the right word in\n"+
		"place of several between | or of ???, and delete what does not apply. Everything else is a proposal with its reason; check it too.\n"+
		"Then run: deltoid check on this file. README.md explains every key.")
	study := strings.Trim(slugForm.ReplaceAllString(d.name(), "-"), "-")
	p.line(0, "plan: 1")
	p.line(0, "study: %s # a short name of your own", strconv.Quote(studyName(study)))
	p.line(0, "title: Revision after shoulder replacement # write your own")
	if slices.ContainsFunc(d.groups, func(g *group) bool { t := g.guessTable(); return t.table != nil && len(t.others) == 0 }) {
		p.line(0, "exports:")
	} else {
		p.wait(0, "exports:")
	}
	ready, deaths, died := false, false, false
	latest := 0
	seenTables := map[string]bool{}
	for _, g := range d.groups {
		t := g.guessTable()
		if t.table != nil && len(t.others) == 0 && !seenTables[t.table.Name] {
			seenTables[t.table.Name] = true
			ready, deaths = ready || t.table.Name == "shoulders", deaths || t.table.Name == "deaths"
			died = died || t.table.Name == "shoulders"
			p.table(g, t)
			if t.table.Name == "procedures" && len(g.wide()) > 0 && !seenTables["scores"] {
				seenTables["scores"] = true
				p.table(g, g.scoresFrom())
			}
		} else {
			p.undecided(g, t)
		}
		for _, c := range g.columns {
			latest = max(latest, c.latest)
		}
	}
	p.end(ready, deaths || died, latest)
	return []byte(p.String())
}

// Waiting returns how many lines of a plan wait for a decision.
func Waiting(plan []byte) (n int) {
	for line := range strings.Lines(string(plan)) {
		if strings.HasPrefix(strings.TrimSpace(line), mark) {
			n++
		}
	}
	return n
}

func (d *Draft) name() string {
	if abs, err := filepath.Abs(d.folder); err == nil {
		return filepath.Base(abs)
	}
	return "study"
}

func studyName(s string) string {
	if s == "" {
		return "study"
	}
	return s[:min(len(s), 60)]
}

// end writes what the files say nothing about.
func (p *page) end(ready, deaths bool, latest int) {
	if !ready {
		p.line(0, "")
		p.say(0, "The last day of follow-up: until when events are complete. The files cannot tell; only the registry can.")
		day := "YYYY-MM-DD"
		if latest > 0 {
			day = fmt.Sprintf("%d-12-31", latest)
			p.say(0, "The last date in them falls in %d.", latest)
		}
		p.wait(0, "data_cut: %s", day)
		p.line(0, "follow_up: data_cut # or last_contact, when only patients who came back are known about")
	}
	p.line(0, "")
	p.line(0, "endpoints:")
	p.line(1, "revision:")
	p.line(2, "label: revision for any reason")
	if deaths {
		p.line(2, "competing: [died] # who has died cannot be revised any more")
	}
	p.line(0, "analyses:")
	p.line(1, "- kind: implant survival")
	p.line(1, "  endpoint: revision")
	p.line(1, "  times: [1, 2, 5] # in years; add \"by: indication\" or another field for groups")
}

// undecided writes a group of files whose table is not known, with the keys commented out.
func (p *page) undecided(g *group, t guess) {
	p.line(0, "")
	candidates := schemas.Names()
	if t.table != nil {
		candidates = append([]string{t.table.Name}, t.others...)
	}
	p.say(1, "Which table is this? Its columns fit: %s.", strings.Join(candidates, ", "))
	p.wait(1, "???: # the name of the table")
	p.wait(1, "  files: [%s]", quoted(g.shown()))
	if g.sheet != "" {
		p.wait(1, "  sheet: %s", quote(g.sheet))
	}
	p.overview(g)
}

func (g *group) shown() []string {
	list := make([]string, len(g.files))
	for i, f := range g.files {
		list[i] = f.shown
	}
	return list
}

// overview lists the columns as comments.
func (p *page) overview(g *group) {
	for _, c := range g.columns {
		p.say(2, "%s: %s", strconv.Quote(c.header), g.about(c))
	}
}

// about says what a column holds.
func (g *group) about(c *profile) string {
	text := c.kind()
	if c.isDated() && len(c.families) > 0 {
		text += " written " + c.written()
	}
	if c.missing > 0 {
		text += ", " + shown(c.missing, "empty cells")
	}
	if why := g.suspect(c.header); why != "" {
		return text + "; may identify people: " + why
	}
	if slices.Contains(append(words["patient"], "patient"), plainName(c.header)) || c.isDated() || c.isNumeric() {
		return text
	}
	if parts := c.frequent(); parts != "" {
		text += ": " + parts
	}
	return text
}

// frequent lists the values of a column that has few, those that stand often enough to be told.
func (p *profile) frequent() string {
	const most = 12
	codes := p.codes()
	if codes == nil || len(codes) > most {
		return ""
	}
	var parts []string
	rare := false
	for _, v := range codes {
		if n := p.counts[v]; n >= fewest {
			parts = append(parts, fmt.Sprintf("%s (%d)", strconv.Quote(v), n))
		} else {
			rare = true
		}
	}
	if rare {
		parts = append(parts, "rare ones")
	}
	return strings.Join(parts, ", ")
}

// table writes a group of files as a table.
func (p *page) table(g *group, t guess) {
	p.line(0, "")
	p.say(1, "%s, %s. Proposed as %s: %s.", strings.Join(some(g.shown(), 3), ", "), shown(g.rows, "rows"), t.table.Name, t.why)
	if how := slices.DeleteFunc(strings.Split(g.note, "; "), func(s string) bool { return s == "" || strings.HasPrefix(s, "not used") }); len(how) > 0 {
		p.say(1, "Read as: %s.", strings.Join(how, "; "))
	}
	p.line(1, "%s:", t.table.Name)
	p.files(g)
	used := p.columns(g, t)
	p.wide(g, t)
	p.dates(g, used)
	p.codes(g, t, used)
	p.missing(slices.Concat(used, g.scores(t)))
	p.units(g, used)
	p.identifiers(g, used)
	p.rest(g, t, used)
}

// some returns the first of a list and how many follow.
func some(list []string, n int) []string {
	if len(list) <= n {
		return list
	}
	return append(slices.Clone(list[:n]), fmt.Sprintf("and %d more", len(list)-n))
}

func (p *page) files(g *group) {
	if len(g.files) == 1 {
		p.line(2, "files: %s", quote(g.files[0].shown))
		p.line(2, "sha256: %s # the file as it was looked at; a run stops when it is another one", strconv.Quote(g.files[0].hash))
	} else {
		p.line(2, "files: [%s]", quoted(g.shown()))
		p.line(2, "sha256: # the files as they were looked at; a run stops when one differs")
		for _, f := range g.files {
			p.line(3, "%s: %s", strconv.Quote(f.shown), strconv.Quote(f.hash))
		}
	}
	if g.sheet != "" {
		p.line(2, "sheet: %s", quote(g.sheet))
	}
	if g.encoding == schemas.Windows1252 {
		p.line(2, "encoding: windows-1252 # not UTF-8; look at a name with an accent to see that this is right")
	}
	comma, point := 0, 0
	for _, c := range g.columns {
		if c.isNumeric() || strings.HasPrefix(c.kind(), "numbers") {
			comma, point = comma+c.comma, point+c.point
		}
	}
	if comma > 0 && point == 0 {
		p.line(2, "decimal: comma # every number with decimals has one")
	}
}

// field is a field with the column that is read for it.
type field struct {
	*schemas.Field
	column *profile
}

// columns writes which column each field is, and returns the fields that have one.
func (p *page) columns(g *group, t guess) []field {
	var used []field
	var live, waiting []string
	for i := range t.table.Fields {
		f := &t.table.Fields[i]
		if len(t.wide) > 0 && slices.Contains(wideFields, f.Name) {
			continue
		}
		switch candidates := t.columns[f.Name]; {
		case len(candidates) == 1:
			c := g.column(candidates[0])
			live = append(live, fmt.Sprintf("%s: %s # %s", f.Name, quote(c.header), reason(f, c)))
			used = append(used, field{f, c})
		case len(candidates) > 1:
			waiting = append(waiting, fmt.Sprintf("%s: %s", f.Name, harmless(strings.Join(candidates, " | "))))
		case f.Required:
			waiting = append(waiting, fmt.Sprintf("%s: ??? # needed in every row; no column has a name for it", f.Name))
		}
	}
	p.group(2, "columns: # our field: their column", live, waiting)
	return used
}

func reason(f *schemas.Field, c *profile) string {
	if plainName(f.Name) == plainName(c.header) {
		return "the same name"
	}
	return "its name is one of those for " + strings.ToLower(f.Title)
}

// codes writes which of their codes is which of ours.
func (p *page) codes(g *group, t guess, used []field) {
	var body page
	any := false
	for _, f := range used {
		codes := f.column.codes()
		if len(f.Codes) == 0 || codes == nil || g.suspect(f.column.header) != "" {
			continue
		}
		var live, waiting []string
		ours := make([]string, len(f.Codes))
		for i, c := range f.Codes {
			ours[i] = c.Value
		}
		for _, v := range codes {
			n := shown(f.column.counts[v], "rows")
			switch code, ok := guessCode(f.Field, v); {
			case ok && code == v:
			case ok:
				live = append(live, fmt.Sprintf("%s: %s # %s", strconv.Quote(v), strconv.Quote(code), n))
			case f.column.tokens[v] > 0 && !wholeForm.MatchString(v): // told under missing
			default:
				waiting = append(waiting, fmt.Sprintf("%s: ??? # %s", strconv.Quote(v), n))
			}
		}
		any = any || len(live) > 0
		if len(waiting) > 0 {
			body.say(3, "Our codes of %s: %s.", f.Name, strings.Join(ours, ", "))
		}
		body.group(3, f.Name+":", live, waiting)
	}
	if body.Len() == 0 {
		return
	}
	if any {
		p.line(2, "recode: # field: {their code: our code}")
	} else {
		p.line(2, mark+"recode: # field: {their code: our code}")
	}
	p.WriteString(body.String())
}

// missing writes the marks that look like missing values, for a decision: only the registry knows whether 99 is one.
func (p *page) missing(used []field) {
	found := map[string]bool{}
	var where []string
	for _, f := range used {
		for _, v := range slices.Sorted(maps.Keys(f.column.tokens)) {
			n := f.column.tokens[v]
			if _, isCode := guessCode(f.Field, v); isCode || f.column.isNumeric() && wholeForm.MatchString(v) && !strings.HasPrefix(v, "-") && v != "999" && v != "9999" {
				continue
			}
			found[v] = true
			where = append(where, fmt.Sprintf("%s in %s of %s", strconv.Quote(v), shown(n, "cells"), f.column.header))
		}
	}
	if len(found) == 0 {
		return
	}
	p.say(2, "These look like missing values: %s.", strings.Join(where, "; "))
	p.wait(2, "missing: [%s]", quoted(slices.Sorted(maps.Keys(found))))
}

// units writes the units of lengths of time.
func (p *page) units(g *group, used []field) {
	var live, waiting []string
	for _, f := range used {
		if f.Type != schemas.Integer || f.Unit != string(schemas.Days) {
			continue
		}
		switch unit := unitIn(f.column.header); {
		case unit == schemas.Days:
		case unit != "":
			live = append(live, fmt.Sprintf("%s: %s # the column's name says so", f.Name, unit))
		default:
			waiting = append(waiting, fmt.Sprintf("%s: days | weeks | months | years # nothing in the file says which", f.Name))
		}
	}
	p.group(2, "units:", live, waiting)
}

// identifiers writes the columns that may identify people.
func (p *page) identifiers(g *group, used []field) {
	var drop, reviewed []string
	for _, c := range g.columns {
		why := g.suspect(c.header)
		if i := slices.IndexFunc(used, func(f field) bool { return f.column == c }); i >= 0 {
			if used[i].Name == "age" && c.overdue > 0 && why == "" {
				why = "ages over 89"
			}
			if why != "" {
				p.say(2, "%s is read, and may identify people: %s. Take it out of the export, or say why it may stay.", strconv.Quote(c.header), why)
				reviewed = append(reviewed, strconv.Quote(c.header)+": ???")
			}
			continue
		}
		if why != "" {
			p.say(2, "%s may identify people: %s. It is not read; better take it out of the export.", strconv.Quote(c.header), why)
			drop = append(drop, c.header)
		}
	}
	if len(reviewed) > 0 {
		p.wait(2, "reviewed: {%s}", strings.Join(reviewed, ", "))
	}
	if len(drop) > 0 {
		p.wait(2, "drop: [%s]", quoted(drop))
	}
}

// rest lists the columns that are not read.
func (p *page) rest(g *group, t guess, used []field) {
	if len(t.wide) > 0 && len(g.guessTable().wide) == 0 {
		p.say(2, "The other columns of the file stand above, with the table that they were proposed for.")
		return
	}
	first, scores := true, g.scoresFrom()
	for _, c := range g.columns {
		if scores.isWide(c.header) && t.table.Name == "procedures" || t.isWide(c.header) || slices.ContainsFunc(used, func(f field) bool { return f.column == c }) {
			continue
		}
		if first {
			p.say(2, "Columns that are not read. One that is wanted for criteria or groups goes under extra, as in extra: {name: {type: code, column: NAME}}.")
			first = false
		}
		p.say(2, "  %s: %s", strconv.Quote(c.header), g.about(c))
	}
}
