package disclose

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"slices"

	"deltoid/pipeline/report"
)

// relation says that the sum of factor times number is zero, or at most zero.
type relation struct {
	terms  []term
	atMost bool
}

// term is a number with its factor: 1 for a whole, -1 for a part.
type term struct{ number, factor int }

// relate adds a relation, with equal numbers taken together. One that does not hold of the true numbers is left out: a
// tie that does not exist gives nothing away.
func (b *board) relate(atMost bool, terms ...term) {
	slices.SortStableFunc(terms, func(x, y term) int { return cmp.Compare(x.number, y.number) })
	var r relation
	sum := 0
	for _, t := range terms {
		sum += t.factor * b.numbers[t.number].value
		if n := len(r.terms); n > 0 && r.terms[n-1].number == t.number {
			r.terms[n-1].factor += t.factor
			continue
		}
		r.terms = append(r.terms, t)
	}
	r.terms = slices.DeleteFunc(r.terms, func(t term) bool { return t.factor == 0 })
	if len(r.terms) == 0 || sum > 0 || (sum < 0 && !atMost) {
		return
	}
	r.atMost = atMost
	key := r.key()
	if b.related[key] {
		return
	}
	b.related[key] = true
	b.relations = append(b.relations, r)
	for _, t := range r.terms {
		b.relatedBy[t.number] = append(b.relatedBy[t.number], len(b.relations)-1)
	}
}

// key is equal for equal relations: a document often says the same twice, since a number is printed many times.
func (r relation) key() string {
	key := []byte{'='}
	if r.atMost {
		key[0] = '<'
	}
	for _, t := range r.terms {
		key = binary.AppendVarint(binary.AppendVarint(key, int64(t.number)), int64(t.factor))
	}
	return string(key)
}

// addsUp relates a whole to its parts.
func (b *board) addsUp(whole int, parts []int) {
	terms := []term{{whole, 1}}
	for _, p := range parts {
		terms = append(terms, term{p, -1})
	}
	b.relate(false, terms...)
}

func (b *board) atMost(less, more int) { b.relate(true, term{less, 1}, term{more, -1}) }

// relateTotals takes over the totals that the document gives. A total with a member that came in masked was dealt with
// when that was masked.
func (b *board) relateTotals(totals []report.Total) error {
	for _, t := range totals {
		ns, already, err := b.members(t)
		if err != nil {
			return err
		}
		if already {
			continue
		}
		sum := 0
		for _, n := range ns[1:] {
			sum += b.numbers[n].value
		}
		if w := b.numbers[ns[0]].value; w != sum {
			return fmt.Errorf("disclose: the total %q is %d, but its parts add up to %d", t.Whole, w, sum)
		}
		b.addsUp(ns[0], ns[1:])
	}
	return nil
}

// members returns the numbers of a total, the whole first.
func (b *board) members(t report.Total) (ns []int, masked bool, err error) {
	for _, id := range append([]string{t.Whole}, t.Parts...) {
		i, ok := b.index[id]
		switch {
		case !ok:
			return nil, false, fmt.Errorf("disclose: the total %q names %q, which is not an estimate", t.Whole, id)
		case b.estimates[i].Status == report.Masked:
			masked = true
		case b.prints[i].value < 0:
			return nil, false, fmt.Errorf("disclose: the total %q names %q, which is not a count", t.Whole, id)
		}
		ns = append(ns, b.prints[i].value)
	}
	return ns, masked, nil
}

// aspect is what estimates of different groups have in common when they can add up.
type aspect struct {
	analysis, endpoint, cohort, measure, unit, atUnit string
	at                                                report.Optional
}

// relateGroups relates the groups of a measure to the whole cohort wherever their numbers add up to it.
func (b *board) relateGroups() {
	members := map[aspect][]int{}
	var order []aspect
	for i, e := range b.estimates {
		a := aspect{e.Analysis, e.Endpoint, e.Cohort, e.Measure, e.Unit, e.AtUnit, e.At}
		if members[a] == nil {
			order = append(order, a)
		}
		members[a] = append(members[a], i)
	}
	for _, a := range order {
		entire, groups, ok := b.split(members[a])
		if !ok {
			continue
		}
		for _, pick := range []func(printed) int{
			func(p printed) int { return p.value },
			func(p printed) int { return p.n },
			func(p printed) int { return p.events },
		} {
			b.relatePicked(pick, entire, groups)
		}
	}
}

// split separates the whole cohort from its groups. The whole is the one without a group label or, since it may bear a
// label of its own, the one of three or more whose N is what the others' add up to. Not ok where there is none, or where
// a group comes twice.
func (b *board) split(members []int) (entire int, groups []int, ok bool) {
	seen := map[string]bool{}
	entire = -1
	for k, i := range members {
		e := b.estimates[i]
		if seen[e.Group] {
			return 0, nil, false
		}
		seen[e.Group] = true
		if e.Group == "" || entire < 0 && b.isWhole(members, k) {
			entire = k
		}
	}
	if entire < 0 {
		return 0, nil, false
	}
	groups = slices.Delete(slices.Clone(members), entire, entire+1)
	return members[entire], groups, len(groups) > 0
}

func (b *board) isWhole(members []int, k int) bool {
	sum := 0
	for _, i := range members {
		n := b.prints[i].n
		if n < 0 {
			return false
		}
		sum += b.numbers[n].value
	}
	n := b.numbers[b.prints[members[k]].n].value
	return len(members) > 2 && n > 0 && 2*n == sum
}

func (b *board) relatePicked(pick func(printed) int, entire int, groups []int) {
	var parts []int
	for _, g := range groups {
		parts = append(parts, pick(b.prints[g]))
	}
	if w := pick(b.prints[entire]); w >= 0 && !slices.Contains(parts, -1) {
		b.addsUp(w, parts)
	}
}
