package analyses

import (
	"fmt"
	"math"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/change"
	"deltoid/stats/describe"
)

// withinPatient is a comparison of two procedures in patients who have one on each side, while it is being written down.
type withinPatient struct {
	*scored
	names  [2]string // of the two groups
	pairs  []cohorts.Pair
	values [2][]float64 // improvements by pair, NaN where not known
	about  change.Measure
	sheet  report.Sheet
	n      string // id of the pairs with both
}

// compareWithinPatients compares two groups in the patients who have one of each, among all linked shoulders: the criteria of a
// cohort often keep one side of a pair only.
func compareWithinPatients(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	everyone, err := withoutCriteria(p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	shared, err := newScored(b, p, everyone, asked)
	if err != nil {
		return report.Section{}, err
	}
	s := &withinPatient{scored: shared}
	section := report.Section{ID: asked.ID, Heading: "Within patients: " + s.instrument.Title + ", by " + s.byWords() + withinWords(asked),
		Question: "How do the two compare in patients who have one on each side?"}
	if s.visits == nil {
		return s.noScores(section.Heading, section.Question), nil
	}
	if err := s.findPairs(); err != nil {
		return report.Section{}, err
	}
	if len(s.pairs) == 0 {
		section.Answer = []report.Text{report.Words("No patient has a different " + s.byWords() + " on each side, so that nothing can be compared within patients.")}
		return section, nil
	}
	s.collect()
	if section.Answer, err = s.compare(); err != nil {
		return report.Section{}, fmt.Errorf("%s: %w", asked.Place, err)
	}
	section.Sheets, section.Method = []report.Sheet{s.sheet}, s.methodWords()
	return section, nil
}

// findPairs keeps the patients with the two groups that the plan orders first, or else with the two that most patients have.
func (s *withinPatient) findPairs() error {
	all, err := s.cohort.Pairs(s.asked.Groups)
	if err != nil {
		return err
	}
	count := map[[2]int32]int{}
	key := func(p cohorts.Pair) [2]int32 {
		return [2]int32{min(p.FirstGroup, p.SecondGroup), max(p.FirstGroup, p.SecondGroup)}
	}
	for _, p := range all.Pairs {
		if all.Groups[p.FirstGroup] != cohorts.NotRecorded && all.Groups[p.SecondGroup] != cohorts.NotRecorded {
			count[key(p)]++
		}
	}
	best, most := [2]int32{0, 1}, 0
	for a := range int32(len(all.Groups)) {
		for b := a + 1; b < int32(len(all.Groups)); b++ {
			if n := count[[2]int32{a, b}]; n > most {
				best, most = [2]int32{a, b}, n
			}
		}
	}
	if len(s.asked.Groups.Order) >= 2 {
		best = [2]int32{0, 1} // the groups stand in the order of the plan
	}
	if len(all.Groups) < 2 {
		return nil
	}
	s.names = [2]string{all.Groups[best[0]], all.Groups[best[1]]}
	for _, p := range all.Pairs {
		if key(p) != best {
			continue
		}
		if p.FirstGroup != best[0] { // the first of a pair is now the first group
			p.First, p.Second, p.FirstGroup, p.SecondGroup = p.Second, p.First, p.SecondGroup, p.FirstGroup
		}
		s.pairs = append(s.pairs, p)
	}
	return nil
}

// collect takes the improvement of both sides, or the state where the threshold is one.
func (s *withinPatient) collect() {
	if t := s.asked.Scores.Thresholds; len(t) > 0 && t[0].IsState {
		s.about = change.OfState
	}
	k, before := s.last(), s.baseline()
	for _, p := range s.pairs {
		for side, i := range []int32{p.First, p.Second} {
			x := s.visits.Value[k][i]
			if s.about == change.OfChange {
				x = s.scale.Improvement(before[i], x)
			}
			s.values[side] = append(s.values[side], x)
		}
	}
}

// compare makes the table and the sentences.
func (s *withinPatient) compare() ([]report.Text, error) {
	x, err := change.WithinPatients(s.values[0], s.values[1], s.asked.Level)
	if err != nil {
		return nil, err
	}
	what := map[change.Measure]string{change.OfChange: "improvement", change.OfState: "score"}[s.about]
	s.sheet = report.Sheet{ID: s.asked.ID + "-table", Title: sentence(what) + " of both sides at " + s.visitWords(s.last()), Columns: []string{"Within patients", "Value"}}
	all := s.one("pairs", "patients with "+inSentence(s.names[0])+" on one side and "+inSentence(s.names[1])+" on the other", len(s.pairs), "patients")
	s.n = s.one("both", "of these, with the scores of both sides", x.N, "patients")
	s.total(all, s.n, s.one("incomplete", "of these, with a score missing", x.Incomplete, "patients"))
	if !x.OK() {
		_, why := notFound(x.State)
		return []report.Text{say("In ", value(s.n), " of ", value(all), " patients with "+inSentence(s.names[0])+" on one side and "+inSentence(s.names[1])+" on the other the scores of both sides are known: "+why+".")}, nil
	}
	for side, name := range s.names {
		s.row([]string{"mean-first", "mean-second"}[side], "mean "+what+", "+inSentence(name), s.scoreUnit(), s.meanOf(s.values[side], s.values[1-side]))
	}
	difference := s.row("difference", "mean difference within patients, first less second", s.scoreUnit(), ofTest(x.T))
	s.row("p", "p of the paired t-test", report.UnitPValue, ofP(x.T.Test))
	s.row("rank-p", "p of the signed-rank test", report.UnitPValue, ofP(x.SignedRank))
	correlation := s.row("correlation", "correlation of the two sides", report.UnitCorrelation, x.Correlation)
	within := s.row("se", "standard error of the difference within patients", s.scoreUnit(), change.Estimate{Value: math.Sqrt(x.VarianceOfContrast)})
	apart := s.row("se-apart", "standard error between as many different patients on each side", s.scoreUnit(), change.Estimate{Value: math.Sqrt(x.VarianceUnpaired)})
	s.row("variance-ratio", "variance within patients over that between different ones", report.UnitRatio, change.Estimate{Value: x.Ratio})
	answer := []report.Text{say("In ", value(s.n), " patients with "+inSentence(s.names[0])+" on one side and "+inSentence(s.names[1])+" on the other, the "+what+" differs by ", withInterval(difference), " "+s.points()+" in the mean, the first of the two less the second.")}
	reason := " What is the patient's own is in both sides and falls out of their difference"
	if x.Ratio < 1 {
		answer = append(answer, say("The standard error is ", value(within), " "+s.points()+"; between as many different patients on each side it would be ", value(apart), "."+reason+": the two sides correlate by ", value(correlation), ", so that the comparison within patients is the sharper one."))
	} else {
		answer = append(answer, say("The standard error is ", value(within), " "+s.points()+", no smaller than between different patients, where it would be ", value(apart), "."+reason+", but here the two sides do not go together (correlation ", value(correlation), ")."))
	}
	s.short[s.asked.ID] = answer[0]
	more, err := s.responders()
	return append(answer, more...), err
}

func (s *withinPatient) one(what, measure string, n int, unit string) string {
	e := report.Count(s.id(what), s.asked.ID, measure, n, unit)
	e.Cohort = s.cohort.Name
	id := s.add(e)
	s.sheet.Rows = append(s.sheet.Rows, report.SheetRow{Label: sentence(measure), Cells: []report.Cell{number(id)}})
	return id
}

func (s *withinPatient) row(what, label, unit string, x change.Estimate) string {
	e := report.Estimate{ID: s.id(what), Analysis: s.asked.ID, Cohort: s.cohort.Name, Measure: label, Unit: unit, Method: "pairs of sides", Status: report.Estimated}
	settle(&e, x)
	s.derived(e.ID, s.n)
	id := s.add(e)
	s.sheet.Rows = append(s.sheet.Rows, report.SheetRow{Label: sentence(label), Cells: []report.Cell{report.Cell(say(inTable(id)))}})
	return id
}

// meanOf is the mean of a side in the patients in whom both are known.
func (s *withinPatient) meanOf(x, other []float64) change.Estimate {
	var known []float64
	for i, v := range x {
		if !math.IsNaN(v) && !math.IsNaN(other[i]) {
			known = append(known, v)
		}
	}
	return mean(describe.MomentsOf(known))
}

func ofTest(t describe.MeanTest) change.Estimate {
	if t.Status != describe.Estimated {
		return change.Estimate{State: change.State{Status: change.NoSpread}}
	}
	return change.Estimate{Value: t.Difference, SE: t.SE, Lower: t.Lower, Upper: t.Upper, Level: t.Level}
}

func ofP(t describe.Test) change.Estimate {
	if t.Status != describe.Estimated {
		return change.Estimate{State: change.State{Status: change.NoSpread}}
	}
	return change.Estimate{Value: t.P}
}

// responders compares the shares of the two sides that reach the threshold, where the plan names one.
func (s *withinPatient) responders() ([]report.Text, error) {
	if len(s.asked.Scores.Thresholds) == 0 {
		return nil, nil
	}
	r := &recovery{scored: s.scored, about: s.about}
	g, err := r.goal(0, s.asked.Scores.Thresholds[0])
	if err != nil || !g.known {
		return nil, err
	}
	var sides [2][]change.Response
	for side, x := range s.values {
		for _, v := range x {
			sides[side] = append(sides[side], s.reaches(v, g.value))
		}
	}
	table, _, err := change.PairsOf(sides[0], sides[1])
	if err != nil {
		return nil, err
	}
	x, err := change.CompareSides(table, s.asked.Level)
	if err != nil {
		return nil, err
	}
	s.cells(table)
	s.row("share-first", "share that reached the threshold, "+inSentence(s.names[0]), report.UnitProbability, proportion(x.First))
	s.row("share-second", "share that reached the threshold, "+inSentence(s.names[1]), report.UnitProbability, proportion(x.Second))
	d := s.row("share-difference", "difference of the shares, percentage points (Newcombe, pairs)", report.UnitDifference, x.Difference)
	p := s.row("mcnemar", "p of McNemar's exact test", report.UnitPValue, ofP(x.Exact))
	if !x.Difference.OK() {
		return nil, nil
	}
	return []report.Text{say("By the threshold of ", value(g.id), " "+s.points()+", "+g.source+", the shares differ by ", withInterval(d), " (McNemar's exact test, p ", value(p), ").")}, nil
}

// cells records the pairs by who reached the threshold, so that a small number is not given away by a share. They are in no
// row of the table.
func (s *withinPatient) cells(t change.PairedTable) {
	count := func(what, measure string, n int64) string {
		e := report.Count(s.id(what), s.asked.ID, measure, int(n), "patients")
		e.Cohort = s.cohort.Name
		return s.add(e)
	}
	both, neither := count("reached-both", "threshold reached on both sides", t.Both), count("reached-neither", "threshold reached on neither side", t.Neither)
	first, second := count("reached-first-only", "threshold reached on the first only", t.OnlyFirst), count("reached-second-only", "threshold reached on the second only", t.OnlySecond)
	s.total(s.n, both, neither, first, second)
	for side, only := range []string{first, second} {
		name := []string{"first", "second"}[side]
		reached := count("reached-"+name, "threshold reached, "+inSentence(s.names[side]), t.Both+[]int64{t.OnlyFirst, t.OnlySecond}[side])
		s.total(reached, both, only)
		s.total(s.n, reached, count("not-reached-"+name, "threshold not reached, "+inSentence(s.names[side]), t.Neither+[]int64{t.OnlySecond, t.OnlyFirst}[side]))
		s.derived(s.id("share-"+name), reached)
		s.derived(s.id("share-difference"), reached)
	}
	s.derived(s.id("mcnemar"), first, second)
}

func (s *withinPatient) reaches(x, threshold float64) change.Response {
	beyond := x - threshold
	if s.about == change.OfState {
		beyond = s.scale.Improvement(threshold, x)
	}
	switch {
	case math.IsNaN(x):
		return change.NotScored
	case beyond >= 0:
		return change.Reached
	}
	return change.NotReached
}

func (s *withinPatient) methodWords() []report.Text {
	text := "Patients with a different " + s.byWords() + " on each side are compared with themselves, among all linked shoulders; of several prostheses in one shoulder the first counts. Differences have Student's interval; the signed-rank test is exact up to 49 differences. " +
		"Both sides share age, health, expectations and the way of answering. Which side was operated on first, and why the two were treated differently, is not adjusted for."
	if len(s.asked.Scores.Thresholds) > 0 {
		text += " Shares are compared by McNemar's exact test and Newcombe's interval for pairs (Stat Med 1998;17:2635)."
	}
	return []report.Text{report.Words(text)}
}
