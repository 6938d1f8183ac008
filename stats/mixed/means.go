package mixed

import "fmt"

// blend is a sum of means, by the cells they stand in.
type blend map[int]float64

// weights turns a sum of means, at covariates at (nil: the margins), into weights of coefficients; in order of cells, so that sums
// do not depend on the order of a map.
func (t *Trajectory) weights(b blend, at []float64) []float64 {
	w := make([]float64, len(t.Fit.Names))
	for cell := range t.Cells {
		x, ok := b[cell]
		if !ok || x == 0 {
			continue
		}
		if c := t.column[cell]; c >= 0 {
			w[c] += x
		}
		w[len(w)-1] += x
		for j, slopes := range t.slopes {
			if c := slopes[cell/len(t.data.Groups)]; c >= 0 && at != nil {
				w[c] += float64(x * (at[j] - t.Margins[j]))
			}
		}
	}
	return w
}

// combine estimates a sum of means, unless one of its cells has none.
func (t *Trajectory) combine(name string, b blend, at []float64, level float64) Effect {
	if at != nil && len(at) != len(t.data.Covariates) {
		panic(fmt.Sprintf("mixed: %d values for %d covariates", len(at), len(t.data.Covariates)))
	}
	if t.Fit.Status != Converged {
		return Effect{Name: name, Status: t.Fit.Status, Reason: t.Fit.Reason, Level: level}
	}
	for cell, c := range t.Cells {
		if b[cell] != 0 && c.Status != Converged {
			return Effect{Name: name, Status: c.Status, Reason: c.Reason, Level: level}
		}
	}
	e := t.Fit.Combine(t.weights(b, at), level)
	e.Name = name
	return e
}

func (t *Trajectory) cell(visit, group int) int { return visit*len(t.data.Groups) + group }

// Mean returns the mean score of a group at a visit for shoulders with covariates at, one value for each, or at the margins where
// at is nil.
func (t *Trajectory) Mean(visit, group int, at []float64, level float64) Effect {
	return t.combine(t.data.Groups[group]+" at "+t.data.Visits[visit], blend{t.cell(visit, group): 1}, at, level)
}

// Difference returns the mean of a group less that of another at a visit.
func (t *Trajectory) Difference(visit, group, other int, level float64) Effect {
	return t.combine(t.data.Groups[group]+" less "+t.data.Groups[other]+" at "+t.data.Visits[visit], t.difference(visit, group, other), nil, level)
}

func (t *Trajectory) difference(visit, group, other int) blend {
	return blend{t.cell(visit, group): 1, t.cell(visit, other): -1}
}

// Change returns the mean of a group at a visit less its mean at an earlier one, at covariates at or the margins.
func (t *Trajectory) Change(group, from, to int, at []float64, level float64) Effect {
	return t.combine(t.data.Groups[group]+" from "+t.data.Visits[from]+" to "+t.data.Visits[to],
		blend{t.cell(to, group): 1, t.cell(from, group): -1}, at, level)
}

// DifferenceOfChanges returns how much more a group changed between two visits than another.
func (t *Trajectory) DifferenceOfChanges(group, other, from, to int, level float64) Effect {
	return t.combine(fmt.Sprintf("%s less %s from %s to %s", t.data.Groups[group], t.data.Groups[other], t.data.Visits[from], t.data.Visits[to]),
		blend{t.cell(to, group): 1, t.cell(to, other): -1, t.cell(from, group): -1, t.cell(from, other): 1}, nil, level)
}

// GroupTest tests that groups have one mean at every visit. Cells without a mean are left out.
func (t *Trajectory) GroupTest() Test {
	var rows [][]float64
	for v := range t.data.Visits {
		rows = append(rows, t.contrasts(v)...)
	}
	return t.Fit.Test("groups at all visits", rows)
}

// contrasts compares the groups that have a mean at a visit with the first of them.
func (t *Trajectory) contrasts(visit int) (rows [][]float64) {
	first := -1
	for g := range t.data.Groups {
		switch {
		case t.Cells[t.cell(visit, g)].Status != Converged:
		case first < 0:
			first = g
		default:
			rows = append(rows, t.weights(t.difference(visit, g, first), nil))
		}
	}
	return rows
}

// ChangeTest tests that the differences between groups are the same at every visit. Cells without a mean are left out.
func (t *Trajectory) ChangeTest() Test {
	var rows [][]float64
	for g := 1; g < len(t.data.Groups); g++ {
		others := g
		if t.complete(0) {
			others = 1 // all else follows from the differences from one group
		}
		for other := range others {
			rows = append(rows, t.changes(g, other)...)
		}
	}
	return t.Fit.Test("groups by visits", rows)
}

// complete reports whether a group has a mean at every visit.
func (t *Trajectory) complete(group int) bool {
	for v := range t.data.Visits {
		if t.Cells[t.cell(v, group)].Status != Converged {
			return false
		}
	}
	return true
}

// changes compares the changes of two groups since the first visit at which both have means.
func (t *Trajectory) changes(group, other int) (rows [][]float64) {
	from := -1
	for v := range t.data.Visits {
		switch {
		case t.Cells[t.cell(v, group)].Status != Converged || t.Cells[t.cell(v, other)].Status != Converged:
		case from < 0:
			from = v
		default:
			rows = append(rows, t.weights(blend{t.cell(v, group): 1, t.cell(v, other): -1, t.cell(from, group): -1, t.cell(from, other): 1}, nil))
		}
	}
	return rows
}
