package draft

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"deltoid/schemas"
)

// wideColumn is a column whose name is an instrument with a visit.
type wideColumn struct {
	header, instrument string
	after              string // "12 months"; empty for a visit before the operation, or one that the name does not tell
}

// instruments are words in names of columns that speak of an instrument.
var instruments = map[string]string{"constant": "constant", "ases": "ases", "oxford": "oxford", "oss": "oxford", "sst": "sst", "woos": "woos",
	"spadi": "spadi", "quickdash": "quickdash", "qdash": "quickdash", "ssv": "subjective", "subjective": "subjective", "pain": "pain"}

var (
	visitForm  = regexp.MustCompile(`(?i)^([0-9]{1,3})(d|w|wk|m|mo|mth|y|yr|days?|weeks?|months?|years?)$`)
	beforeForm = regexp.MustCompile(`(?i)^(pre|preop|base|baseline|before|0)$`)
	parts      = regexp.MustCompile(`[A-Za-z]+|[0-9]+[A-Za-z]*`)
	visitUnits = map[byte]string{'d': "days", 'w': "weeks", 'm': "months", 'y': "years"}
)

// wide finds columns of scores in wide form: one for each instrument and visit. An instrument without a visit is not one.
func (g *group) wide() (found []wideColumn) {
	for _, h := range g.header {
		words := parts.FindAllString(strings.ReplaceAll(h, "_", " "), -1)
		if len(words) < 2 {
			continue
		}
		code, ok := instruments[strings.ToLower(words[0])]
		if !ok {
			continue
		}
		last := words[len(words)-1]
		switch m := visitForm.FindStringSubmatch(last); {
		case m != nil:
			found = append(found, wideColumn{h, code, m[1] + " " + visitUnits[strings.ToLower(m[2])[0]]})
		case beforeForm.MatchString(last):
			found = append(found, wideColumn{header: h, instrument: code})
		}
	}
	return found
}

// wideFields are the fields of scores that have no column of their own in wide form.
var wideFields = []string{"day", "instrument", "value"}

// scoresFrom proposes the table scores from the wide columns of a group.
func (g *group) scoresFrom() guess {
	s, err := schemas.Shipped("scores")
	if err != nil {
		return guess{}
	}
	columns := g.match(s)
	for _, f := range wideFields {
		delete(columns, f)
	}
	return guess{table: s, columns: columns, wide: g.wide(), why: "the names of some of its columns are an instrument with a visit"}
}

// wide writes the wide columns. The day of a visit is left to decide: it may have a column, or be counted from another.
func (p *page) wide(g *group, t guess) {
	if len(t.wide) == 0 {
		return
	}
	var dated []string
	var layout []schemas.Layout
	for _, c := range g.columns {
		if len(c.layouts) > 0 {
			dated = append(dated, c.header)
			layout = append(layout, c.layouts...)
		}
	}
	p.say(2, "One column for each instrument and visit. The day of a visit is in a column, or so long after another: day: NAME, after: 12 months.")
	p.say(2, "Columns of dates: %s.", strings.Join(dated, ", "))
	p.wait(2, "wide:")
	for _, w := range t.wide {
		after := ""
		if w.after != "" {
			after = ", after: " + w.after
		}
		p.wait(3, "%s: {instrument: %s, day: ???%s}", quote(w.header), w.instrument, after)
	}
	slices.Sort(layout)
	switch layout = slices.Compact(layout); {
	case len(layout) == 1 && layout[0] != schemas.ISODate:
		p.line(2, "dates: {day: %s} # the only layout in the file", layout[0])
	case len(layout) > 1:
		p.wait(2, "dates: {day: %s}", layoutsOr(layout))
	}
}

// isWide reports whether a column is read as a wide score.
func (t guess) isWide(header string) bool {
	return slices.ContainsFunc(t.wide, func(w wideColumn) bool { return w.header == header })
}

// requiredOf returns how many fields of a table every row needs in a column of its own.
func requiredOf(s *schemas.Schema, wide bool) (n int) {
	for i := range s.Fields {
		if s.Fields[i].Required && !(wide && slices.Contains(wideFields, s.Fields[i].Name)) {
			n++
		}
	}
	return n
}

// reasonFor says why a table is proposed.
func reasonFor(columns map[string][]string, required, of int, word string) string {
	why := fmt.Sprintf("%d of its columns have the name of a field, %d of them of the %d that every row needs", filled(columns), required, of)
	if word != "" {
		why += fmt.Sprintf("; the name of the file holds %q", word)
	}
	return why
}
