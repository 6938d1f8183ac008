package cohorts

import "deltoid/schemas"

// EndOfObservation is the cause with code 1 in reversed episodes.
const EndOfObservation Cause = "end_of_observation"

// Reversed returns the episodes with the parts of event and censoring exchanged: the end of observation is the event, and
// what ended follow-up before censors. The median of their product-limit curve is the median follow-up by reversed
// censoring (Schemper and Smith, Control Clin Trials 1996;17:343). The slices other than Cause and Causes are shared.
func (eps *Episodes) Reversed() *Episodes {
	out := *eps
	out.Causes = []Cause{EndOfObservation}
	out.Cause = make([]uint8, len(eps.Cause))
	for i, cause := range eps.Cause {
		if cause == 0 && (eps.Last == nil || eps.Last[i]) {
			out.Cause[i] = 1
		}
	}
	return &out
}

// Completeness is observed over possible person-time, after Clark, Altman and De Stavola (Lancet 2002;359:1309).
type Completeness struct {
	Groups   []string
	Observed []int64 // by group: days until the event, or the last contact, or the data cut
	Possible []int64 // by group: days until the event or the data cut
	Lost     []int   // by group: shoulders without an event whose last contact is before the data cut
	N        []int   // by group: shoulders
}

// Completeness adds up, for each group, how long its shoulders were known about and how long they could have been. The
// last contact ends what is observed, whatever f says of follow-up: without any record since the operation nothing is
// observed. Events are those of the endpoint, and death. It is nil without a data cut, since nothing is then known of
// what would have been possible. The error is a [schemas.Problem] as for [Cohort.Episodes].
func (c *Cohort) Completeness(e Endpoint, f FollowUp, g Grouping) (*Completeness, error) {
	if f.DataCut == schemas.NoDay {
		return nil, nil
	}
	w, err := newWatch(c.Registry, e, FollowUp{DataCut: f.DataCut})
	if err != nil {
		return nil, err
	}
	groups, order, _, err := c.Groups(g)
	if err != nil {
		return nil, err
	}
	n := len(order)
	out := &Completeness{Groups: order, Observed: make([]int64, n), Possible: make([]int64, n), Lost: make([]int, n), N: make([]int, n)}
	scrap := &Episodes{}
	for i, group := range groups {
		s := c.at(i)
		end := w.end(s, scrap)
		known := end.day
		if end.cause == 0 && end.day == f.DataCut {
			known = max(s.Day, min(end.day, s.LastContact))
		}
		out.N[group]++
		out.Observed[group] += int64(known - s.Day)
		out.Possible[group] += int64(end.day - s.Day)
		if known < end.day {
			out.Lost[group]++
		}
	}
	return out, nil
}
