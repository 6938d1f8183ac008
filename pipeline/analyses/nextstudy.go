package analyses

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"deltoid/cohorts"
	"deltoid/pipeline/plan"
	"deltoid/pipeline/report"
	"deltoid/schemas"
	"deltoid/stats/dist"
	"deltoid/stats/trials"
)

// next is one plan of a next study while it is being written down.
type next struct {
	*followed
	ask      *plan.NextStudy
	drawn    *trials.Cohort // the shoulders of the cohort, as studies are drawn from them
	patients int            // of the cohort
	sizes    []int
	test     trials.Test
}

// planNext asks how large the next study must be, by drawing studies from the cohort: its patients with their deaths and their
// loss to follow-up, their events under a hazard ratio that is set.
func planNext(b *book, p *plan.Plan, c *cohorts.Cohort, asked plan.Analysis) (report.Section, error) {
	f, err := follow(b, p, c, asked)
	if err != nil {
		return report.Section{}, err
	}
	if f.episodes.Entry != nil {
		return report.Section{}, &schemas.Problem{Kind: schemas.PlanProblem, Where: asked.Place,
			What:   "shoulders entered observation late, and a next study is drawn from follow-up that begins at the operation",
			Remedy: "leave the late ones out with \"within\", or leave the analysis out"}
	}
	if err := f.count(); err != nil {
		return report.Section{}, err
	}
	f.countEstimates()
	s := &next{followed: f, ask: asked.Next, sizes: asked.Next.Patients, test: trials.LogRank()}
	if f.clustered {
		s.test = trials.ClusteredLogRank(trials.ByPatient)
	}
	if err := s.gather(p); err != nil {
		return report.Section{}, err
	}
	s.leftEstimates()
	if len(s.sizes) == 0 {
		s.sizes = []int{s.patients}
	}
	for _, n := range s.sizes {
		if err := s.study(n); err != nil {
			return report.Section{}, fmt.Errorf("%s: %w", asked.Place, err)
		}
	}
	if s.ask.HazardRatio > 0 {
		if err := s.needed(); err != nil {
			return report.Section{}, fmt.Errorf("%s: %w", asked.Place, err)
		}
	}
	section := report.Section{ID: asked.ID, Heading: "The next study: " + s.endpoint.Label + s.chosen(),
		Question: "What could a study find whose patients are like those of this cohort?",
		Answer:   s.nextAnswer(), Sheets: s.nextSheets(), Method: s.nextMethod(), Notes: append(s.nextNotes(), s.notes()...)}
	if figure, any := s.nextFigure(); any {
		section.Figures = []report.Figure{figure}
	}
	b.short[asked.ID] = section.Answer[len(section.Answer)-1]
	return section, nil
}

// gather takes the follow-up of the cohort, with deaths whether or not the endpoint names them.
func (s *next) gather(p *plan.Plan) error {
	e := s.episodes
	if s.endpoint.Event != cohorts.Died && !slices.Contains(e.Causes, cohorts.Died) {
		with := s.endpoint
		with.Competing = append(slices.Clone(with.Competing), cohorts.Died)
		var err error
		if e, err = s.cohort.Episodes(with, p.FollowUp, cohorts.Grouping{}); err != nil {
			return err
		}
	}
	died := uint8(slices.Index(e.Causes, cohorts.Died) + 1)
	d := &trials.Cohort{Exit: e.Exit}
	numbers := map[int32]int32{}
	for i, cause := range e.Cause {
		number, known := numbers[e.Patient[i]]
		if !known {
			number = int32(len(numbers))
			numbers[e.Patient[i]] = number
		}
		d.Patient = append(d.Patient, number)
		shoulder := &s.cohort.Registry.Shoulders[s.cohort.Shoulders[i]]
		left := trials.AtCut
		if p.FollowUp.DataCut != schemas.NoDay {
			cut := p.FollowUp.DataCut - shoulder.Day
			d.Start, d.Cut = append(d.Start, shoulder.Day), append(d.Cut, cut)
			if e.Exit[i] < cut {
				left = trials.LostFrom
			}
		}
		switch {
		case cause == 1:
			left = trials.ByEvent
		case cause > 0 && cause == died:
			left = trials.ByDeath
		case cause > 1:
			left = trials.LostFrom
		}
		d.Left = append(d.Left, left)
	}
	s.drawn, s.patients = d, len(numbers)
	return nil
}

// source is a study of so many patients with a hazard ratio.
func (s *next) source(patients int, ratio float64) *trials.Next {
	return &trials.Next{Cohort: s.drawn, Patients: patients, Further: int32(math.Round(s.days(s.ask.Further))),
		Arms: []trials.NextArm{{Share: 1, Ratio: 1}, {Share: s.ask.Allocation, Ratio: ratio}}}
}

func (s *next) options(replicates int) trials.Options {
	return trials.Options{Seed: s.asked.Seed, Level: s.ask.Significance, Sides: 2, Most: replicates}
}

// study records what a study of one size would see and find.
func (s *next) study(patients int) error {
	s.sizeEstimate(patients)
	ratio := s.ask.HazardRatio
	if ratio == 0 {
		ratio = 1
	}
	r, err := trials.Simulate(s.source(patients, ratio), s.test, s.options(s.asked.Replicates))
	if err != nil {
		return err
	}
	s.seenEstimates(patients, r)
	if s.ask.HazardRatio > 0 {
		s.powerEstimates(patients, r)
	}
	for _, below := range []bool{true, false} {
		if err := s.detectable(patients, r, below); err != nil {
			return err
		}
	}
	return nil
}

// detectable records the smallest effect that a study finds with the power asked for, in one direction. The search starts from
// what Schoenfeld's formula says about the events that the study would see.
func (s *next) detectable(patients int, r *trials.Result, below bool) error {
	e := s.of(patients, "detectable-"+direction(below), "smallest detectable hazard ratio, "+direction(below)+" in the second group", report.UnitRatio)
	z := dist.NormalQuantile(s.ask.Power) - dist.NormalQuantile(s.ask.Significance/2)
	share := 1 / (1 + s.ask.Allocation)
	guess := z / math.Sqrt(max(r.Events.Value, 1)*share*(1-share))
	near, far := math.Exp(-guess/4), math.Exp(-max(3*guess, 0.5))
	if !below {
		near, far = 1/near, 1/far
	}
	if s.counts.Events(0, 1) == 0 {
		e.Status, e.Note = report.NoEvents, "nobody in the cohort has come to the endpoint, so that it says nothing about a study of it"
		s.derive(e)
		return nil
	}
	found, err := trials.RatioFor(s.ask.Power, near, far, func(ratio float64) trials.Source { return s.source(patients, ratio) }, s.test, s.options(s.asked.Replicates))
	if err != nil {
		return err
	}
	e.Events = report.Optional{}
	if found.Status == trials.NeverEnough {
		e.Status = report.NotReached
		e.Note = "not even a hazard ratio of " + strconv.FormatFloat(found.X, 'g', 3, 64) + " is found with this power; more patients or longer follow-up would be needed"
	} else {
		e.Value, e.Lower, e.Upper, e.Level = report.Some(found.X), report.Some(found.Lower), report.Some(found.Upper), report.Some(0.95)
		e.Note = "the interval is that of the simulation"
	}
	s.derive(e)
	return nil
}

func direction(below bool) string {
	if below {
		return "lower"
	}
	return "higher"
}
