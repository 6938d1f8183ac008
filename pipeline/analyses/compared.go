package analyses

import (
	"deltoid/cohorts"
	"deltoid/pipeline/report"
	"deltoid/stats/survival"
)

// compared returns the groups that are compared: all but the shoulders of which the group is not recorded, which are no group
// of their own. A value not on record by a landmark is one: those shoulders had not had what the groups are made of.
func (s *followed) compared() []group {
	parts := s.parts()
	if last := len(parts) - 1; last > 0 && parts[last].label == cohorts.NotRecorded {
		return parts[:last]
	}
	return parts
}

func (s *followed) unknown() bool { return len(s.compared()) < len(s.parts()) }

// comparedRows returns the rows of the groups that are compared, with their strata.
func (s *comparison) comparedRows() (survival.Data, strata) {
	if !s.unknown() {
		return s.data(), s.strata
	}
	n := int32(len(s.compared()))
	return s.rowsFor(int(n), func(g int32) (int32, bool) { return g, g < n })
}

// testedLabel stands for all groups that are compared, where some shoulders are in none.
const testedLabel = "All with a group on record"

// tested is what a test over all groups is made on.
func (s *comparison) tested() group {
	all := s.total()
	if !s.unknown() {
		return all
	}
	return group{label: testedLabel, slug: "groups.tested", n: all.n - s.parts()[len(s.parts())-1].n}
}

// countTested records who is in the tests, and that they and those without a group are all shoulders.
func (s *comparison) countTested() {
	if !s.unknown() {
		return
	}
	g, rest := s.tested(), s.parts()[len(s.parts())-1]
	event := "ended-" + slug(string(s.episodes.Causes[0]))
	for _, part := range []struct {
		what, measure string
		n             int
	}{
		{"shoulders", "shoulders counted", g.n},
		{event, causeName(s.episodes.Causes, 0), int(s.total().counts.Events(0, 1) - rest.counts.Events(0, 1))},
	} {
		id := s.countOf(g, part.what, part.measure, part.n)
		s.book.total(s.countID(s.total(), part.what), id, s.countID(rest, part.what))
		var parts []string
		for _, compared := range s.compared() {
			parts = append(parts, s.countID(compared, part.what))
		}
		s.book.total(id, parts...)
	}
}

// restOnCounts says that results of a test rest on the counts of every group: beside all others they narrow a masked one.
func (s *comparison) restOnCounts(ids ...string) {
	var from []string
	for _, g := range s.compared() {
		from = append(from, s.countsOf(g)...)
	}
	for _, id := range ids {
		s.doc.Derived = append(s.doc.Derived, report.Derived{Estimate: id, From: from})
	}
}

// unknownNote counts the shoulders that no test and no difference is about.
func (s *comparison) unknownNote() []report.Text {
	if !s.unknown() {
		return nil
	}
	return []report.Text{say("Left out of tests and differences, because the group is not recorded: ", value(s.countID(s.parts()[len(s.parts())-1], "shoulders")), " shoulders.")}
}
