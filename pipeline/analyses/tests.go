package analyses

import (
	"fmt"
	"strconv"
	"strings"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/competing"
	"deltoid/stats/survival"
)

// tested is the result of one test with what it was made on, so that it cannot be shown beside other data.
type tested struct {
	name      string // "log-rank test"
	method    string
	groups    []string
	n, events []int64
	expected  []float64 // nil where the test has none
	chiSquare float64
	df        int
	p         float64
	status    survival.Status
	why       string // there is no result
	whole     *survival.Test
	id        string // of the p-value
}

// strata are the strata of a comparison; of is nil where there is one only.
type strata struct {
	labels []string
	of     []int32
}

// readStratifier puts every shoulder into its stratum.
func (s *comparison) readStratifier() error {
	s.strata = strata{labels: []string{cohorts.All}}
	if s.asked.Strata == "" {
		return nil
	}
	of, labels, _, err := s.cohort.Groups(cohorts.Grouping{By: s.asked.Strata, Place: s.asked.Place})
	if err != nil {
		return err
	}
	if rows := s.episodes.Shoulder; rows != nil { // after a landmark or a split a shoulder has no episode, or two
		each := make([]int32, len(rows))
		for i, member := range rows {
			each[i] = of[member]
		}
		of = each
	}
	s.strata = strata{labels, of}
	return nil
}

// counted returns the counts of every stratum.
func (s *comparison) counted() ([]*survival.Counts, error) {
	if s.strata.of == nil {
		places := make([]int, len(s.compared()))
		for i := range places {
			places[i] = i
		}
		return []*survival.Counts{s.counts.Select(places...)}, nil
	}
	d, in := s.comparedRows()
	return survival.CountByStratum(d, in.of, len(in.labels))
}

// runTests runs the tests that the plan asks for and records their results.
func (s *comparison) runTests(p *plan.Plan) error {
	if err := s.readStratifier(); err != nil {
		return err
	}
	s.countTested()
	counts, err := s.counted()
	if err != nil {
		return fmt.Errorf("%s: %w", s.asked.Place, err)
	}
	for _, asked := range s.asked.Tests {
		t, err := s.test(asked, counts)
		if err != nil {
			return fmt.Errorf("%s: %w", s.asked.Place, err)
		}
		s.tests = append(s.tests, s.record(t, slug(string(asked))))
		if s.asked.Trend && t.whole != nil {
			if t, err = s.trend(t); err != nil {
				return fmt.Errorf("%s: %w", s.asked.Place, err)
			}
			s.tests = append(s.tests, s.record(t, slug(string(asked))+"-trend"))
		}
	}
	return nil
}

// test runs one test.
func (s *comparison) test(asked plan.Test, counts []*survival.Counts) (tested, error) {
	if asked == plan.Gray {
		return s.gray(counts)
	}
	w, name := weightingOf(asked)
	d, in := s.comparedRows()
	t, err := s.logRank(w, d, in, counts)
	if err != nil {
		return tested{}, err
	}
	return s.resultOf(t, name, s.labels()), nil
}

func (s *comparison) labels() []string { return s.episodes.Groups[:len(s.compared())] }

// logRank compares rates; clustered by patient where the shoulders of one patient are in.
func (s *comparison) logRank(w survival.Weighting, d survival.Data, in strata, counts []*survival.Counts) (*survival.Test, error) {
	if s.byRows() {
		return survival.ClusteredLogRank(1, w, d, in.of, len(in.labels))
	}
	return survival.LogRank(1, w, counts...)
}

func (s *comparison) resultOf(t *survival.Test, name string, groups []string) tested {
	return tested{name: name, method: name + ", " + s.varianceWords("hypergeometric variance") + s.weightedBy() + s.stratifiedWords(), groups: groups, n: t.N, events: t.Events,
		expected: t.Expected, chiSquare: t.ChiSquare, df: t.DF, p: t.P, status: t.Status, whole: t}
}

// weightingOf returns the weighting of a test, and its name.
func weightingOf(asked plan.Test) (survival.Weighting, string) {
	switch asked {
	case plan.WeightedEarly:
		return survival.PetoPrentice, "log-rank test weighted early (Peto–Prentice)"
	case plan.WeightedLate:
		late, _ := survival.FlemingHarrington(0, 1) // its powers are allowed
		return late, "log-rank test weighted late (Fleming–Harrington, powers 0 and 1)"
	case plan.WeightedAtRisk:
		return survival.GehanBreslow, "log-rank test weighted by the number at risk (Gehan–Breslow)"
	case plan.WeightedRootAtRisk:
		return survival.TaroneWare, "log-rank test weighted by the root of the number at risk (Tarone–Ware)"
	default:
		return survival.Equal, "log-rank test"
	}
}

// gray compares cumulative incidences; clustered by patient where the shoulders of one patient are in. The method has no answer
// for those who came under observation late.
func (s *comparison) gray(counts []*survival.Counts) (tested, error) {
	out := tested{name: "Gray's test", groups: s.labels(),
		method: "Gray's test of the cumulative incidences, " + s.varianceWords("shoulders taken as independent") + s.weightedBy() + s.stratifiedWords()}
	if out.why = s.noGray(); out.why != "" {
		for g := range out.groups {
			out.n, out.events = append(out.n, s.counts.N(g)), append(out.events, s.counts.Events(g, 1))
		}
		out.status = survival.NotComparable
		return out, nil
	}
	t, err := s.grayTest(counts)
	if err != nil {
		return out, err
	}
	out.n, out.events, out.chiSquare, out.df, out.p, out.status = t.N, t.Events, t.ChiSquare, t.DF, t.P, t.Status
	return out, nil
}

// noGray says why Gray's test cannot be made; empty where it can.
func (s *comparison) noGray() string {
	switch {
	case s.episodes.Entry != nil:
		return "some shoulders came under observation late, for which the method has no answer"
	case s.byRows() && len(s.compared()) > competing.MostClusteredGroups:
		return fmt.Sprintf("incidences of shoulders with weights, or of one patient, are compared in at most %d groups; make fewer groups, or leave the weights out and write "+
			"\"variance: independent\"",
			competing.MostClusteredGroups)
	}
	return ""
}

func (s *comparison) grayTest(counts []*survival.Counts) (*competing.Test, error) {
	if !s.byRows() {
		return competing.Gray(1, 0, counts...)
	}
	d, in := s.comparedRows()
	return competing.ClusteredGray(1, 0, d, in.of, len(in.labels))
}

// trend tests along the order of the groups.
func (s *comparison) trend(of tested) (tested, error) {
	scores := make([]float64, len(of.groups))
	for i := range scores {
		scores[i] = float64(i + 1)
	}
	t, err := of.whole.Trend(scores)
	if err != nil {
		return of, err
	}
	of.name = "trend along the order of the groups, " + of.name
	of.method = of.name + ", scores 1, 2, …" + s.stratifiedWords()
	of.chiSquare, of.df, of.p, of.status, of.expected = t.ChiSquare, 1, t.P, t.Status, nil
	return of, nil
}

func (s *comparison) stratifiedWords() string {
	if s.asked.Strata == "" {
		return ""
	}
	return ", within strata of " + s.fieldWords(s.asked.Strata)
}

// record writes down a result: the statistic and its p-value, with all shoulders and events that it used.
func (s *comparison) record(t tested, name string) tested {
	e := s.estimated(s.id("test", name, "chi-square"), s.tested(), "chi-square", "chi-square")
	e.N, e.Events = report.Some(float64(s.tested().n)), report.Some(float64(sum(t.events)))
	e.Method = t.method + ", " + degrees(t.df) + "; groups: " + strings.Join(t.groups, "; ")
	p := e
	p.ID, p.Measure, p.Unit = s.id("test", name, "p"), "p value", report.UnitPValue
	if t.status != survival.Estimated {
		e.Status, e.Note = report.NotIdentifiable, t.reason()
		if t.status == survival.NoEvents {
			e.Status = report.NoEvents
		}
		p.Status, p.Note = e.Status, e.Note
	} else {
		e.Value, p.Value = report.Some(t.chiSquare), report.Some(t.p)
	}
	s.add(e)
	t.id = s.add(p)
	s.restOnCounts(e.ID, p.ID)
	return t
}

func (t tested) reason() string {
	switch {
	case t.why != "":
		return t.why
	case t.status == survival.NoEvents:
		return "no event in any group, so there is nothing to compare"
	case t.status == survival.NoWeight:
		return "every shoulder has the weight 0"
	case t.status == survival.OneCluster:
		return "all shoulders are of one patient, so nothing can be said about how much patients differ"
	default:
		return "at no event were shoulders of two groups at risk, so nothing can be said about a difference"
	}
}

// chiID is the id of the statistic beside a p-value.
func (t tested) chiID() string { return strings.TrimSuffix(t.id, ".p") + ".chi-square" }

func degrees(df int) string {
	if df == 1 {
		return "1 degree of freedom"
	}
	return strconv.Itoa(df) + " degrees of freedom"
}

func sum(counts []int64) (n int64) {
	for _, c := range counts {
		n += c
	}
	return n
}

// annotate writes a result below the figure of the curves it compares. It refuses one that was made on other shoulders,
// events or groups than the curves: that is a fault of the program.
func (s *followed) annotate(f *report.Figure, t tested) error {
	refuse := func(what string, test, figure any) error {
		return fmt.Errorf("the %s used %s %v, the figure %q shows %v; this is a fault of the program, please report it", t.name, what,
			test, f.ID, figure)
	}
	if len(t.groups) != len(s.compared()) || len(f.Curves) != len(s.parts()) || len(t.n) != len(t.groups) || len(t.events) != len(t.groups) {
		return refuse("groups", t.groups, len(f.Curves))
	}
	for i, g := range s.compared() {
		switch {
		case t.groups[i] != g.label || f.Curves[i].Group != g.label:
			return refuse("the group", t.groups[i], f.Curves[i].Group)
		case t.n[i] != g.counts.N(0):
			return refuse("shoulders of "+g.label+":", t.n[i], g.counts.N(0))
		case t.events[i] != g.counts.Events(0, 1):
			return refuse("events of "+g.label+":", t.events[i], g.counts.Events(0, 1))
		}
	}
	f.Notes = append(f.Notes, say(sentence(t.name)+": p ", value(t.id), ", on ", shown{t.id, report.ShowN}, " shoulders with ",
		shown{t.id, report.ShowEvents}, " events."))
	return nil
}
