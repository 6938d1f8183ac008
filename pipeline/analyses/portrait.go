package analyses

import (
	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
)

// portrait is a description of a cohort by groups while it is being written down.
type portrait struct {
	*book
	plan   *plan.Plan
	asked  plan.Analysis
	cohort *cohorts.Cohort
	group  []int32  // of each shoulder, as a place in labels
	labels []string // of the groups; with the whole cohort last where there are several
	slugs  []string
	groups int   // without the whole cohort
	n      []int // shoulders, by column
}

func newPortrait(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (*portrait, error) {
	group, labels, _, err := c.Groups(asked.Groups)
	if err != nil {
		return nil, err
	}
	s := &portrait{book: b, plan: p, asked: asked, cohort: c, group: group, labels: labels, groups: len(labels)}
	return s.counted(), nil
}

// counted gives every column its slug and its number of shoulders.
func (s *portrait) counted() *portrait {
	s.slugs = slugs(s.labels)
	s.n = s.countBy(func(int) bool { return true })
	return s
}

// withAll adds a column for the whole cohort where there are several groups. Every count of it ties the groups together, so
// that more has to be hidden; long tables do without.
func (s *portrait) withAll() *portrait {
	if s.groups > 1 {
		s.labels = append(s.labels[:s.groups:s.groups], cohorts.All)
	}
	return s.counted()
}

// nobody is the group of a shoulder that a portrait leaves out.
const nobody = -1

// countBy counts the shoulders that meet a test, by column.
func (s *portrait) countBy(meets func(i int) bool) []int {
	n := make([]int, len(s.labels))
	for i, g := range s.group {
		if g != nobody && meets(i) {
			n[g]++
		}
	}
	if s.groups < len(s.labels) {
		for _, k := range n[:s.groups] {
			n[s.groups] += k
		}
	}
	return n
}

// row returns the row of a shoulder in the registry's table.
func (s *portrait) row(i int) int { return int(s.cohort.Registry.Shoulders[s.cohort.Shoulders[i]].Row) }

func (s *portrait) id(parts ...string) string {
	id := s.asked.ID
	for _, p := range parts {
		id += "." + p
	}
	return id
}

// estimate makes an estimate of a column with what all have in common.
func (s *portrait) estimate(what string, column int, measure, unit string) report.Estimate {
	return report.Estimate{ID: s.id(what, s.slugs[column]), Analysis: s.asked.ID, Cohort: s.cohort.Name,
		Group: s.labels[column], Measure: measure, Unit: unit, Status: report.Estimated}
}

// counts records one count for every column and says that the groups add up to the whole. It returns the ids.
func (s *portrait) counts(what, measure, unit string, n []int) []string {
	ids := make([]string, len(n))
	for column, k := range n {
		e := s.estimate(what, column, measure, unit)
		e.Value, e.Method = report.Some(float64(k)), "count"
		ids[column] = s.add(e)
	}
	if s.groups < len(ids) && unit == shoulders {
		s.total(ids[s.groups], ids[:s.groups]...)
	}
	return ids
}

// shares records for every column which share one count is of another, both given by their ids. A group without anybody has
// none. The two counts have rows of their own and are not repeated as N and events: disclosure would take equal numbers
// of unrelated characteristics for one, and hide too much.
func (s *portrait) shares(what, measure, note string, counts, wholes []string) []string {
	ids := make([]string, len(counts))
	for column := range counts {
		k, n := s.get(counts[column]).Value.X, s.get(wholes[column]).Value.X
		e := s.estimate(what, column, measure, report.UnitProbability)
		e.Method, e.Note = "proportion", note
		if n == 0 {
			e.Status, e.Note = report.NotIdentifiable, "nobody to take a share of"
		} else {
			e.Value = report.Some(k / n)
		}
		ids[column] = s.add(e)
		s.derived(ids[column], counts[column], wholes[column])
	}
	return ids
}

// derived says that an estimate is worked out from counts, and goes when one of them is hidden.
func (s *portrait) derived(id string, from ...string) {
	s.doc.Derived = append(s.doc.Derived, report.Derived{Estimate: id, From: from})
}

// parts says for every column that counts add up to a whole.
func (s *portrait) parts(whole []string, parts ...[]string) {
	for column := range whole {
		var ids []string
		for _, p := range parts {
			ids = append(ids, p[column])
		}
		s.total(whole[column], ids...)
	}
}

// small reports whether a count is one that the plan's disclosure rule hides.
func (s *portrait) small(n int) bool { return n > 0 && n < s.plan.Disclosure.MaskBelow }

func (s *portrait) anySmall(lists ...[]int) bool {
	for _, list := range lists {
		for _, n := range list {
			if s.small(n) {
				return true
			}
		}
	}
	return false
}

// shoulders is the unit of most counts; missingValues that of shoulders without a value, which say something about the
// records and nothing about a person, and are shown however few.
const (
	shoulders     = "shoulders"
	missingValues = "missing values"
)

// valueAndShare is a cell of a count with its percent, or of a mean with its standard deviation; the two stay on one line.
func valueAndShare(count, share string) report.Cell {
	return report.Cell(say(inTable(count), "\u00a0(", inTable(share), ")"))
}

// inTable is a number as tables show it: without its unit.
func inTable(id string) shown { return shown{id, report.ShowValueAndRange} }

// columns are the headers of a sheet by group.
func (s *portrait) columns(first string, more ...string) []string {
	return append(append([]string{first}, s.labels...), more...)
}

// cells makes one cell for every column.
func (s *portrait) cells(of func(column int) report.Cell, more ...report.Cell) []report.Cell {
	var cells []report.Cell
	for column := range s.labels {
		cells = append(cells, of(column))
	}
	return append(cells, more...)
}
