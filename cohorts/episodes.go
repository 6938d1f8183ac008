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

	Shoulder []int32 // position in Cohort.Shoulders; nil when there is one episode a shoulder, in their order
	Last     []bool  // whether it is the last episode of its shoulder; nil when each shoulder has one

	DayZero        int      // events on the day of the operation, kept and counted aloud
	Bilateral      int      // patients with two shoulders in, or more
	Empty          []string // labels asked for that hold no shoulder
	Simultaneous   int      // shoulders whose endpoint and competing event fell on one day; the endpoint counts
	OtherReason    int      // shoulders censored by a revision for a reason that the endpoint does not count
	UnknownReason  int      // shoulders that left by a revision without a recorded reason, while the endpoint asks for one
	UnknownChange  int      // shoulders that left by a reoperation that does not say whether a component was exchanged; they count
	BeforeLandmark int      // shoulders that left by the landmark and are not in
	Divided        int      // shoulders with two episodes, before and after a change
}

// Episodes follows every shoulder of the cohort from its index procedure to the first of these days: the endpoint's
// event, a competing event, or the end of its observation. f must be the follow-up that the cohort was defined with.
//
// Observation ends at the data cut; or, when f says so and whenever there is no data cut, at the last contact, if that is
// earlier. Death and another event end it too when the endpoint does not name them as competing. What happens after its
// end does not count; what happens on its last day does.
//
// What counts as a revision is the endpoint's choice; see [Counts]. An exchange in two stages is one revision, at its first
// stage. A conversion ends the course of the plate or hemiarthroplasty, and the replacement has an episode of its own.
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
	eps := &Episodes{Causes: w.causes}
	members := c.members(eps, w, g)
	sorted, err := c.sort(members, g)
	if err != nil {
		return nil, err
	}
	eps.Group, eps.Groups, eps.Empty = sorted.group, sorted.labels, sorted.empty
	if err := c.follow(eps, members, w, g); err != nil {
		return nil, err
	}
	eps.Bilateral = countRepeated(eps.Patient)
	if g.Split {
		return eps.split(c, sorted.days, sorted.notYet), nil
	}
	return eps, nil
}

// members returns who is followed: everybody, or those still under observation after the landmark.
func (c *Cohort) members(eps *Episodes, w *watch, g Grouping) []int32 {
	if g.Landmark > 0 {
		eps.Shoulder, eps.BeforeLandmark = c.beyond(g.Landmark, w)
		return eps.Shoulder
	}
	members := make([]int32, len(c.Shoulders))
	for i := range members {
		members[i] = int32(i)
	}
	if g.Split {
		eps.Shoulder = members
	}
	return members
}

// follow finds the end of every member's episode.
func (c *Cohort) follow(eps *Episodes, members []int32, w *watch, g Grouping) error {
	n := len(members)
	eps.Exit, eps.Cause, eps.Patient = make([]int32, n), make([]uint8, n), make([]int32, n)
	for i, member := range members {
		s := c.at(int(member))
		end := w.end(s, eps)
		if end.day < s.Day {
			return fmt.Errorf("a shoulder of cohort %q leaves before its index procedure: the cohort was defined with "+
				"another follow-up than its episodes; this is a fault of the program, please report it", c.Name)
		}
		eps.Exit[i], eps.Cause[i], eps.Patient[i] = end.day-s.Day, end.cause, s.Patient
		if end.cause > 0 && eps.Exit[i] == 0 {
			eps.DayZero++
		}
		if entry := max(s.Observed, g.Landmark); entry > 0 {
			eps.enter(i, entry)
		}
	}
	return nil
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
