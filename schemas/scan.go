package schemas

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Suspect is a column that may identify people, and why. It never holds a value of the column.
type Suspect struct {
	Table      string
	File       string // the first file in which it was seen
	Header     string
	Position   int    // place of the column in the file, counted from 1
	Field      string // the field that is read from the column; empty when it is not read
	Identifier Identifier
	Why        string // "12 of 40 values look like e-mail addresses, the first in line 5"
	Reviewed   string // the plan's reason why the column may stay
	Dropped    bool   // the plan says that the column is known and not read
}

// Scan looks for columns that may identify people: at the names of all columns of all files, read or not, and at the
// values of the columns that were read, with those that a rule refused. The rules are fixed and follow the 18 identifiers
// of 45 CFR 164.514(b)(2); see [Identifiers]. Days of procedures, deaths and the like are what a study of follow-up is made
// of and are not told; whoever may not hold them exports day numbers.
//
// A table in which nothing is found can still identify somebody. The scan is a net and no guarantee.
func Scan(t *Table, found *Findings) []Suspect {
	s := &scanner{table: t}
	s.names()
	refused := refusedValues(t, found)
	for _, c := range t.order {
		s.values(c, refused[c.Field.Name])
	}
	slices.SortFunc(s.suspects, func(a, b Suspect) int {
		if a.Position != b.Position {
			return a.Position - b.Position
		}
		return strings.Compare(a.Header+"\x00"+a.Identifier.Letter+a.Why, b.Header+"\x00"+b.Identifier.Letter+b.Why)
	})
	return s.suspects
}

type scanner struct {
	table    *Table
	suspects []Suspect
}

func (s *scanner) tell(header string, position, identifier int, file, why string) {
	t := s.table
	one := Suspect{Table: t.Schema.Name, File: file, Header: header, Position: position, Identifier: identifiers[identifier], Why: why,
		Reviewed: t.source.Reviewed[header], Dropped: slices.Contains(t.source.Drop, header)}
	for _, c := range t.order {
		if c.Header == header {
			one.Field = c.Field.Name
		}
	}
	s.suspects = append(s.suspects, one)
}

// names looks at the names of the columns.
func (s *scanner) names() {
	seen := map[string]bool{}
	for i := range s.table.Sources {
		piece := &s.table.Sources[i]
		for at, header := range piece.Header {
			if seen[header] {
				continue
			}
			seen[header] = true
			if which, words, ok := speaksOf(header); ok && !s.coarse(header, which) {
				s.tell(header, at+1, which, piece.File, fmt.Sprintf("its name holds the words %q", words))
			}
		}
	}
}

// coarse reports a postcode column that was read and holds at most three letters or digits: areas that large are allowed.
func (s *scanner) coarse(header string, which int) bool {
	if which != idPlace {
		return false
	}
	for _, c := range s.table.order {
		if c.Header == header && c.texts != nil && c.Len() > 0 {
			for row := range c.Len() {
				if c.texts.ValueLen(row) > 3 {
					return false
				}
			}
			return true
		}
	}
	return false
}

// refusedValues returns, by field, values that a rule refused: they are not in the column, and just as telling.
func refusedValues(t *Table, found *Findings) map[string][]Finding {
	const most = 10_000 // of a field; whoever has more has other things to mend first
	found.mu.Lock()
	defer found.mu.Unlock()
	all := map[string][]Finding{}
	found.store.each(func(r *entry) bool {
		if k := &found.store.kinds[r.kind]; k.table == t.Schema.Name && k.field != "" && r.value != "" && len(all[k.field]) < most {
			if f := found.store.finding(r); f.Value != withheld {
				all[k.field] = append(all[k.field], f)
			}
		}
		return true
	})
	return all
}

// values looks at the values of one column.
func (s *scanner) values(c *Column, refused []Finding) {
	count := newTally()
	switch {
	case c.texts != nil:
		for row := range c.Len() {
			if c.texts.ValueLen(row) > 0 {
				count.add(c.texts.Value(row), row)
			}
		}
		s.unique(c)
	case c.levels != nil && len(c.Field.Codes) == 0:
		count.levels(c)
	case c.ints != nil:
		s.ages(c, func(row int) float64 { return float64(c.ints[row]) })
		s.numbers(c, count)
	case c.numbers != nil:
		s.ages(c, func(row int) float64 { return c.numbers[row] })
	case c.days != nil:
		s.births(c)
	}
	s.tellSigns(c, count)
	s.tellRefused(c, refused)
}

// levels counts each code as often as it stands.
func (t *tally) levels(c *Column) {
	n, first := make([]int, len(c.levels)), make([]int, len(c.levels))
	for row, code := range c.codes {
		if code >= 0 {
			if n[code] == 0 {
				first[code] = row
			}
			n[code]++
		}
	}
	for i, level := range c.levels {
		if n[i] == 0 {
			continue
		}
		one := newTally()
		one.add(level, first[i])
		t.values += n[i]
		for k := range signs {
			if one.found[k] > 0 {
				if t.found[k] == 0 || first[i] < t.first[k] {
					t.first[k] = first[i]
				}
				t.found[k] += n[i]
			}
		}
	}
}

// tellSigns tells each identifier once, by the first of its signs.
func (s *scanner) tellSigns(c *Column, count *tally) {
	told := map[int]bool{}
	for i := range signs {
		if count.values > 0 && count.enough(i) && !told[signs[i].identifier] {
			told[signs[i].identifier] = true
			file, line := s.table.Place(count.first[i])
			s.tell(c.Header, c.Position, signs[i].identifier, file, fmt.Sprintf("%s of %s values look like %s, the first in line %d",
				thousands(count.found[i]), thousands(count.values), signs[i].what, line))
		}
	}
}

// tellRefused looks at what the rules about cells refused. One telling value is enough here, where a sign needs one at all.
func (s *scanner) tellRefused(c *Column, refused []Finding) {
	count := newTally()
	for i := range refused {
		// A date in a date column is there by right, whatever is wrong with it.
		if c.days == nil || !holdsDate(refused[i].Value) {
			count.add(refused[i].Value, i)
		}
	}
	for i := range signs {
		if count.values > 0 && count.enough(i) {
			f := &refused[count.first[i]]
			s.tell(c.Header, c.Position, signs[i].identifier, f.File, fmt.Sprintf("%s of the values that were refused look like %s, the first in line %d",
				thousands(count.found[i]), signs[i].what, f.Line))
			return
		}
	}
}

// oldest is the greatest age that the rule lets stand.
const oldest = 89

// ages looks for ages over 89 in a column whose name says that it holds ages. A column whose ages over 89 are all written
// as 90 has put them into one group, as the rule allows.
func (s *scanner) ages(c *Column, at func(row int) float64) {
	if !isAge(c) {
		return
	}
	n, first, grouped := 0, 0, true
	for row := range c.Len() {
		if age := at(row); !c.missing(row) && age >= oldest+1 {
			if n == 0 {
				first = row
			}
			n++
			grouped = grouped && age == oldest+1
		}
	}
	if !grouped {
		file, line := s.table.Place(first)
		s.tell(c.Header, c.Position, idDate, file, fmt.Sprintf("it holds ages over %d in %s of %s rows, the first in line %d", oldest, thousands(n),
			thousands(c.Len()), line))
	}
}

var ageWords = []string{"age", "ages", "alter", "edad", "eta", "leeftijd", "alder", "opalder", "ageyears"}

func isAge(c *Column) bool {
	for _, name := range []string{c.Header, c.Field.Name} {
		for _, w := range nameWords(name) {
			if slices.Contains(ageWords, w) {
				return true
			}
		}
	}
	return false
}

// numbers looks at whole numbers that are long enough to be somebody's.
func (s *scanner) numbers(c *Column, count *tally) {
	for row, v := range c.ints {
		if v == NoInt {
			continue
		}
		if v >= 100_000_000 {
			count.add(strconv.FormatInt(v, 10), row)
		} else {
			count.values++
		}
	}
}

// births looks for dates that lie 18 years or more before the day of nearly every row: they are dates of birth.
func (s *scanner) births(c *Column) {
	day := s.table.Column("day")
	if day == nil || c == day || s.table.Offsets || s.table.Schema.Field(c.Field.Name) != nil {
		return
	}
	const grown, share = 18 * 365.25, 0.8
	n, of := 0, 0
	for row, d := range c.days {
		if d != NoDay && day.days[row] != NoDay {
			of++
			if float64(day.days[row]-d) >= grown {
				n++
			}
		}
	}
	if n > 0 && float64(n) >= share*float64(of) {
		s.tell(c.Header, c.Position, idDate, s.table.Sources[0].File,
			fmt.Sprintf("%s of %s dates lie 18 years or more before the day of their row, as dates of birth do", thousands(n), thousands(of)))
	}
}

// unique looks for texts that tell every row apart and are not the pseudonym: long numbers, each once.
func (s *scanner) unique(c *Column) {
	const rows, digits, share = 20, 6, 0.95
	if c.Field.Identifier || s.table.Schema.Field(c.Field.Name) != nil {
		return
	}
	seen := map[string]bool{}
	n, long := 0, 0
	for row := 0; row < c.Len() && n < 10*rows; row++ {
		v := c.texts.Value(row)
		if v == "" {
			continue
		}
		n++
		if strings.Count(v, "")-1 >= digits && countDigits(v) >= digits {
			long++
		}
		seen[v] = true
	}
	if n >= rows && float64(len(seen)) >= share*float64(n) && float64(long) >= share*float64(n) {
		s.tell(c.Header, c.Position, idOther, s.table.Sources[0].File, "nearly every row has a long number of its own")
	}
}

func countDigits(s string) (n int) {
	for i := range len(s) {
		if s[i] >= '0' && s[i] <= '9' {
			n++
		}
	}
	return n
}
