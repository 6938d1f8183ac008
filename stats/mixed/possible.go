package mixed

import "fmt"

// possible looks at which visits were made together, which decides what can be told apart before any score is looked at.
func (f *Fit) possible(patterns []*pattern) bool {
	k := len(f.Visits)
	together, rows, twice, shoulders := make([]int, k*(k+1)/2), make([]int, k), false, false
	for _, p := range patterns {
		for a := range p.size() {
			rows[p.visit[a]] += len(p.blocks)
			for b := range a {
				if p.subject[a] != p.subject[b] {
					shoulders = true
					continue
				}
				twice = true
				together[pair(p.visit[a], p.visit[b])] += len(p.blocks)
			}
		}
	}
	seen := 0
	for _, n := range rows {
		seen += min(n, 1)
	}
	switch {
	case f.Rows == 0:
		f.refuse(NoRows, "there are no scores")
	case seen == 1:
		f.refuse(OneVisit, "all scores are of one visit, so nothing is repeated: compare groups at that visit by ordinary means")
	case !twice:
		f.refuse(OneVisit, "no shoulder has scores at two visits, so nothing is repeated: compare groups at each visit by ordinary means")
	case f.Options.PatientIntercept && !shoulders:
		f.refuse(NotIdentified, "no patient has two shoulders with scores, so that patients cannot be told from shoulders: leave the intercept of each patient out")
	default:
		return f.Options.Covariance != Unstructured || f.allTogether(together, rows)
	}
	return false
}

// allTogether asks for two shoulders at least with each pair of visits.
func (f *Fit) allTogether(together, rows []int) bool {
	const remedy = "; take a covariance with fewer parameters, or leave a visit out"
	for a := range f.Visits {
		if rows[a] == 0 {
			f.refuse(NotIdentified, "there are no scores at "+f.Visits[a]+": leave the visit out", f.Visits[a])
			return false
		}
		for b := range a {
			if n := together[pair(int32(a), int32(b))]; n < 2 {
				f.refuse(NotIdentified, fmt.Sprintf("%s scores at both %s and %s, too few for their covariance%s", having(n), f.Visits[b], f.Visits[a], remedy), f.Visits[b], f.Visits[a])
				return false
			}
		}
	}
	return true
}

func having(n int) string {
	if n == 0 {
		return "no shoulder has"
	}
	return "only one shoulder has"
}

// everyVisitVaries refuses a visit of one score, which an unstructured covariance would give a variance of 0.
func (f *Fit) everyVisitVaries() bool {
	if f.Options.Covariance != Unstructured {
		return true
	}
	d := f.frame.data
	first, varies := make([]float64, len(f.Visits)), make([]bool, len(f.Visits))
	seen := make([]bool, len(f.Visits))
	for i, v := range d.Visit {
		if !seen[v] {
			first[v], seen[v] = d.Outcome[i], true
		}
		varies[v] = varies[v] || d.Outcome[i] != first[v]
	}
	for v, name := range f.Visits {
		if !varies[v] {
			f.refuse(OnBoundary, fmt.Sprintf("all scores at %s are %g: leave the visit out, or take a covariance with one variance for all visits", name, first[v]), name)
			return false
		}
	}
	return true
}
