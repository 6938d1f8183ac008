package disclose

import (
	"cmp"
	"slices"
)

// line is what a group's numbers at different times have in common.
type line struct{ cohort, group, endpoint, atUnit string }

// reading is one number of a line.
type reading struct {
	at     float64
	number int
	n      int // the N beside it; -1 if there is none
}

// relateTimes relates the numbers of one group at different times: events up to a time never fall and never exceed N,
// numbers at risk never rise, and the events up to a time together with those at risk then or later never exceed N.
// With late entry the last two need not hold; relate leaves out those that do not.
func (b *board) relateTimes() {
	events, atRisk, order := b.readings()
	for _, l := range order {
		b.chain(events[l], 1)
		b.chain(atRisk[l], -1)
		later := atRisk[l]
		if l.endpoint != "" {
			later = append(slices.Clone(later), atRisk[line{l.cohort, l.group, "", l.atUnit}]...)
		}
		for _, e := range events[l] {
			b.boundByN(e, later)
		}
	}
}

func (b *board) readings() (events, atRisk map[line][]reading, order []line) {
	events, atRisk = map[line][]reading{}, map[line][]reading{}
	for i, e := range b.estimates {
		l := line{e.Cohort, e.Group, e.Endpoint, e.AtUnit}
		if events[l] == nil && atRisk[l] == nil {
			order = append(order, l)
		}
		p := b.prints[i]
		switch {
		case isAtRisk(e) && p.value >= 0:
			atRisk[l] = append(atRisk[l], reading{e.At.X, p.value, -1})
		case p.events >= 0 && e.At.Known:
			events[l] = append(events[l], reading{e.At.X, p.events, p.n})
		case p.events >= 0 && p.n >= 0:
			b.atMost(p.events, p.n)
		}
	}
	slices.SortFunc(order, func(x, y line) int {
		return cmp.Or(cmp.Compare(x.cohort, y.cohort), cmp.Compare(x.group, y.group), cmp.Compare(x.endpoint, y.endpoint),
			cmp.Compare(x.atUnit, y.atUnit))
	})
	return events, atRisk, slices.Compact(order)
}

// chain relates each reading to the next distinct one in time: rising with direction 1, falling with -1.
func (b *board) chain(rs []reading, direction int) {
	slices.SortStableFunc(rs, func(x, y reading) int { return cmp.Compare(x.at, y.at) })
	for i := 1; i < len(rs); i++ {
		if x, y := rs[i-1].number, rs[i].number; x != y {
			b.relate(true, term{x, direction}, term{y, -direction})
		}
	}
}

func (b *board) boundByN(e reading, atRisk []reading) {
	if e.n < 0 {
		return
	}
	b.atMost(e.number, e.n)
	for _, r := range atRisk {
		if r.at >= e.at {
			b.relate(true, term{e.number, 1}, term{r.number, 1}, term{e.n, -1})
		}
	}
}
