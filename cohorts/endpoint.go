package cohorts

// Endpoint is what follow-up waits for.
type Endpoint struct {
	ID        string   // "revision"
	Label     string   // in a sentence: "revision for any reason"
	Reasons   []string // reasons for revision that count; empty for any reason
	Event     Cause    // Revised, unless the endpoint is death or another event of a ready table
	Competing []Cause  // events that end follow-up and make the endpoint impossible; others censor
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

// Episodes are the shoulders of a cohort as slices of equal length: whole days from the index procedure.
type Episodes struct {
	Entry   []int32 // 0 unless entry is delayed; nil when no entry is delayed
	Exit    []int32
	Cause   []uint8 // 0 censored, 1 the endpoint's event, 2… Endpoint.Competing in order
	Patient []int32
	Group   []int32  // position in Groups
	Groups  []string // labels
	Causes  []Cause  // Causes[i] is the cause with code i+1

	DayZero      int      // events on the day of the operation, kept and counted aloud
	Bilateral    int      // patients with two shoulders in
	Empty        []string // labels asked for that hold no shoulder
	Simultaneous int      // shoulders whose endpoint and competing event fell on one day; the endpoint counts
}
