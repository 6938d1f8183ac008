package draft

import (
	"path"
	"slices"
	"strings"

	"deltoid/schemas"
)

// guess is a proposal with its reason.
type guess struct {
	table   *schemas.Schema
	why     string
	others  []string // tables that fit as well: then nothing is proposed
	columns map[string][]string
	wide    []wideColumn // of scores in wide form
}

// guessTable proposes which table a group of files is: the one whose fields most of its columns name, with a word for the
// names of the files. Two that fit equally well are not decided.
func (g *group) guessTable() guess {
	var best guess
	most := 0
	for _, name := range schemas.Names() {
		s, err := schemas.Shipped(name)
		if err != nil {
			continue
		}
		proposed := guess{table: s, columns: g.match(s)}
		if from := g.scoresFrom(); name == "scores" && len(from.wide) > 0 && len(proposed.columns["instrument"]) == 0 {
			proposed = from
		}
		columns, needed := proposed.columns, requiredOf(s, len(proposed.wide) > 0)
		score, required := min(len(proposed.wide), 4), 0
		for i := range s.Fields {
			if len(columns[s.Fields[i].Name]) == 0 {
				continue
			}
			score += 2
			if s.Fields[i].Required {
				required++
			}
		}
		word := g.named(name)
		if word != "" {
			score += 7
		}
		if required == 0 && word == "" {
			continue
		}
		score += 3*required - 3*(needed-required)
		proposed.why = reasonFor(columns, required, needed, word)
		switch {
		case score > most:
			most, best = score, proposed
		case score == most && best.table != nil:
			best.others = append(best.others, name)
		}
	}
	return best
}

func filled(columns map[string][]string) (n int) {
	for _, c := range columns {
		if len(c) > 0 {
			n++
		}
	}
	return n
}

// named returns the word in the names of the files that speaks of a table.
func (g *group) named(table string) string {
	for _, word := range files[table] {
		all := true
		for _, f := range g.files {
			all = all && strings.Contains(folded(path.Base(f.shown)), word)
		}
		if all {
			return word
		}
	}
	return ""
}

// match finds, for each field of a table, the columns whose name says that they are it: those with its own name, or else
// those with one of its other names. A column is taken by the first field only when that is its own name.
func (g *group) match(s *schemas.Schema) map[string][]string {
	found := map[string][]string{}
	taken := map[string]bool{}
	for i := range s.Fields {
		for _, h := range g.header {
			if plainName(h) == plainName(s.Fields[i].Name) {
				found[s.Fields[i].Name] = append(found[s.Fields[i].Name], h)
				taken[h] = true
			}
		}
	}
	for i := range s.Fields {
		f := &s.Fields[i]
		if len(found[f.Name]) > 0 {
			continue
		}
		names := words[f.Name]
		if f.Name == "day" {
			names = slices.Concat(days[s.Name], names)
		}
		for _, h := range g.header {
			if !taken[h] && slices.Contains(names, plainName(h)) && g.fits(f, h) {
				found[f.Name] = append(found[f.Name], h)
			}
		}
	}
	for _, list := range found {
		if len(list) == 1 {
			taken[list[0]] = true
		}
	}
	for name, list := range found {
		if len(list) > 1 {
			found[name] = slices.DeleteFunc(list, func(h string) bool { return taken[h] && plainName(h) != plainName(name) })
		}
	}
	return found
}

// fits reports whether what a column holds can be what a field wants.
func (g *group) fits(f *schemas.Field, header string) bool {
	if len(g.columns) == 0 {
		return true
	}
	p := g.column(header)
	switch {
	case p.known() == 0:
		return true
	case f.Type == schemas.Date:
		return len(p.families) > 0 || p.zoned > 0 || p.small >= p.known() || strings.ContainsAny(p.forms(), "-/.")
	case f.Type == schemas.Number || f.Type == schemas.Integer:
		return p.isNumeric()
	}
	return true
}

// guessCode proposes which of a field's codes one of the export's is: the same word in other letters, the label, or a
// word that means one thing only. Digits say nothing.
func guessCode(f *schemas.Field, theirs string) (ours string, ok bool) {
	for _, c := range f.Codes {
		if c.Value == theirs {
			return c.Value, true
		}
	}
	if ours, ok := codeWords[f.Name][plainCode(theirs)]; ok && f.Label(ours) != "" && hasCode(f, ours) {
		return ours, true
	}
	for _, c := range f.Codes {
		if plainCode(c.Value) == plainCode(theirs) && plainCode(theirs) != "" || strings.EqualFold(c.Label, theirs) {
			return c.Value, true
		}
	}
	return "", false
}

func hasCode(f *schemas.Field, code string) bool {
	return slices.ContainsFunc(f.Codes, func(c schemas.CodeValue) bool { return c.Value == code })
}

// unitIn returns the unit of time that a column's name says, empty when it says none or several.
func unitIn(header string) schemas.Unit {
	name := strings.ToLower(header)
	var units []schemas.Unit
	for _, u := range []struct {
		unit  schemas.Unit
		words []string
	}{{schemas.Days, []string{"day", "tage"}}, {schemas.Weeks, []string{"week", "woche", "semaine"}}, {schemas.Months, []string{"month", "monat", "mths", "mois"}},
		{schemas.Years, []string{"year", "jahr", "yrs"}}} {
		if slices.ContainsFunc(u.words, func(w string) bool { return strings.Contains(name, w) }) {
			units = append(units, u.unit)
		}
	}
	if len(units) == 1 {
		return units[0]
	}
	return ""
}
