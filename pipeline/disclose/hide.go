package disclose

import (
	"slices"

	"deltoid/pipeline/report"
)

// hide masks every estimate that prints a number and returns those that were not masked before.
func (b *board) hide(n int) (fresh []int) {
	for _, e := range b.numbers[n].shownIn {
		if !b.masked[e] {
			b.masked[e] = true
			fresh = append(fresh, e)
		}
	}
	return fresh
}

// addRests adds N-Events behind each probability where it is small: it is printed nowhere, but who sees both sees it.
func (b *board) addRests() {
	for i, e := range b.estimates {
		p := b.prints[i]
		if e.Unit != "probability" || p.n < 0 || p.events < 0 {
			continue
		}
		if rest := b.numbers[p.n].value - b.numbers[p.events].value; b.small(float64(rest)) {
			n := b.addNumber(e.ID, rest)
			b.numbers[n].small = true
			b.addsUp(p.n, []int{p.events, n})
			b.masked[i] = true
		}
	}
}

// maskFractions masks estimates with a small N or Events that is no whole number, such as a sum of weights.
func (b *board) maskFractions() {
	for i, e := range b.estimates {
		counted := ofPeople(e) && b.small(e.Value.X)
		if counted || b.small(known(e.N)) || b.small(known(e.Events)) {
			b.masked[i] = true
		}
	}
}

func known(o report.Optional) float64 {
	if !o.Known {
		return 0
	}
	return o.X
}

// maskSmallGroups masks the estimates without an N of their own in a group that the same analysis shows to be small.
func (b *board) maskSmallGroups() {
	type group struct{ analysis, cohort, endpoint, group string }
	small := map[group]bool{}
	for _, e := range b.estimates {
		if b.small(known(e.N)) {
			small[group{e.Analysis, e.Cohort, e.Endpoint, e.Group}] = true
		}
	}
	for i, e := range b.estimates {
		if !e.N.Known && e.Value.Known && !isCount(e) && small[group{e.Analysis, e.Cohort, e.Endpoint, e.Group}] {
			b.masked[i] = true
		}
	}
}

// maskBesideSmallRisk masks the estimates of a group at a time at which few of it are at risk.
func (b *board) maskBesideSmallRisk() {
	type moment struct {
		line
		at float64
	}
	few := map[moment]bool{}
	for _, e := range b.estimates {
		if isAtRisk(e) && b.small(e.Value.X) {
			few[moment{line{e.Cohort, e.Group, e.Endpoint, e.AtUnit}, e.At.X}] = true
		}
	}
	for i, e := range b.estimates {
		if e.Status == report.Masked || !e.At.Known || isCount(e) {
			continue
		}
		for _, endpoint := range []string{e.Endpoint, ""} {
			if few[moment{line{e.Cohort, e.Group, endpoint, e.AtUnit}, e.At.X}] {
				b.masked[i] = true
			}
		}
	}
}

// maskDerived masks what is worked out from a masked estimate, and what is worked out from that.
func (b *board) maskDerived(derived []report.Derived) {
	for again := true; again; {
		again = false
		for _, d := range derived {
			i, ok := b.index[d.Estimate]
			if !ok || b.masked[i] || !slices.ContainsFunc(d.From, b.isMasked) {
				continue
			}
			b.masked[i], again = true, true
		}
	}
}

// isMasked says whether an estimate was masked here or came in masked.
func (b *board) isMasked(id string) bool {
	i, ok := b.index[id]
	return ok && (b.masked[i] || b.estimates[i].Status == report.Masked)
}
