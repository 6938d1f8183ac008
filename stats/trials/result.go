package trials

import (
	"math"

	"deltoid/stats/describe"
	"deltoid/stats/numeric"
)

// Status says how a simulation ended.
type Status uint8

// The states of a simulation.
const (
	// Estimated: the Monte-Carlo error is below its bound, or none was asked for.
	Estimated Status = iota
	// Uncertain: all replicates that were allowed are drawn, and the Monte-Carlo error is still
	// above its bound.
	Uncertain
	// NoVerdicts: the analysis could say nothing about any of the studies.
	NoVerdicts
)

var statusText = [...]string{
	Estimated: "estimated", Uncertain: "Monte-Carlo error above its bound", NoVerdicts: "no study could be analysed",
}

// String returns the status in plain words.
func (s Status) String() string {
	if int(s) < len(statusText) {
		return statusText[s]
	}
	return "unknown status"
}

// Share is a share of the replicates.
type Share struct {
	Count, Of int
	Value     float64
	// Error is the Monte-Carlo standard error, with two successes and two failures added so that it
	// is not 0 when all replicates agree.
	Error        float64
	Lower, Upper float64 // 95 % interval (Wilson)
}

func shareOf(count, of int) Share {
	w := describe.Wilson(int64(count), int64(of), 0.95)
	s := Share{Count: count, Of: of, Error: monteCarlo(count, of)}
	if w.Status == describe.Estimated {
		s.Value, s.Lower, s.Upper = w.Value, w.Lower, w.Upper
	}
	return s
}

func monteCarlo(count, of int) float64 {
	p := float64(count+2) / float64(of+4)
	return math.Sqrt(p * (1 - p) / float64(of+4))
}

// Mean is a mean over replicates with its Monte-Carlo standard error. SD is the spread of the
// replicates. N is how many replicates have it: with 0 nothing is known.
type Mean struct {
	N                int
	Value, SD, Error float64
}

func meanOf(n int, of func(i int) (float64, bool)) Mean {
	var sum numeric.Sum
	count := 0
	for i := range n {
		if x, ok := of(i); ok {
			sum.Add(x)
			count++
		}
	}
	if count == 0 {
		return Mean{}
	}
	m := Mean{N: count, Value: sum.Value() / float64(count)}
	var squares numeric.Sum
	for i := range n {
		if x, ok := of(i); ok {
			squares.Add(float64((x - m.Value) * (x - m.Value)))
		}
	}
	if count > 1 {
		m.SD = math.Sqrt(squares.Value() / float64(count-1))
		m.Error = m.SD / math.Sqrt(float64(count))
	}
	return m
}

// Look is what happened at one look over the replicates.
type Look struct {
	Information, Limit float64
	// Held is the share of the studies that came to the look, Stopped the share of all studies that had
	// stopped for an effect up to and with it.
	Held, Stopped Share
	// Day, Events and Patients are means over the studies that came to it.
	Day, Events, Patients Mean
}

// Result is what the replicates say. Means without another word are as of the end of each study:
// where it stopped, or its last analysis.
type Result struct {
	Status     Status
	Test       string
	Replicates int
	// Power is the share of the studies that found an effect (on the better side, with one side).
	Power Share
	// Above and Below are the shares that found the second arm to have more, and less, of what is measured.
	Above, Below Share
	// Failed is the share of studies without a verdict, counted as having found nothing; Reason is
	// the first of their reasons.
	Failed Share
	Reason string
	// Short is the share of the studies that ended before the events or scores of the last look
	// were there.
	Short Share
	// Events, Deaths and Lost are numbers of shoulders; PersonDays the time under observation.
	Events, Deaths, Lost, Shoulders, Patients, Days, PersonDays Mean
	// Seen is the share of the shoulders with a score at the last visit.
	Seen Mean
	// Beyond is the share of the shoulders drawn from a cohort whose follow-up would go on for longer
	// than anybody's there, and was ended where knowledge ends.
	Beyond Mean
	// Effect is the mean estimate; SE the mean of its standard errors. The SD of the first is to be held
	// against the second.
	Effect, SE Mean
	Looks      []Look // nil without looks
	Boundary   *Boundary
}

// outcome is what one replicate came to.
type outcome struct {
	verdict                                   Verdict
	found                                     int8 // −1 below, +1 above, 0 nothing
	short                                     bool
	look                                      int32 // at which it ended
	events, deaths, lost, rows, patients, day int32
	person                                    int64
	seen, beyond                              int32
}

// held is what one replicate was like at one look.
type held struct{ day, events, patients int32 }
