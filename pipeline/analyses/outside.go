package analyses

import (
	"errors"
	"slices"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
)

// tieRestricted ties the counts of every analysis of a part of the cohort to those of the whole, and to those of every other
// analysis whose part holds it: who has both knows how many shoulders are in one and not in the other, and how they ended. No
// sheet shows these counts; they are there so that a small one is not left over when both are shown.
func tieRestricted(b *book, p *plan.Plan, whole *cohorts.Cohort) error {
	parts, err := restrictions(b, p, whole)
	if err != nil {
		return err
	}
	for i, r := range parts {
		if r.asked.Within != nil {
			if err := r.tie(p, "restriction", whole, r.cohort); err != nil {
				return err
			}
		}
		for j, larger := range parts {
			if i == j || larger.asked.Within == nil || !holds(larger.cohort, r.cohort) {
				continue
			}
			if err := r.tie(p, "of-"+slug(larger.asked.ID), larger.cohort, r.cohort); err != nil {
				return err
			}
		}
		if err := r.tieVariants(p, r.cohort); err != nil {
			return err
		}
	}
	return nil
}

// restrictions are the analyses of a part of the cohort, and those that are repeated on other shoulders.
func restrictions(b *book, p *plan.Plan, whole *cohorts.Cohort) ([]restriction, error) {
	var parts []restriction
	known := b.plainCounts()
	for _, asked := range p.Analyses {
		if asked.Within == nil && len(asked.Sensitivity) == 0 {
			continue
		}
		inside, err := within(whole, asked)
		if err != nil {
			return nil, err
		}
		r := restriction{book: b, asked: asked, known: known, cohort: inside}
		if e := p.Endpoint(asked.Endpoint); e != nil {
			r.endpoint = *e
		}
		parts = append(parts, r)
	}
	return parts, nil
}

// holds says whether one part is a smaller one of the other. Two of the same shoulders need no tie.
func holds(larger, smaller *cohorts.Cohort) bool {
	return len(smaller.Shoulders) < len(larger.Shoulders) && partOf(smaller.Shoulders, larger.Shoulders)
}

// tieVariants ties the repetition with the first shoulder of each patient, which is a part of the analysis, and that
// without a minimum of follow-up, of which the analysis is a part. Other repetitions are of other shoulders.
func (r restriction) tieVariants(p *plan.Plan, c *cohorts.Cohort) error {
	for _, v := range r.asked.Sensitivity {
		variant := cohorts.Variant(v)
		if variant != cohorts.FirstShoulders && variant != cohorts.AnyFollowUp {
			continue
		}
		other, _, err := c.Vary(p.FollowUp, variant)
		var problem *schemas.Problem
		if errors.As(err, &problem) && problem.Kind == schemas.CohortProblem {
			continue
		}
		if err != nil {
			return err
		}
		varied := *other
		varied.Name = variantName(c, v)
		whole, part := c, &varied
		if variant == cohorts.AnyFollowUp {
			whole, part = part, whole
		}
		if err := r.tie(p, slug(string(v)), whole, part); err != nil {
			return err
		}
	}
	return nil
}

// counting says what a count is a count of.
type counting struct{ cohort, group, endpoint, measure string }

// plainCounts returns the counts so far that belong to no time, by what they count.
func (b *book) plainCounts() map[counting]string {
	known := map[counting]string{}
	for _, e := range b.doc.Estimates {
		key := counting{e.Cohort, e.Group, e.Endpoint, e.Measure}
		if e.Method != "count" || e.At.Known {
			continue
		}
		if _, before := known[key]; !before {
			known[key] = e.ID
		}
		if !slices.Contains(everybodyAs, e.Measure) {
			continue
		}
		key.endpoint, key.measure = "", everybody // how many shoulders there are depends on no endpoint
		if _, before := known[key]; !before {
			known[key] = e.ID
		}
	}
	return known
}

// restriction is one analysis of a part of the cohort.
type restriction struct {
	*book
	asked    plan.Analysis
	endpoint cohorts.Endpoint
	cohort   *cohorts.Cohort
	known    map[counting]string
}

// The measure that counts shoulders, however they ended.
const everybody, everybodySlug = "shoulders counted", "shoulders"

// everybodyAs is how the analyses call that measure.
var everybodyAs = []string{everybody, "shoulders", "shoulders followed"}

// ending is a way for an episode to end, in one group.
type ending struct{ group, slug, measure string }

// tie counts the whole and the part by group, and records both with what is left over.
func (r restriction) tie(p *plan.Plan, what string, whole, inside *cohorts.Cohort) error {
	if !partOf(inside.Shoulders, whole.Shoulders) {
		return nil
	}
	all, order, err := r.endings(p, whole)
	if err != nil {
		return err
	}
	part, _, err := r.endings(p, inside)
	if err != nil {
		return err
	}
	labels := make([]string, len(order))
	for i, e := range order {
		labels[i] = e.group + " " + e.slug
	}
	for i, name := range slugs(labels) {
		e := order[i]
		w := r.count(what+".whole", name, whole.Name, e, all[e])
		in := r.count(what+".inside", name, inside.Name, e, part[e])
		r.total(w, in, r.count(what+".outside", name, whole.Name+", outside "+inside.Name, e, all[e]-part[e]))
	}
	return nil
}

// partOf says whether every shoulder of some is among all. Both rise.
func partOf(some, all []int32) bool {
	at := 0
	for _, shoulder := range some {
		for at < len(all) && all[at] < shoulder {
			at++
		}
		if at == len(all) || all[at] != shoulder {
			return false
		}
	}
	return true
}

// count records a count, and that it is the one the analyses show where they show it.
func (r restriction) count(where, name, cohort string, of ending, n int) string {
	e := report.Count(r.asked.ID+"."+where+"."+name, r.asked.ID, of.measure, n, shoulders)
	e.Cohort, e.Group, e.Endpoint = cohort, of.group, r.endpoint.ID
	id := r.add(e)
	for _, endpoint := range slices.Compact([]string{r.endpoint.ID, ""}) {
		if shown, ok := r.known[counting{cohort, of.group, endpoint, of.measure}]; ok && r.get(shown).Value == e.Value {
			r.total(shown, id)
		}
	}
	return id
}

// endings counts how the shoulders of a cohort end, by group and all together; how many there are where the analysis has no
// endpoint.
func (r restriction) endings(p *plan.Plan, c *cohorts.Cohort) (map[ending]int, []ending, error) {
	n, order := map[ending]int{}, []ending(nil)
	add := func(group, slug, measure string, by int) {
		e := ending{group, slug, measure}
		if _, before := n[e]; !before {
			order = append(order, e)
		}
		n[e] += by
	}
	if r.endpoint.ID == "" {
		add(cohorts.All, everybodySlug, everybody, len(c.Shoulders))
		return n, order, nil
	}
	eps, err := c.Episodes(r.endpoint, p.FollowUp, r.asked.Groups)
	if err != nil {
		return nil, nil, err
	}
	add(cohorts.All, everybodySlug, everybody, len(eps.Exit)-eps.Divided)
	counts := make([][]int, len(eps.Groups))
	for g := range counts {
		counts[g] = make([]int, 1+len(eps.Causes))
	}
	for i, g := range eps.Group {
		counts[g][eps.Cause[i]]++
	}
	for g, label := range eps.Groups {
		for cause, k := range counts[g] {
			if label != cohorts.All {
				add(label, everybodySlug, everybody, k)
			}
			if cause == 0 {
				continue // those still under observation follow from the others
			}
			name := eps.Causes[cause-1]
			add(cohorts.All, "ended-"+slug(string(name)), causeName(eps.Causes, cause-1), k)
			if label != cohorts.All {
				add(label, "ended-"+slug(string(name)), causeName(eps.Causes, cause-1), k)
			}
		}
	}
	return n, order, nil
}
