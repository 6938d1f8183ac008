package trials

import (
	"fmt"
)

// Schedule says what the times of the looks are counted in.
type Schedule uint8

// The schedules.
const (
	// AtEvents: a look is held on the day on which so many events have happened.
	AtEvents Schedule = iota
	// AtScores: on the day on which so many scores of the last visit are known.
	AtScores
	// OnDays: on that day of the study.
	OnDays
)

var scheduleText = [...]string{AtEvents: "events", AtScores: "scores", OnDays: "days"}

// Looks is a plan of looks at a study while it goes on. The last look is the end: if the study ends
// before so much is there, all there is is analysed then, against the last limit.
type Looks struct {
	Schedule Schedule
	At       []int32 // rising: events, scores or days
	Shape    Shape
	// Limit are the limits for z where the shape is Stated.
	Limit []float64
	// Information is the share of the largest information that is expected at each look; needed
	// with OnDays, otherwise nil: At says it.
	Information []float64
}

// boundary works out the limits, or says what is impossible.
func (l *Looks) boundary(level float64, sides int) (*Boundary, error) {
	before := int32(0)
	for k, at := range l.At {
		if at <= before {
			return nil, impossible(fmt.Sprintf("look %d", k+1), fmt.Sprintf("at %d %s", at, scheduleText[l.Schedule]),
				fmt.Sprintf("after %d", before), "give the looks in their order, each with more than the one before")
		}
		before = at
	}
	information := l.Information
	if l.Schedule != OnDays && information == nil {
		for _, at := range l.At {
			information = append(information, float64(at)/float64(before))
		}
	}
	if len(information) != len(l.At) {
		return nil, impossible("number of shares of information", len(information), fmt.Sprintf("%d, one for each look", len(l.At)), "")
	}
	if l.Shape == Stated {
		return StatedBoundary(information, l.Limit, sides)
	}
	return NewBoundary(l.Shape, information, level, sides)
}

// fits refuses looks that a source cannot have.
func (l *Looks) fits(s Source) error {
	if len(l.At) == 0 {
		return impossible("number of looks", 0, "1 or more", "")
	}
	last := l.At[len(l.At)-1]
	if l.Schedule == OnDays && last != s.Length() {
		return impossible("day of the last look", last, fmt.Sprintf("%d, the end of the study", s.Length()), "")
	}
	d, ok := s.(*Design)
	if !ok {
		return nil
	}
	rows := int(float64(d.Patients) * (1 + d.Both))
	switch {
	case l.Schedule == AtEvents && int(last) > rows:
		return impossible("number of events at the last look", last, fmt.Sprintf("at most %d, one for each shoulder", rows), "plan fewer events, or more patients")
	case l.Schedule == AtScores && d.Scores == nil:
		return impossible("looks counted in scores", "of a study without scores", "a study with scores", "")
	case l.Schedule == AtScores && int(last) > rows:
		return impossible("number of scores at the last look", last, fmt.Sprintf("at most %d, one for each shoulder", rows), "")
	}
	return nil
}

// days fills in the day of each look in one study, and says whether the last came before the end
// had to be taken.
func (l *Looks) days(s *Sample, end int32, days []int32) (reached bool) {
	if l.Schedule == OnDays {
		copy(days, l.At)
		return true
	}
	calendar := room(s.calendar, int(end)+2)
	s.calendar = calendar
	clear(calendar)
	l.mark(s, calendar)
	k, seen := 0, int32(0)
	for day, n := range calendar {
		seen += int32(n)
		for ; k < len(days) && seen >= l.At[k]; k++ {
			days[k] = int32(day)
		}
	}
	for i := k; i < len(days); i++ {
		days[i] = end
	}
	return k == len(days)
}

// mark counts what the looks wait for, by day of the study.
func (l *Looks) mark(s *Sample, calendar []uint32) {
	if l.Schedule == AtEvents {
		for i, c := range s.Cause {
			if c == Event {
				calendar[s.Enter[i]+s.Exit[i]]++
			}
		}
		return
	}
	last := len(s.visits) - 1
	for i, seen := range s.Seen[last] {
		if seen {
			calendar[s.Enter[i]+s.visits[last]]++
		}
	}
}
