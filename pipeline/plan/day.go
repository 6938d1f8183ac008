package plan

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"go.yaml.in/yaml/v3"

	"deltoid/schemas"
)

// The years of a calendar date in a plan. A year outside them is a slip of the keyboard.
const (
	firstYear = 1900
	lastYear  = 2199
)

// isoDate is the form of a date; whether the calendar has it is another question.
var isoDate = regexp.MustCompile(`^[0-9]{4}-[0-9]{2}-[0-9]{2}$`)

// day reads a calendar date, as days from 1970-01-01, or a day number; numbered says which of the two it is.
func (r *reader) day(n *yaml.Node, name, allowed string) (day int32, numbered, ok bool) {
	if n.Kind == yaml.ScalarNode && n.ShortTag() == "!!int" && decimal.MatchString(n.Value) {
		v, err := strconv.ParseInt(n.Value, 10, 32)
		if err != nil || v == int64(schemas.NoDay) {
			r.wrong(n, name+" is the number "+cut(n.Value), "a whole number up to 2147483647", "correct the number")
			return schemas.NoDay, true, false
		}
		return int32(v), true, true
	}
	if n.Kind != yaml.ScalarNode || !isoDate.MatchString(n.Value) {
		r.mistyped(n, name, single, allowed)
		return schemas.NoDay, false, false
	}
	t, err := time.Parse(time.DateOnly, n.Value)
	if err != nil || t.Year() < firstYear || t.Year() > lastYear {
		r.wrong(n, name+" is "+n.Value+", which is not a date of the calendar", "a date from 1900-01-01 to 2199-12-31",
			"correct the date")
		return schemas.NoDay, false, false
	}
	return int32(t.Unix() / 86400), false, true
}

// layoutFault says what is wrong with a layout of dates, or nothing.
func layoutFault(layout string) string {
	if l := schemas.Layout(layout); l == schemas.DayNumber || l == schemas.SheetDate {
		return ""
	}
	rest := layout
	for _, part := range []string{"YYYY", "MM", "DD"} {
		if strings.Count(layout, part) != 1 {
			return part + " must stand in it once"
		}
		rest = strings.Replace(rest, part, "", 1)
	}
	for _, c := range rest {
		if c < unicode.MaxASCII && (unicode.IsLetter(c) || unicode.IsDigit(c)) {
			return strconv.QuoteRune(c) + " is neither a part of a date nor a mark between parts"
		}
	}
	return ""
}

// layoutRemedy guesses the layout that was meant.
func layoutRemedy(layout string) string {
	upper := strings.ToUpper(layout)
	if strings.Count(upper, "YY") == 1 && !strings.Contains(upper, "YYYY") {
		return "write YYYY: a year of two digits does not say its century; export the years with four"
	}
	if layoutFault(upper) == "" {
		return "did you mean " + quote(upper) + "?"
	}
	return didYouMean(layout, []string{string(schemas.DayNumber), string(schemas.SheetDate)}, "write for instance DD/MM/YYYY")
}

// sameDays fills in the layouts that were not declared, and makes sure that dates and day numbers are not mixed.
func (r *reader) sameDays() {
	first := ""
	for _, name := range schemas.Names() {
		e := r.tables[name]
		if e == nil {
			continue
		}
		for _, field := range e.fields(isDate) {
			if len(e.source.Layouts[field]) == 0 {
				e.source.Layouts = put(e.source.Layouts, field, []schemas.Layout{schemas.ISODate})
			}
			counted := numbered(e.source.Layouts[field])
			held := field + " of " + name + " holds " + dayKind(counted)
			if first == "" {
				first, r.plan.Offsets = held, counted
			} else if counted != r.plan.Offsets {
				r.wrong(e.key, held+", but "+first, "dates everywhere, or day numbers everywhere",
					"declare the layout under dates, or export the column the other way")
			}
		}
	}
}

// numbered reports whether a field with these layouts holds day numbers, which stand alone.
func numbered(layouts []schemas.Layout) bool { return slices.Contains(layouts, schemas.DayNumber) }

func dayKind(numbered bool) string {
	if numbered {
		return "day numbers"
	}
	return "dates"
}
