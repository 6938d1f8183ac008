package analyses

import (
	"fmt"
	"math"

	"deltoid/pipeline/report"
	"deltoid/stats/dist"
	"deltoid/stats/trials"
)

// The search for a size: a study of fewer patients is none, one of more is not drawn, and after so many steps a power is as
// close as its Monte-Carlo error lets it be told.
const (
	fewestPatients = 10
	mostPatients   = 1_000_000
	mostSteps      = 8
)

func (s *next) neededID() string { return s.id("patients-needed") }

// needed records how many patients find the hazard ratio of the plan with its power. The power grows with the root of the size
// as far as the test is normal, so that one study says where the next is to be drawn; the first is drawn where
// Schoenfeld's formula puts it.
func (s *next) needed() error {
	e := report.Estimate{ID: s.neededID(), Analysis: s.asked.ID, Endpoint: s.endpoint.ID, Cohort: s.cohort.Name, Measure: "patients needed for the power",
		Unit: plannedPatients, Method: s.method(), Status: report.Estimated}
	if s.counts.Events(0, 1) == 0 {
		e.Status, e.Note = report.NoEvents, "nobody in the cohort has come to the endpoint; plan from assumptions instead, with deltoid power"
		s.derive(e)
		return nil
	}
	at := s.roughSize()
	for step := 0; ; step++ {
		if at > mostPatients {
			e.Status, e.Note = report.NotReached, fmt.Sprintf("more than %d patients would be needed; look for a larger effect, or follow for longer", mostPatients)
			break
		}
		n := max(fewestPatients, int(math.Ceil(at)))
		r, err := trials.Simulate(s.source(n, s.ask.HazardRatio), s.test, s.options(s.asked.Replicates))
		if err != nil {
			return err
		}
		if r.Status == trials.NoVerdicts {
			e.Status, e.Note = report.NotIdentifiable, "no drawn study could be analysed: "+r.Reason
			break
		}
		by, least, most := s.stretch(r.Power)
		if math.Abs(r.Power.Value-s.ask.Power) <= r.Power.Error/2 || step == mostSteps || n == fewestPatients && by < 1 {
			x := float64(n)
			e.Value, e.Lower, e.Upper, e.Level = report.Some(x), report.Some(math.Floor(x*least*least)), report.Some(math.Ceil(x*most*most)), report.Some(0.95)
			e.Note = "the interval is that of the simulation"
			break
		}
		at = float64(n) * by * by
	}
	s.derive(e)
	return nil
}

// roughSize is about how many patients Schoenfeld's formula asks for, with as many events as the cohort had.
func (s *next) roughSize() float64 {
	z := dist.NormalQuantile(s.ask.Power) - dist.NormalQuantile(s.ask.Significance/2)
	share, log := 1/(1+s.ask.Allocation), math.Log(s.ask.HazardRatio)
	events := z * z / (share * (1 - share) * log * log)
	seen := float64(s.counts.Events(0, 1)) / float64(s.patients)
	return events / (seen * (share + float64((1-share)*math.Min(s.ask.HazardRatio, 1/seen))))
}

// stretch is by which factor the reach of the test beyond its critical value, in standard errors, has to grow for the power
// that is asked for; and, with the Monte-Carlo error of the power, between which factors.
func (s *next) stretch(p trials.Share) (by, least, most float64) {
	slightest := 0.5 / float64(s.asked.Replicates)
	reach := func(share float64) float64 {
		return dist.NormalQuantile(min(max(share, slightest), 1-slightest)) - dist.NormalQuantile(s.ask.Significance/2)
	}
	want := reach(s.ask.Power)
	floor := want / 10 // a power that is hardly above the level says little about where to go
	return want / max(reach(p.Value), floor), want / max(reach(p.Upper), floor), want / max(reach(p.Lower), floor)
}

// neededSentence says how many patients are needed.
func (s *next) neededSentence() report.Text {
	return say("For a power of ", value(s.powerAsked()), " to find a hazard ratio of ", value(s.ratio()), " at the two-sided ", value(s.level()), " level, a study needs ",
		withInterval(s.neededID()), " patients like those of this cohort, "+s.split()+" and followed as they were"+s.furtherWords()+".")
}
