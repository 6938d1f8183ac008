package cohorts

import (
	"fmt"
	"slices"

	"deltoid/schemas"
)

// watch looks for the end of a shoulder's episode.
type watch struct {
	registry  *Registry
	followUp  FollowUp
	causes    []Cause         // the endpoint's event, then the competing ones
	reasons   map[string]bool // the reasons that count; nil for any
	exchanges bool            // only an exchange of a component counts
	censoring []Cause         // events that end observation and are neither the endpoint nor competing
}

func newWatch(r *Registry, e Endpoint, f FollowUp) (*watch, error) {
	if e.Event == "" {
		e.Event = Revised
	}
	w := &watch{registry: r, followUp: f, causes: append([]Cause{e.Event}, e.Competing...)}
	if err := e.check(w.causes); err != nil {
		return nil, err
	}
	w.exchanges = e.Counts == ComponentExchanged
	if len(e.Reasons) > 0 {
		w.reasons = make(map[string]bool, len(e.Reasons))
		for _, reason := range e.Reasons {
			w.reasons[reason] = true
		}
	}
	censoring := []Cause{Died, OtherEvent}
	if e.Event == Revised && w.reasons != nil {
		censoring = append(censoring, OtherRevision)
	}
	for _, c := range censoring {
		if !slices.Contains(w.causes, c) {
			w.censoring = append(w.censoring, c)
		}
	}
	return w, nil
}

var allCauses = []Cause{Revised, OtherRevision, Died, OtherEvent}

// check refuses a cause that does not exist, and one that is named twice.
func (e Endpoint) check(causes []Cause) error {
	if problem := e.checkCounts(); problem != nil {
		return problem
	}
	for i, c := range causes {
		p := &schemas.Problem{Kind: schemas.PlanProblem, Allowed: "revised, other_revision, died, other_event, each once"}
		switch {
		case !slices.Contains(allCauses, c):
			p.What = fmt.Sprintf("the endpoint %q names a cause %q that does not exist", e.ID, c)
			return p
		case slices.Contains(causes[:i], c):
			p.What = fmt.Sprintf("the endpoint %q names the cause %q twice", e.ID, c)
			return p
		}
	}
	return nil
}

// checkCounts refuses a definition of revision that does not exist or that the reasons contradict.
func (e Endpoint) checkCounts() error {
	p := &schemas.Problem{Kind: schemas.PlanProblem, Allowed: "any reoperation, component exchanged, stated reasons (with reasons)"}
	switch {
	case e.Counts != "" && !slices.Contains(AllCounts(), e.Counts):
		p.What = fmt.Sprintf("the endpoint %q counts %q, which is no definition of a revision", e.ID, e.Counts)
	case e.Counts == StatedReasons && len(e.Reasons) == 0:
		p.What = fmt.Sprintf("the endpoint %q counts stated reasons and states none", e.ID)
	case e.Counts == AnyReoperation && len(e.Reasons) > 0:
		p.What = fmt.Sprintf("the endpoint %q counts any reoperation and states reasons", e.ID)
	default:
		return nil
	}
	return p
}

// ending is the end of an episode.
type ending struct {
	day   int32
	cause uint8
}

// end finds the end of a shoulder's episode and counts what has to be said aloud.
func (w *watch) end(s *Shoulder, eps *Episodes) ending {
	revisions := w.registry.Revisions[s.revisions.from:s.revisions.to]
	out := ending{day: w.followUp.until(s)}
	for _, c := range w.censoring {
		if day := w.day(c, s, revisions); day != schemas.NoDay {
			out.day = min(out.day, day)
		}
	}
	for i, c := range w.causes {
		day := w.day(c, s, revisions)
		if day != schemas.NoDay && (day < out.day || day == out.day && out.cause == 0) {
			out = ending{day, uint8(i + 1)}
		}
	}
	if out.cause == 1 && w.anyOn(out.day, w.causes[1:], s, revisions) {
		eps.Simultaneous++
	}
	w.countOther(out, s, revisions, eps)
	w.countUnsaid(out, revisions, eps)
	return out
}

// anyOn reports whether one of the causes befell the shoulder on a day.
func (w *watch) anyOn(day int32, causes []Cause, s *Shoulder, revisions []Revision) bool {
	return slices.ContainsFunc(causes, func(c Cause) bool { return w.day(c, s, revisions) == day })
}

// countOther counts an end by a revision for a reason that the endpoint does not count.
func (w *watch) countOther(out ending, s *Shoulder, revisions []Revision, eps *Episodes) {
	if w.reasons == nil || len(revisions) == 0 || w.day(OtherRevision, s, revisions) != out.day {
		return
	}
	switch {
	case out.cause > 0 && w.causes[out.cause-1] == OtherRevision:
	case out.cause == 0 && slices.Contains(w.censoring, OtherRevision):
		eps.OtherReason++
	default:
		return
	}
	if slices.ContainsFunc(revisions, func(r Revision) bool { return r.Day == out.day && r.Reason == "" && w.ends(&r) }) {
		eps.UnknownReason++
	}
}

// countUnsaid counts an end by a reoperation that does not say whether a component was exchanged, where only those count.
func (w *watch) countUnsaid(out ending, revisions []Revision, eps *Episodes) {
	if !w.exchanges || out.cause != 1 {
		return
	}
	says := func(v Revision) bool { return v.Day == out.day && v.Change == ChangeOfPart }
	if !slices.ContainsFunc(revisions, says) {
		eps.UnknownChange++
	}
}

// ends reports whether a reoperation ends the follow-up of the prosthesis for this endpoint. A second stage belongs to the
// revision that its first stage was; and where only exchanges count, a reoperation that left every component in place
// leaves the prosthesis under observation.
func (w *watch) ends(v *Revision) bool {
	return !v.SecondStage && !(w.exchanges && v.Change == ChangeOfNothing)
}

// day returns the first day on which a cause befell a shoulder, or NoDay.
func (w *watch) day(c Cause, s *Shoulder, revisions []Revision) int32 {
	switch c {
	case Died:
		return s.Death
	case OtherEvent:
		return s.OtherEvent
	}
	for i := range revisions {
		if !w.ends(&revisions[i]) {
			continue
		}
		if w.reasons == nil || w.reasons[revisions[i].Reason] {
			if c == Revised {
				return revisions[i].Day
			}
		} else if c == OtherRevision {
			return revisions[i].Day
		}
	}
	return schemas.NoDay
}
