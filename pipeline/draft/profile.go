package draft

import (
	"cmp"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"deltoid/schemas"
)

// profile is what a column holds.
type profile struct {
	header   string
	values   int // cells that hold something
	missing  int
	whole    int      // values that are whole numbers
	point    int      // values that are numbers with a decimal point
	comma    int      // values that are numbers with a decimal comma
	small    int      // whole numbers from -9999 to 99999, as day numbers and lengths of time are
	families []family // layouts of dates that fit; several when a column mixes them
	zoned    int      // moments in a time zone
	latest   int      // year of the last date
	counts   map[string]int
	many     bool // more different values than counts holds
	tokens   map[string]int
	shapes   map[string]int
	overdue  int   // numbers over 90
	dateLike []int // values that each of the layouts reads
}

// mostValues is how many different values of a column are counted.
const mostValues = 4096

// tokens are what exports write for a value that is not known.
var tokens = map[string]bool{"na": true, "n/a": true, "n.a.": true, "nan": true, "null": true, "none": true, "nil": true, "-": true, "--": true,
	".": true, "?": true, "*": true, "x": true, "unknown": true, "unk": true, "missing": true, "not known": true, "not recorded": true,
	"k.a.": true, "unbekannt": true, "inconnu": true, "desconocido": true, "#n/a": true, "#null!": true,
	"-1": true, "-9": true, "-99": true, "-999": true, "99": true, "999": true, "9999": true}

// profileOf looks at all values of a column of texts.
func profileOf(t *schemas.Table, header string, format schemas.Format) *profile {
	p := &profile{header: header, counts: map[string]int{}, tokens: map[string]int{}, shapes: map[string]int{}, dateLike: make([]int, len(layouts))}
	var c *schemas.Column
	for _, one := range t.Columns() {
		if one.Header == header {
			c = one
		}
	}
	years := make([]int, len(layouts))
	for row := range t.Rows() {
		v := strings.TrimSpace(c.Text(row))
		if v == "" {
			p.missing++
			continue
		}
		p.values++
		if _, known := p.counts[v]; known || len(p.counts) < mostValues {
			p.counts[v]++
			continue
		}
		p.many = true
		p.add(v, 1, years)
	}
	for _, v := range slices.Sorted(maps.Keys(p.counts)) {
		p.add(v, p.counts[v], years)
	}
	p.settle(years, format)
	return p
}

var (
	wholeForm = regexp.MustCompile(`^[+-]?[0-9]{1,18}$`)
	pointForm = regexp.MustCompile(`^[+-]?[0-9]*\.[0-9]+$`)
	commaForm = regexp.MustCompile(`^[+-]?[0-9]*,[0-9]+$`)
)

// add takes a value that stands n times into account.
func (p *profile) add(v string, n int, years []int) {
	if tokens[strings.ToLower(v)] {
		p.tokens[v] += n
	}
	switch {
	case wholeForm.MatchString(v):
		p.whole += n
		if x, err := strconv.Atoi(v); err == nil && x >= -9999 && x <= 99999 {
			p.small += n
		}
	case pointForm.MatchString(v):
		p.point += n
	case commaForm.MatchString(v):
		p.comma += n
	}
	if x, err := strconv.ParseFloat(strings.Replace(v, ",", ".", 1), 64); err == nil && x > 90 {
		p.overdue += n
	}
	p.addDate(v, n, years)
	if len(p.shapes) < 100 {
		p.shapes[shape(v)] += n
	}
}

// shape is the form of a value without its letters and digits, at most a few letters long.
func shape(v string) string {
	s := strings.Map(func(r rune) rune {
		switch {
		case r >= '0' && r <= '9':
			return '9'
		case strings.ContainsRune(" -/.,:+", r):
			return r
		default:
			return 'a'
		}
	}, v)
	return s[:min(len(s), 24)]
}

// known is the number of values without those that look like missing ones.
func (p *profile) known() int {
	n := p.values
	for _, lost := range p.tokens {
		n -= lost
	}
	return n
}

// kind says which type fits every value.
func (p *profile) kind() string {
	tokensToo := ""
	for v := range p.tokens {
		if !wholeForm.MatchString(v) { // 99 among numbers is told where missing values are
			tokensToo = ", beside marks that look like missing"
		}
	}
	numbers := p.whole + p.point + p.comma
	lostNumbers := 0
	for v, n := range p.tokens {
		if wholeForm.MatchString(v) {
			lostNumbers += n
		}
	}
	switch known := p.known(); {
	case p.values == 0:
		return "empty"
	case p.zoned > 0 && p.zoned >= known:
		return "moments in a time zone" + tokensToo
	case p.isDated():
		return "dates" + tokensToo
	case known == 0:
		return "marks that look like missing"
	case p.whole-lostNumbers == known:
		return "whole numbers" + tokensToo
	case numbers-lostNumbers == known && p.comma > 0 && p.point == 0:
		return "numbers with a decimal comma" + tokensToo
	case numbers-lostNumbers == known && p.comma == 0:
		return "numbers" + tokensToo
	}
	return "texts"
}

func (p *profile) isNumeric() bool {
	return strings.HasPrefix(p.kind(), "whole") || strings.HasPrefix(p.kind(), "numbers")
}

// fewest is the smallest count that a draft shows.
const fewest = 5

// shown writes a count.
func shown(n int, thing string) string {
	switch {
	case n == 0:
		return "no " + thing
	case n < fewest:
		return fmt.Sprintf("fewer than %d %s", fewest, thing)
	}
	return fmt.Sprintf("%d %s", n, thing)
}

// codes returns the values of a column that has few of them, the most frequent first; nil when there are many.
func (p *profile) codes() []string {
	const most = 40
	if p.many || len(p.counts) > most || p.values == 0 {
		return nil
	}
	list := slices.Sorted(maps.Keys(p.counts))
	slices.SortStableFunc(list, func(a, b string) int { return cmp.Compare(p.counts[b], p.counts[a]) })
	return list
}

// forms returns the shapes of a column's values, the most frequent first.
func (p *profile) forms() string {
	list := slices.Sorted(maps.Keys(p.shapes))
	slices.SortStableFunc(list, func(a, b string) int { return cmp.Compare(p.shapes[b], p.shapes[a]) })
	return strings.Join(list[:min(3, len(list))], "  ")
}
