package disclose

import (
	"cmp"
	"math"
	"slices"

	"deltoid/pipeline/report"
)

// limitsOf gathers what bounds a curve from the estimates of its group that count the same shoulders.
func (b *board) limitsOf(c report.Curve, row report.RiskRow) limits {
	cohort, endpoint := b.subject(row)
	l := limits{last: b.lastAtRisk(c, cohort, endpoint)}
	for i, e := range b.estimates {
		if e.Group != c.Group || e.Cohort != cohort || isAtRisk(e) || (endpoint != "" && e.Endpoint != "" && e.Endpoint != endpoint) {
			continue
		}
		l.add(e, b.masked[i], b.below)
	}
	slices.SortFunc(l.hidden, func(x, y hiddenTime) int { return cmp.Compare(x.at, y.at) })
	slices.Sort(l.shown)
	l.dropContradicted()
	return l
}

// add takes an estimate into account. One without a time speaks of the whole follow-up: masked, it hides the end.
func (l *limits) add(e report.Estimate, masked bool, below int) {
	switch {
	case masked && e.At.Known:
		few := e.Events.Known && e.Events.X > 0 && e.Events.X < float64(below)
		l.hidden = append(l.hidden, hiddenTime{e.At.X, few})
	case masked:
		l.hidden = append(l.hidden, hiddenTime{at: math.Inf(1)})
	case e.At.Known && e.Value.Known && e.Events.Known:
		l.shown = append(l.shown, e.At.X)
	}
}

// dropContradicted removes shown times that are also hidden: there one estimate of several is masked.
func (l *limits) dropContradicted() {
	l.shown = slices.DeleteFunc(l.shown, func(t float64) bool {
		return slices.ContainsFunc(l.hidden, func(h hiddenTime) bool { return h.at == t })
	})
}

// subject returns the cohort and the endpoint of a curve, which its numbers at risk carry.
func (b *board) subject(row report.RiskRow) (cohort, endpoint string) {
	for _, id := range row.Estimates {
		if i, ok := b.index[id]; ok {
			return b.estimates[i].Cohort, b.estimates[i].Endpoint
		}
	}
	return "", ""
}

// lastAtRisk returns the last time up to which the numbers at risk of the curve's group are all shown and large enough;
// the end of the curve if that comes earlier. Between two such times nothing is known, so the curve ends at the former.
func (b *board) lastAtRisk(c report.Curve, cohort, endpoint string) float64 {
	var enough []float64
	few := math.Inf(1)
	for i, e := range b.estimates {
		switch {
		case e.Measure != atRiskMeasure || !e.At.Known || e.Group != c.Group || e.Cohort != cohort || e.Endpoint != endpoint:
		case b.masked[i] || known(e.Value) < float64(b.below):
			few = min(few, e.At.X)
		default:
			enough = append(enough, e.At.X)
		}
	}
	slices.Sort(enough)
	last, any := lastBefore(enough, few)
	if !any {
		return math.Inf(-1)
	}
	return min(last, c.EndX)
}
