package schemas

import "strings"

// Layout is a declared layout of dates, built from the parts YYYY, MM and DD with any separators ("DD/MM/YYYY"), or
// [DayNumber], or [SheetDate].
type Layout string

// ISODate is the layout of dates when none is declared.
const ISODate Layout = "YYYY-MM-DD"

// DayNumber is the layout of a column that holds whole-day offsets in place of dates.
const DayNumber Layout = "day number"

// SheetDate is the layout of the date cells of a workbook: numbers that count days in the workbook's own date system.
const SheetDate Layout = "sheet date"

// form is the layout with its parts taken for digits. A text has at most one form, since a mark is never a digit.
func (l Layout) form() string {
	return strings.NewReplacer("YYYY", "0000", "MM", "00", "DD", "00").Replace(string(l))
}

// Confused returns two of the layouts of one column that cannot stand together: both can read one text, as DD/MM/YYYY and
// MM/DD/YYYY read 03/04/2020, or one of them counts days and the other does not. ok is false when there are none, so that
// each value has at most one meaning.
func Confused(layouts []Layout) (a, b Layout, ok bool) {
	for i, a := range layouts {
		for _, b := range layouts[i+1:] {
			if a.form() == b.form() || a == DayNumber || b == DayNumber {
				return a, b, true
			}
		}
	}
	return "", "", false
}

// JoinLayouts writes layouts for people: "DD/MM/YYYY or YYYY-MM-DD".
func JoinLayouts(layouts []Layout) string {
	words := make([]string, len(layouts))
	for i, l := range layouts {
		words[i] = string(l)
	}
	return strings.Join(words, " or ")
}
