package monitor

import "fmt"

// Status says whether a number could be estimated, and if not, why not.
type Status uint8

// The states of an estimate. Only Estimated has a value to show.
const (
	// Estimated: there is an estimate.
	Estimated Status = iota
	// NoExposure: nobody was under observation for any time.
	NoExposure
	// NoEvents: there was no event in either of two tallies, or in any of several.
	NoEvents
	// NoReference: the tally that is compared with had no event, so that the ratio has no upper
	// end. Its lower limit and its p-value are there.
	NoReference
	// NotComparable: fewer than two groups have an exposure worth the name.
	NotComparable
	// OneCluster: all subjects belong to one cluster, so nothing can be said about how much clusters
	// differ.
	OneCluster
)

var statusText = [...]string{
	Estimated:     "estimated",
	NoExposure:    "no time under observation",
	NoEvents:      "no events",
	NoReference:   "no events to compare with",
	NotComparable: "fewer than two groups to compare",
	OneCluster:    "all in one cluster",
}

// String returns the status in plain words.
func (s Status) String() string {
	if int(s) < len(statusText) {
		return statusText[s]
	}
	return "unknown status"
}

// Form is the way an interval is made from whole numbers of events.
type Form uint8

// The forms.
const (
	// Exact reaches its level at every true rate, and more than that at most: the count that was
	// seen belongs to both tails.
	Exact Form = iota
	// MidP counts the probability of what was seen for half in each tail. Its intervals are
	// shorter and reach their level on average.
	MidP
)

// String returns the name of the form as a footnote gives it.
func (f Form) String() string {
	switch f {
	case Exact:
		return "exact"
	case MidP:
		return "mid-P"
	}
	return "unknown form"
}

// CheckLevel refuses a level that is not a probability above one half and below one (0.95, not
// 0.05 and not 95), and a form that does not exist.
func CheckLevel(level float64, form Form) error {
	if !(level > 0.5 && level < 1) {
		return fmt.Errorf("confidence level is %v, want a probability above 0.5 and below 1, such as 0.95", level)
	}
	if form > MidP {
		return fmt.Errorf("interval form %d does not exist, want 0 (exact) or 1 (mid-P)", form)
	}
	return nil
}
