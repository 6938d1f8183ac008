package analyses

import (
	"math"
	"slices"

	"deltoid/cohorts"
	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/change"
	"deltoid/stats/covariates"
)

// visit counts what became of the shoulders by one visit, and who of them reached the thresholds.
func (s *recovery) visit(k int) error {
	v := &visitCount{k: k, rulings: s.rulings(k)}
	v.complete = slices.Clone(v.rulings)
	for i, r := range v.complete {
		if r != change.NotScored {
			v.complete[i] = change.LeftOut
		}
	}
	for column := range s.labels {
		var rows []int32
		n := 0
		for _, i := range s.members[column] {
			if v.rulings[i] != change.LeftOut {
				rows = append(rows, i)
			}
			if v.rulings[i] == change.NotScored && !math.IsNaN(s.visits.Value[k][i]) {
				n++
			}
		}
		v.rows, v.scored = append(v.rows, rows), append(v.scored, n)
	}
	s.countVisit(v)
	for _, g := range s.goals {
		if err := s.countGoal(v, g); err != nil {
			return err
		}
	}
	if err := s.missingWays(v); err != nil {
		return err
	}
	s.each = append(s.each, v)
	return s.describeVisit(v)
}

// countVisit records who counts, who of them was scored or ruled on, and who is missing.
func (s *recovery) countVisit(v *visitCount) {
	w := s.visits.Windows[v.k]
	counted, answered, missing := make([]int, len(s.labels)), make([]int, len(s.labels)), make([]int, len(s.labels))
	ruled, none := make([]int, len(s.labels)), make([]int, len(s.labels))
	for column, rows := range v.rows {
		for _, i := range rows {
			counted[column]++
			switch {
			case v.rulings[i] != change.NotScored:
				ruled[column]++
			case math.IsNaN(s.visits.Value[v.k][i]):
				missing[column]++
			default:
				answered[column]++
			}
		}
	}
	before := s.baseline()
	if s.about == change.OfChange {
		none = s.countBy(func(i int) bool { return s.visits.State[v.k][i] != cohorts.NotDue && math.IsNaN(before[i]) })
	}
	v.counted = s.counts(w.ID+".counted", w.Label+": shoulders that count", shoulders, counted)
	v.answered = s.counts(w.ID+".scored", w.Label+": with the scores", shoulders, answered)
	v.missing = s.counts(w.ID+".missing", w.Label+": due and not scored", shoulders, missing)
	v.ruled = s.counts(w.ID+".ruled", w.Label+": counted as not improved without a score", shoulders, ruled)
	v.noBefore = s.counts(w.ID+".no-before", w.Label+": due, and no score before the operation", missingValues, none)
	s.parts(v.counted, v.answered, v.ruled, v.missing)
}

// countGoal records how many reached a threshold.
func (s *recovery) countGoal(v *visitCount, g *goal) error {
	w := s.visits.Windows[v.k]
	improved, not := make([]int, len(s.labels)), make([]int, len(s.labels))
	shares := make([]change.Share, len(s.labels))
	for column := range s.labels {
		if !g.known {
			continue
		}
		responses, err := s.responses(v, column, g, v.complete)
		if err != nil {
			return err
		}
		if shares[column], err = change.ShareOf(responses, taken(s.patient, v.rows[column]), s.asked.Level); err != nil {
			return err
		}
		improved[column], not[column] = int(shares[column].Reached), int(shares[column].NotReached)
	}
	var reached, ids []string
	if g.known {
		reached = s.counts(w.ID+"."+g.slug+".reached", w.Label+": "+g.reach+plain(rounded(g.value))+" "+s.points(), shoulders, improved)
		s.parts(v.answered, reached, s.counts(w.ID+"."+g.slug+".not-reached", w.Label+": not "+g.reach+plain(rounded(g.value))+" "+s.points(), shoulders, not))
	}
	for column := range s.labels {
		e := s.shareEstimate(v, g, column, "share", "share that "+g.reach+"the threshold, complete cases", "Wilson interval"+s.clusteredWords())
		s.settleShare(&e, v, g, column, shares[column].Complete)
		ids = append(ids, s.add(e))
		if g.known {
			s.derived(e.ID, reached[column], v.answered[column])
		}
	}
	v.improved, v.share = append(v.improved, reached), append(v.share, ids)
	return nil
}

func (s *recovery) clusteredWords() string {
	if s.patient == nil {
		return ""
	}
	return ", clustered by patient"
}

// responses says of the shoulders that count in a column whether each reached a threshold.
func (s *recovery) responses(v *visitCount, column int, g *goal, rulings []change.Response) ([]change.Response, error) {
	rows := v.rows[column]
	return change.Respond(s.pairOf(v.k, rows), change.Criterion{Scale: s.scale, About: s.about, Threshold: g.value}, taken(rulings, rows))
}

func (s *recovery) shareEstimate(v *visitCount, g *goal, column int, what, measure, method string) report.Estimate {
	w := s.visits.Windows[v.k]
	e := s.estimate(w.ID+"."+g.slug+"."+what, column, w.Label+": "+measure, report.UnitProbability)
	e.Method = method
	return e
}

// settleShare fills in a share. Where nobody has a score there is none, however many revised shoulders count as not improved.
func (s *recovery) settleShare(e *report.Estimate, v *visitCount, g *goal, column int, x change.Estimate) {
	switch {
	case !g.known:
		e.Status, e.Note = report.NotIdentifiable, g.why
	case v.scored[column] == 0 && s.about == change.OfChange:
		e.Status, e.Note = report.NotIdentifiable, "no shoulder has a score both before the operation and at this visit; see whether the export has this score at these visits, or ask about the state in place of the change"
	case v.scored[column] == 0:
		e.Status, e.Note = report.NotIdentifiable, "no shoulder has a score at this visit"
	default:
		settle(e, x)
	}
}

// missingWays records what the missing scores could make of the share, for the first threshold.
func (s *recovery) missingWays(v *visitCount) error {
	g := s.goals[0]
	for column := range s.labels {
		var share change.Share
		var weighted change.Estimate
		if rows := v.rows[column]; g.known && v.scored[column] > 0 {
			responses, err := s.responses(v, column, g, v.rulings)
			if err != nil {
				return err
			}
			patient := taken(s.patient, rows)
			if share, err = change.ShareOf(responses, patient, s.asked.Level); err != nil {
				return err
			}
			w, err := change.Weighted(responses, taken(v.rulings, rows), varying(s.models, rows), patient, s.asked.Level)
			if err != nil {
				return err
			}
			weighted = w.Estimate
		}
		for _, way := range []struct {
			what, measure, method string
			x                     change.Estimate
			ids                   *[]string
		}{{"weighted", "share that reached the threshold, with those who count as not improved, weighted for who is missing", "weights by logistic regression, Wilson interval", weighted, &v.weighted},
			{"least", "share if no missing one had reached the threshold", "all missing counted as not improved", share.Worst, &v.least},
			{"most", "share if all missing ones had reached the threshold", "all missing counted as improved", share.Best, &v.most}} {
			e := s.shareEstimate(v, g, column, way.what, way.measure, way.method)
			s.settleShare(&e, v, g, column, way.x)
			*way.ids = append(*way.ids, s.add(e))
			s.derived(e.ID, v.counted[column], v.missing[column], v.share[0][column])
		}
	}
	return nil
}

// presence makes the columns of the model of who comes to a visit: what anybody has, the groups, and the score before. A
// value that is not recorded counts as the average, or as the first level.
func (s *recovery) presence() ([]covariates.Column, error) {
	fields := (&followUp{portrait: s.portrait}).comparedFields()
	var columns []covariates.Column
	for _, field := range fields {
		column, err := s.cohort.Baseline(field, s.asked.Place)
		if err != nil {
			return nil, err
		}
		if t := column.Field.Type; t == schemas.Number || t == schemas.Integer {
			columns = append(columns, covariates.Column{Name: field, Values: averaged(s.numbers(column))})
			continue
		}
		more, err := s.dummies(cohorts.Grouping{By: field, Place: s.asked.Place}, field)
		if err != nil {
			return nil, err
		}
		columns = append(columns, more...)
	}
	if s.about == change.OfChange {
		columns = append(columns, covariates.Column{Name: "score before the operation", Values: averaged(s.baseline())})
	}
	return columns, nil
}
