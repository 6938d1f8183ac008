package draft

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"deltoid/schemas"
)

// layouts are the layouts of dates that are tried, with the form that the standard library parses.
var layouts = []struct {
	layout schemas.Layout
	form   string
}{
	{"YYYY-MM-DD", "2006-01-02"}, {"DD.MM.YYYY", "02.01.2006"}, {"MM.DD.YYYY", "01.02.2006"}, {"DD/MM/YYYY", "02/01/2006"},
	{"MM/DD/YYYY", "01/02/2006"}, {"DD-MM-YYYY", "02-01-2006"}, {"MM-DD-YYYY", "01-02-2006"}, {"YYYY/MM/DD", "2006/01/02"},
	{"YYYY.MM.DD", "2006.01.02"}, {"YYYYMMDD", "20060102"}, {schemas.SheetDate, ""},
}

// family is a set of layouts that read the same values, of which only one can be meant, with how many values they read.
type family struct {
	layouts []schemas.Layout
	n       int
}

// addDate counts the layouts that read a value which stands n times.
func (p *profile) addDate(v string, n int, years []int) {
	if day, err := time.Parse(time.RFC3339Nano, v); err == nil {
		p.zoned += n
		p.latest = max(p.latest, day.Year())
	}
	for i, l := range layouts {
		day, ok := readBy(l.layout, l.form, v)
		if ok && day.Year() >= 1900 && day.Year() <= 2100 {
			p.dateLike[i] += n
			years[i] = max(years[i], day.Year())
		}
	}
}

// readBy reads a value by a layout. The date cells of a workbook are whole numbers; those of the years 1950 to 2063 are
// taken for some.
func readBy(layout schemas.Layout, form, v string) (day time.Time, ok bool) {
	if layout == schemas.SheetDate {
		n, err := strconv.Atoi(v)
		const from, to = 18264, 59898
		return time.Date(1899, 12, 30+n, 0, 0, 0, 0, time.UTC), err == nil && n >= from && n <= to
	}
	if len(v) != len(form) {
		return day, false
	}
	day, err := time.Parse(form, v)
	return day, err == nil
}

// nearlyAll is the part of the values that the layouts must fit: a few wrong dates do not hide the right layout.
const nearlyAll = 0.95

// settle finds the layouts that fit the values, leaving out those that look like missing ones. A column may mix several
// that cannot read the same value; one that fits hardly any value is not among them.
func (p *profile) settle(years []int, format schemas.Format) {
	var found []family
	for i, n := range p.dateLike {
		own := func(f family) bool {
			_, _, same := schemas.Confused([]schemas.Layout{f.layouts[0], layouts[i].layout})
			return same
		}
		switch at := slices.IndexFunc(found, own); {
		case n == 0 || layouts[i].layout == schemas.SheetDate && format != schemas.Workbook:
			continue
		case at < 0:
			found = append(found, family{[]schemas.Layout{layouts[i].layout}, n})
		case n > found[at].n:
			found[at] = family{[]schemas.Layout{layouts[i].layout}, n}
		case n == found[at].n:
			found[at].layouts = append(found[at].layouts, layouts[i].layout)
		}
	}
	enough := nearlyAll * float64(p.known())
	found = slices.DeleteFunc(found, func(f family) bool { return f.n < fewest && float64(f.n) < enough })
	p.families = found
	if len(found) == 0 || float64(p.fitted()) < enough {
		p.families = nil
	}
	for i, l := range layouts {
		if slices.ContainsFunc(p.families, func(f family) bool { return slices.Contains(f.layouts, l.layout) }) {
			p.latest = max(p.latest, years[i])
		}
	}
}

// isDated reports whether a column holds dates or moments.
func (p *profile) isDated() bool {
	return len(p.families) > 0 && !p.onlyNumbers() || p.zoned > 0 && p.zoned >= p.known()
}

// onlyNumbers reports a column of a workbook whose whole numbers may be dates, or not.
func (p *profile) onlyNumbers() bool {
	return len(p.families) == 1 && slices.Equal(p.families[0].layouts, []schemas.Layout{schemas.SheetDate})
}

// written is the layouts of a column as the plan names them. Candidates of one family stand between |.
func (p *profile) written() string {
	parts := make([]string, len(p.families))
	for i, f := range p.families {
		parts[i] = layoutsOr(f.layouts)
	}
	if len(parts) == 1 {
		return parts[0]
	}
	return "[" + strings.Join(parts, ", ") + "]"
}

// sure reports whether the layouts leave nothing to decide.
func (p *profile) sure() bool {
	return len(p.families) > 0 && !slices.ContainsFunc(p.families, func(f family) bool { return len(f.layouts) > 1 })
}

// isISO reports dates that need no layout in the plan.
func (p *profile) isISO() bool { return p.written() == string(schemas.ISODate) }

func layoutsOr(list []schemas.Layout) string {
	out := make([]string, len(list))
	for i, l := range list {
		out[i] = string(l)
	}
	return strings.Join(out, " | ")
}

// dates writes the layouts of dates, and the zones of moments. Several that fit are left to decide.
func (p *page) dates(g *group, used []field) {
	var live, waiting, zones []string
	for _, f := range used {
		if f.Type != schemas.Date {
			continue
		}
		c := f.column
		switch {
		case c.known() == 0, c.isISO() && c.fitted() == c.known():
		case c.zoned > 0 && c.zoned >= c.known():
			zones = append(zones, fmt.Sprintf("%s: ??? # moments in UTC; where were the patients treated, as in Europe/Lisbon? A night there can be another day in UTC", f.Name))
		case c.onlyNumbers():
			waiting = append(waiting, fmt.Sprintf("%s: sheet date | day number # whole numbers: date cells of the workbook, or days counted from some day?", f.Name))
		case c.sure():
			live = append(live, fmt.Sprintf("%s: %s # %s", f.Name, c.written(), c.fits()))
		case len(c.families) > 0:
			waiting = append(waiting, fmt.Sprintf("%s: %s # each of those between | %s; nothing in the file says which is meant", f.Name, c.written(), c.fits()))
		case c.small >= c.known():
			waiting = append(waiting, fmt.Sprintf("%s: day number # whole numbers that are no dates: days counted from some day?", f.Name))
		default:
			waiting = append(waiting, fmt.Sprintf("%s: ??? # no layout fits; the values look like: %s", f.Name, c.forms()))
		}
	}
	p.group(2, "dates:", live, waiting)
	p.group(2, "zones:", nil, zones)
}

// fitted is the number of values that the layouts read.
func (p *profile) fitted() (n int) {
	for _, f := range p.families {
		n += f.n
	}
	return n
}

// fits says how many of a column's values its layouts fit.
func (p *profile) fits() string {
	parts := make([]string, len(p.families))
	for i, f := range p.families {
		parts[i] = fmt.Sprintf("%s %d", layoutsOr(f.layouts), f.n)
	}
	text := "fits all values"
	if p.fitted() < p.known() {
		text = "fits nearly all values; the others will be findings"
	}
	if len(parts) > 1 {
		text += " (" + strings.Join(parts, ", ") + ")"
	}
	return text
}
