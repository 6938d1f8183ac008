package cohorts

import "deltoid/schemas"

// Endpoint is what follow-up waits for. [Cohort.Episodes] says what ends it.
type Endpoint struct {
	ID        string   // "revision"
	Label     string   // in a sentence: "revision for any reason"
	Counts    Counts   // what counts as a revision; when empty, stated reasons if there are any, else any reoperation
	Reasons   []string // reasons for revision that count; empty for any reason
	Event     Cause    // Revised, also when empty, unless the endpoint is death or another event of a ready table
	Competing []Cause  // events that end follow-up and make the endpoint impossible; others censor
}

// Definition returns what the endpoint counts as a revision, also when it does not say.
func (e Endpoint) Definition() Counts {
	switch {
	case e.Counts != "":
		return e.Counts
	case len(e.Reasons) > 0:
		return StatedReasons
	}
	return AnyReoperation
}

// Cause is a kind of event that can end an episode.
type Cause string

// The causes. The first two are an endpoint's own; an endpoint with stated reasons may name OtherRevision as competing.
const (
	Revised       Cause = "revised"
	OtherRevision Cause = "other_revision" // revised for a reason that the endpoint does not count
	Died          Cause = "died"
	OtherEvent    Cause = "other_event"
)

// FollowUp says until when a shoulder counts as observed.
type FollowUp struct {
	DataCut       int32 // last day of follow-up; schemas.NoDay for a ready table
	ToLastContact bool  // observed only until the last recorded contact, not until the data cut
}

// toContact reports whether the last contact ends follow-up. Without a data cut nothing else can.
func (f FollowUp) toContact() bool { return f.ToLastContact || f.DataCut == schemas.NoDay }

// until returns the last day on which a shoulder is observed, events apart.
func (f FollowUp) until(s *Shoulder) int32 {
	switch {
	case f.DataCut == schemas.NoDay:
		return s.LastContact
	case f.ToLastContact:
		return min(s.LastContact, f.DataCut)
	}
	return f.DataCut
}
