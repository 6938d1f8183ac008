package ingest

import (
	"encoding/binary"
	"fmt"
	"strings"

	"deltoid/schemas"
)

// layout is a declared layout of dates. Every part has a fixed width, so every part has a fixed place.
type layout struct {
	text             schemas.Layout
	year, month, day int    // where the parts begin
	marks            []byte // the layout itself, with 0 where a digit stands
	first, last      form   // of its first and of its last eight letters
	long             bool   // it has more than sixteen
}

// form holds eight letters of a layout so that a date is held against them at once: marks have the letters with '0' for a
// digit, so that the difference to a date is 0 at a mark and at most 9 at a digit; room is what may be added to such a
// difference before its highest bit is set.
type form struct{ marks, room uint64 }

func formOf(marks []byte) (f form) {
	for i, m := range marks {
		letter, room := uint64(m), uint64(0x7f)
		if m == 0 {
			letter, room = '0', 0x7f-9
		}
		f.marks |= letter << (8 * i)
		f.room |= room << (8 * i)
	}
	return f
}

// fits reports whether eight letters have digits and marks in their places.
func (f form) fits(b []byte) bool {
	x := binary.LittleEndian.Uint64(b) ^ f.marks
	return (x|(x+f.room))&(eachByte<<7) == 0
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
	l.first, l.last = formOf(l.marks[:8]), formOf(l.marks[len(l.marks)-8:])
	l.long = len(l.marks) > 16
	return l, nil
}

// parse reads a date of the layout and returns its day, counted from 1970-01-01. Years run from 0001 to 9999; a day that
// the month does not have is no date.
func (l *layout) parse(b []byte) (int32, bool) {
	if len(b) != len(l.marks) {
		return 0, false
	}
	if !l.first.fits(b) || !l.last.fits(b[len(b)-8:]) || l.long && !l.fitsBetween(b) {
		return 0, false
	}
	y := 100*two(b[l.year:]) + two(b[l.year+2:])
	return dayOf(y, two(b[l.month:]), two(b[l.day:]))
}

// fitsBetween looks at what is neither among the first eight letters nor among the last, in a layout with words in it.
func (l *layout) fitsBetween(b []byte) bool {
	for i := 8; i < len(b)-8; i++ {
		if m := l.marks[i]; m == 0 && b[i]-'0' > 9 || m != 0 && b[i] != m {
			return false
		}
	}
	return true
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
