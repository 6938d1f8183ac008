package draft

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"deltoid/schemas"
)

// wideColumn is a column whose name is an instrument with a visit, or a date with a visit.
type wideColumn struct {
	header, instrument string
	visit              string // "12 months", "12" without a unit, or "before"
	dated              bool   // it holds the day of the visit; then it may do without an instrument
}

// instruments are words in names of columns that speak of an instrument, without accents and blanks.
var instruments = map[string]string{"constant": "constant", "cs": "constant", "cms": "constant", "ases": "ases", "oxford": "oxford", "oss": "oxford",
	"sst": "sst", "woos": "woos", "spadi": "spadi", "quickdash": "quickdash", "qdash": "quickdash", "ssv": "subjective", "subjective": "subjective", "sane": "sane", "elevation": "elevation", "flexion": "elevation", "strength": "strength",
	"pain": "pain", "schmerz": "pain", "douleur": "pain"}

// besideScores are words that may stand beside an instrument without making it another number: the total, not a part of it.
var besideScores = []string{"score", "scores", "total", "sum", "summe", "points", "punkte", "pkt", "wert", "value", "murley", "shoulder", "vas", "nrs"}

var (
	dateWords   = []string{"date", "datum", "day", "tag", "dt", "fecha", "data"}
	beforeWords = []string{"pre", "preop", "prae", "praop", "praeop", "pra", "base", "baseline", "before", "vor", "avant", "bl"}
	visitUnits  = map[string]string{"d": "days", "day": "days", "days": "days", "tag": "days", "tage": "days", "jours": "days",
		"w": "weeks", "wk": "weeks", "wks": "weeks", "week": "weeks", "weeks": "weeks", "wo": "weeks", "woche": "weeks", "wochen": "weeks", "semaines": "weeks",
		"m": "months", "mo": "months", "mth": "months", "mths": "months", "month": "months", "months": "months", "mon": "months", "monat": "months", "monate": "months", "mois": "months",
		"y": "years", "yr": "years", "yrs": "years", "year": "years", "years": "years", "j": "years", "jahr": "years", "jahre": "years", "an": "years", "ans": "years"}
	nameParts = regexp.MustCompile(`[a-z]+|[0-9]+`)
)

// before is the visit of a score from before the operation.
const before = "before"

// wide finds columns of scores in wide form: one for each instrument and visit. An instrument without a visit is not one,
// and numbers without a unit that count from 1 are the items of a questionnaire.
func (g *group) wide() (found []wideColumn) {
	bare := map[string][]string{}
	for _, h := range g.header {
		if w, ok := wideName(h); ok && !w.dated {
			found = append(found, w)
			if wholeForm.MatchString(w.visit) {
				bare[w.instrument] = append(bare[w.instrument], w.visit)
			}
		}
	}
	return slices.DeleteFunc(found, func(w wideColumn) bool {
		items := bare[w.instrument]
		return slices.Contains(items, w.visit) && slices.Contains(items, "1") && slices.Contains(items, "2") && slices.Contains(items, "3")
	})
}

// wideName reads the name of a column as an instrument or the word for a date, a visit, and nothing else.
func wideName(header string) (w wideColumn, ok bool) {
	words := nameParts.FindAllString(folded(header), -1)
	w.header = header
	for i := 0; i < len(words); i++ {
		word := words[i]
		switch {
		case word == "quick" && i+1 < len(words) && words[i+1] == "dash" && w.instrument == "":
			w.instrument, i = "quickdash", i+1
		case instruments[word] != "" && (w.instrument == "" || w.instrument == instruments[word]):
			w.instrument = instruments[word]
		case slices.Contains(beforeWords, word) && w.visit == "":
			w.visit = before
		case word == "op" && w.visit == before: // "pre-op"
		case word == "t" && i+1 < len(words) && words[i+1] == "0": // "t0"
		case word == "0" && w.visit == "":
			w.visit = before
		case wholeForm.MatchString(word) && len(word) <= 3 && w.visit == "":
			if w.visit = word; i+1 < len(words) && visitUnits[words[i+1]] != "" {
				w.visit, i = word+" "+visitUnits[words[i+1]], i+1
			}
		case slices.Contains(dateWords, word):
			w.dated = true
		case !slices.Contains(besideScores, word):
			return w, false
		}
	}
	return w, w.visit != "" && (w.instrument != "" || w.dated)
}

// dayOf returns the column of dates that belongs to a score: one with its instrument and its visit in the name, or with its
// visit alone; empty when there is none.
func (g *group) dayOf(w wideColumn) string {
	for _, instrument := range []string{w.instrument, ""} {
		for _, h := range g.header {
			if d, ok := wideName(h); ok && d.dated && d.instrument == instrument && d.visit == w.visit && g.column(h).isDated() {
				return h
			}
		}
	}
	return ""
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
	var dated, layout []string
	for _, c := range g.columns {
		if c.isDated() {
			dated = append(dated, c.header)
			layout = append(layout, c.written())
		}
	}
	p.say(2, "One column for each instrument and visit. The day of a visit is in a column, or so long after another: day: NAME, after: 12 months.")
	p.say(2, "Columns of dates: %s.", strings.Join(dated, ", "))
	p.wait(2, "wide:")
	for _, w := range t.wide {
		p.wait(3, "%s: {instrument: %s, %s}", quote(w.header), w.instrument, g.whenOf(w, dated))
	}
	slices.Sort(layout)
	switch layout = slices.Compact(layout); {
	case len(layout) == 1 && layout[0] != string(schemas.ISODate) && !strings.Contains(layout[0], "|"):
		p.line(2, "dates: {day: %s} # the only layout in the file", layout[0])
	case len(layout) > 0 && layout[0] != string(schemas.ISODate) || len(layout) > 1:
		p.wait(2, "dates: {day: %s}", strings.Join(layout, " | "))
	}
}

// whenOf says which day a score belongs to, as far as names tell: a column of its own, or so long after the only day there is.
func (g *group) whenOf(w wideColumn, dated []string) string {
	if own := g.dayOf(w); own != "" {
		return "day: " + quote(own)
	}
	day := "day: ???"
	if len(dated) == 1 {
		day = "day: " + quote(dated[0])
	}
	switch {
	case w.visit == before:
		return day
	case wholeForm.MatchString(w.visit):
		return fmt.Sprintf("%s, after: %s months | %[2]s weeks | %[2]s years", day, w.visit)
	}
	return day + ", after: " + w.visit
}

// scores returns the columns of scores, each as the field value.
func (g *group) scores(t guess) (list []field) {
	for _, w := range t.wide {
		list = append(list, field{t.table.Field("value"), g.column(w.header)})
	}
	return list
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
