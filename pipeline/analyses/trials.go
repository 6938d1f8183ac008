package analyses

import (
	"fmt"
	"math"

	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/stats/survival"
	"deltoid/stats/trials"
)

// drawn is one simulated study while its section is written.
type drawn struct {
	*book
	asked    plan.Simulated
	test     trials.Test
	patients int
	ratios   []plan.RatioFrom
	result   *trials.Result // of the study as planned
	null     *trials.Result // of the same study without an effect, or with the margin as the truth
	solution *trials.Solution
}

// How far a size or an effect is looked for, and how many studies each step of a search and each changed assumption has at most.
const (
	searchFrom    = 20
	searchTo      = 50_000
	searchToWords = "50,000" // searchTo, for a sentence
	searchStudies = 2000
)

// simulatedSection draws the studies of one plan and says what they found.
func simulatedSection(b *book, asked plan.Simulated) (report.Section, error) {
	s := &drawn{book: b, asked: asked, patients: asked.Patients, ratios: asked.Ratios}
	if err := s.answer(); err != nil {
		return report.Section{}, fmt.Errorf("%s: %w", asked.Place, err)
	}
	s.assumedEstimates()
	s.resultEstimates()
	section := report.Section{ID: asked.ID, Heading: s.heading(), Question: "How often would the study find what it looks for, if it were done over and over?",
		Answer: s.sentences(), Method: s.methods(), Notes: s.remarks()}
	if s.found() {
		sheet, err := s.neighbours()
		if err != nil {
			return section, fmt.Errorf("%s: %w", asked.Place, err)
		}
		section.Sheets = append(section.Sheets, sheet)
		figure, any, err := s.sizeFigure()
		if err != nil {
			return section, fmt.Errorf("%s: %w", asked.Place, err)
		}
		if any {
			section.Figures = []report.Figure{figure}
		}
	}
	if asked.Looks != nil {
		section.Sheets = append(section.Sheets, s.lookSheet())
	}
	section.Sheets = append(section.Sheets, s.seenSheet(), s.assumedSheet())
	b.short[asked.ID] = section.Answer[0]
	return section, nil
}

func (s *drawn) id(parts ...string) string {
	id := s.asked.ID
	for _, p := range parts {
		id += "." + p
	}
	return id
}

// answer looks for what is left out, and draws the study with it and without an effect.
func (s *drawn) answer() (err error) {
	if s.test, err = s.choose(); err != nil {
		return err
	}
	switch {
	case s.patients == 0:
		s.solution, err = trials.SizeFor(s.asked.Power, searchFrom, searchTo, func(n int) trials.Source { return s.asked.Design(n, s.ratios) },
			s.test, s.options(searchStudies))
		if err == nil {
			s.patients = int(s.solution.X)
		}
	case len(s.ratios) == 0 && s.asked.Scores == nil:
		near, far := 0.98, 0.02
		if s.asked.Better == trials.Higher {
			near, far = 1/near, 1/far
		}
		s.solution, err = trials.RatioFor(s.asked.Power, near, far, func(x float64) trials.Source { return s.asked.Design(s.patients, []plan.RatioFrom{{Ratio: x}}) },
			s.test, s.options(searchStudies))
		if err == nil {
			s.ratios = []plan.RatioFrom{{Ratio: s.solution.X}}
		}
	}
	if err != nil {
		return err
	}
	if !s.found() { // the study at the end of the range is no answer, and may be a large one
		s.result, s.null = s.solution.Result, s.solution.Result
		return nil
	}
	if s.result, err = s.simulate(s.asked.Design(s.patients, s.ratios), s.asked.Replicates); err != nil {
		return err
	}
	s.null, err = s.simulate(s.withoutEffect(), min(s.asked.Replicates, searchStudies))
	return err
}

// found says whether there is a study to describe: a search may end at the end of its range.
func (s *drawn) found() bool { return s.solution == nil || s.solution.Status == trials.Found }

func (s *drawn) simulate(d *trials.Design, most int) (*trials.Result, error) {
	return trials.Simulate(d, s.test, s.options(most))
}

// options are those of the plan with a bound on the studies. The side that counts is that of the test: a longer mean time is a
// lower hazard.
func (s *drawn) options(most int) trials.Options {
	o := s.asked.Options(min(most, s.asked.Replicates))
	if s.asked.Test == "restricted mean" {
		o.Better = trials.Higher - o.Better
	}
	return o
}

// withoutEffect is the study in which there is nothing to find: equal groups, or a second group that is worse by the margin.
func (s *drawn) withoutEffect() *trials.Design {
	same := s.asked
	truth := 1.0
	if same.Margin > 0 {
		truth = same.Margin
	}
	if same.Scores != nil {
		scores := *same.Scores
		scores.Second = scores.First
		same.Scores = &scores
	}
	return same.Design(s.patients, []plan.RatioFrom{{Ratio: truth}})
}

// clusters are the rows that a test has to take as belonging together.
func (s *drawn) clusters() trials.Clusters {
	switch {
	case s.asked.Hospitals.Allocated:
		return trials.ByHospital
	case s.asked.BothShoulders > 0:
		return trials.ByPatient
	}
	return trials.NoClusters
}

// choose makes the test that the plan names. Where shoulders belong together the tests that know of it say so in their names.
func (s *drawn) choose() (trials.Test, error) {
	c := s.clusters()
	m := trials.Model{Clusters: c, Margin: s.asked.Margin}
	horizon := s.asked.Horizon * yearInDays
	switch s.asked.Test {
	case "weighted early", "weighted late":
		rho, gamma := 1.0, 0.0
		if s.asked.Test == "weighted late" {
			rho, gamma = 0, 1
		}
		w, err := survival.FlemingHarrington(rho, gamma)
		return trials.WeightedLogRank(w), err
	case "Cox":
		return trials.Cox(m), nil
	case "Gray":
		if c != trials.NoClusters {
			return trials.ClusteredGray(0, c), nil
		}
		return trials.Gray(0), nil
	case "Fine and Gray":
		return trials.SubdistributionRatio(m), nil
	case "restricted mean":
		return trials.RestrictedMean(horizon, 0), nil
	case "rate ratio":
		return trials.RateRatio(), nil
	case "shares":
		return trials.Proportions(trials.Occurred(int32(math.Round(horizon)))), nil
	}
	if s.asked.Scores != nil {
		return s.chooseOfScores(c), nil
	}
	if c != trials.NoClusters {
		return trials.ClusteredLogRank(c), nil
	}
	return trials.LogRank(), nil
}

func (s *drawn) chooseOfScores(c trials.Clusters) trials.Test {
	last := len(s.asked.Scores.Visits) - 1
	switch s.asked.Test {
	case "scores":
		return trials.MeanDifference(last, false, 0)
	case "changes":
		return trials.MeanDifference(last, true, 0)
	case "responders":
		if c != trials.NoClusters {
			return trials.Odds(trials.Responded(last, s.asked.Threshold), trials.Model{Clusters: c})
		}
		return trials.Proportions(trials.Responded(last, s.asked.Threshold))
	}
	return trials.AdjustedMeans(last, c, 0)
}

// knowsClusters says whether the test allows for rows that belong together.
func (s *drawn) knowsClusters() bool {
	switch s.asked.Test {
	case "log-rank", "Cox", "Gray", "Fine and Gray", "adjusted scores", "responders":
		return true
	}
	return false
}

func (s *drawn) heading() string {
	what := "Power"
	switch {
	case s.asked.Patients == 0:
		what = "Size"
	case len(s.asked.Ratios) == 0 && s.asked.Scores == nil:
		what = "Smallest detectable effect"
	}
	return what + " of a simulated study (" + s.asked.ID + ")"
}
