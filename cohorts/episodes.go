package cohorts

import "fmt"

// Episodes are the shoulders of a cohort, in its order, as slices of equal length: whole days from the index procedure.
type Episodes struct {
	Entry   []int32 // 0 unless entry is delayed; nil when no entry is delayed
	Exit    []int32
	Cause   []uint8 // 0 censored, 1 the endpoint's event, 2… Endpoint.Competing in order
	Patient []int32
	Group   []int32  // position in Groups
	Groups  []string // labels
	Causes  []Cause  // Causes[i] is the cause with code i+1

	DayZero       int      // events on the day of the operation, kept and counted aloud
	Bilateral     int      // patients with two shoulders in, or more
	Empty         []string // labels asked for that hold no shoulder
	Simultaneous  int      // shoulders whose endpoint and competing event fell on one day; the endpoint counts
	OtherReason   int      // shoulders censored by a revision for a reason that the endpoint does not count
	UnknownReason int      // shoulders that left by a revision without a recorded reason, while the endpoint asks for one
}

// Episodes follows every shoulder of the cohort from its index procedure to the first of these days: the endpoint's
// event, a competing event, or the end of its observation. f must be the follow-up that the cohort was defined with.
//
// Observation ends at the data cut; or, when f says so and whenever there is no data cut, at the last contact, if that is
// earlier. Death and another event end it too when the endpoint does not name them as competing. What happens after its
// end does not count; what happens on its last day does.
//
// When the endpoint states reasons, the first revision ends the follow-up of the prosthesis whatever its reason: a
// revision for another reason, or for none recorded, is the competing cause [OtherRevision] when the endpoint names that,
// and censors otherwise. When the endpoint is death or another event, a revision ends nothing unless it is named as
// competing.
//
// When the endpoint and a competing event fall on one day, the endpoint counts; of two competing events the one named
// first. An event comes before the end of observation on the same day.
//
// The error is a [schemas.Problem] when the endpoint or the grouping cannot be understood.
func (c *Cohort) Episodes(e Endpoint, f FollowUp, g Grouping) (*Episodes, error) {
	w, err := newWatch(c.Registry, e, f)
	if err != nil {
		return nil, err
	}
	n := len(c.Shoulders)
	eps := &Episodes{Exit: make([]int32, n), Cause: make([]uint8, n), Patient: make([]int32, n), Causes: w.causes}
	if err := c.group(eps, g); err != nil {
		return nil, err
	}
	for i, position := range c.Shoulders {
		s := &c.Registry.Shoulders[position]
		end := w.end(s, eps)
		if end.day < s.Day {
			return nil, fmt.Errorf("a shoulder of cohort %q leaves before its index procedure: the cohort was defined with "+
				"another follow-up than its episodes; this is a fault of the program, please report it", c.Name)
		}
		eps.Exit[i], eps.Cause[i], eps.Patient[i] = end.day-s.Day, end.cause, s.Patient
		if end.cause > 0 && eps.Exit[i] == 0 {
			eps.DayZero++
		}
		if s.Observed > 0 {
			eps.enter(i, s.Observed)
		}
	}
	eps.Bilateral = countRepeated(eps.Patient)
	return eps, nil
}

// enter records a delayed entry.
func (eps *Episodes) enter(i int, day int32) {
	if eps.Entry == nil {
		eps.Entry = make([]int32, len(eps.Exit))
	}
	eps.Entry[i] = day
}

// countRepeated counts the patients that stand more than once in a list in order.
func countRepeated(patients []int32) int {
	n := 0
	for i, p := range patients {
		if i > 0 && patients[i-1] == p && (i < 2 || patients[i-2] != p) {
			n++
		}
	}
	return n
}
