package ingest

import (
	"fmt"
	"strings"

	"deltoid/schemas"
)

// layout is a declared layout of dates. Every part has a fixed width, so every part has a fixed place.
type layout struct {
	text             schemas.Layout
	year, month, day int    // where the parts begin
	marks            []byte // the layout itself, with 0 where a digit stands
}

func parseLayout(text schemas.Layout) (*layout, error) {
	l := &layout{text: text, marks: []byte(text)}
	for _, part := range []struct {
		name string
		at   *int
	}{{"YYYY", &l.year}, {"MM", &l.month}, {"DD", &l.day}} {
		if strings.Count(string(text), part.name) != 1 {
			return nil, fmt.Errorf("%s is not there once", part.name)
		}
		*part.at = strings.Index(string(text), part.name)
		clear(l.marks[*part.at : *part.at+len(part.name)])
	}
	for _, m := range l.marks {
		if m >= '0' && m <= '9' || m == 'Y' || m == 'M' || m == 'D' {
			return nil, fmt.Errorf("%q is left over", m)
		}
	}
	return l, nil
}

// parse reads a date of the layout and returns its day, counted from 1970-01-01. Years run from 0001 to 9999; a day that
// the month does not have is no date.
func (l *layout) parse(b []byte) (int32, bool) {
	if len(b) != len(l.marks) {
		return 0, false
	}
	for i, m := range l.marks {
		if m == 0 {
			if b[i]-'0' > 9 {
				return 0, false
			}
		} else if b[i] != m {
			return 0, false
		}
	}
	y := 100*two(b[l.year:]) + two(b[l.year+2:])
	return dayOf(y, two(b[l.month:]), two(b[l.day:]))
}

// two reads two digits.
func two(b []byte) int { return 10*int(b[0]-'0') + int(b[1]-'0') }

// format writes a day in the layout.
func (l *layout) format(day int32) []byte {
	iso := schemas.FormatDay(day)
	b := append([]byte(nil), l.marks...)
	copy(b[l.year:], iso[:4])
	copy(b[l.month:], iso[5:7])
	copy(b[l.day:], iso[8:])
	return b
}

var monthDays = [13]int{0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}

// dayOf counts the days from 1970-01-01 to a date of the Gregorian calendar; false when there is no such date. The count
// starts each year in March, so that the leap day is the last of its year.
func dayOf(y, m, d int) (int32, bool) {
	if y < 1 || m < 1 || m > 12 || d < 1 || d > monthDays[m] && (m != 2 || d != 29 || !leap(y)) {
		return 0, false
	}
	if m <= 2 {
		y--
		m += 12
	}
	sinceMarch := (153*(m-3) + 2) / 5
	const to1970 = 719468 // days from 0000-03-01 to 1970-01-01
	return int32(365*y + y/4 - y/100 + y/400 + sinceMarch + d - 1 - to1970), true
}

func leap(y int) bool { return y%4 == 0 && (y%100 != 0 || y%400 == 0) }

// firstDay and lastDay bound the days that a date of four-digit years can be.
const (
	firstDay = -719162 // 0001-01-01
	lastDay  = 2932896 // 9999-12-31
)
