package cohorts

import (
	"math"

	"deltoid/schemas"
)

// Window is the time in which an assessment counts for a visit: whole days from the operation, negative before it.
type Window struct {
	ID       string
	Label    string // "12 months"
	Target   int32
	From, To int32 // inclusive
}

// VisitState says whether a shoulder was assessed at a visit, and why not.
type VisitState uint8

// The states of a visit.
const (
	Assessed       VisitState = iota
	NotAssessed               // due, and no score of the instrument lies in the window
	NotDue                    // the data cut, or the end of observation, comes before the window ends
	Dead                      // died before the window ended
	AlreadyRevised            // revised before the window ended
)

// Visits are the scores of one instrument at planned visits. Every slice of slices is by window, then by shoulder in the
// order of Cohort.Shoulders.
type Visits struct {
	Instrument string
	Windows    []Window
	Value      [][]float64 // NaN where nothing was assessed
	Day        [][]int32   // days from the operation; schemas.NoDay where nothing was assessed
	State      [][]VisitState
	Outside    int // scores of these shoulders, as long as the prosthesis was in place, that lie in no window
	NotClosest int // scores in a window for which another one is closer to the target
}

// Counts returns how many shoulders are in each state at a visit, by [VisitState].
func (v *Visits) Counts(window int) [AlreadyRevised + 1]int {
	var n [AlreadyRevised + 1]int
	for _, s := range v.State[window] {
		n[s]++
	}
	return n
}

// Visits assigns the scores of an instrument to windows. In each window the score closest to the target counts; of two
// equally close the earlier one, and of two on one day the lower value. A score of the day of
// the operation counts as before it.
//
// A score belongs to the prosthesis that was in place: one after the operation counts until the day before the shoulder is
// revised, as the endpoint e counts revisions, or gets its next index procedure; one before the operation counts from the
// day after the shoulder's earlier index procedure on. Nothing after the data cut counts. Windows may not overlap; the
// study plan sees to that.
//
// It is nil when no scores were linked. The error is a [schemas.Problem] when the endpoint cannot be understood.
func (c *Cohort) Visits(instrument string, windows []Window, e Endpoint, f FollowUp) (*Visits, error) {
	scores := c.Registry.scores
	if scores == nil {
		return nil, nil
	}
	w, err := newWatch(c.Registry, e, f)
	if err != nil {
		return nil, err
	}
	v := newVisits(instrument, windows, len(c.Shoulders))
	of := scores.of(instrument)
	fate := make([]uint8, len(scores.keys)) // of each score: 0 of nobody here, 1 in no window, 2 in one
	for i, position := range c.Shoulders {
		span := c.Registry.inPlace(position, w, f)
		for _, row := range of(c.at(i)) {
			if day := scores.days[row]; day > span.after && day < span.before && day <= span.cut {
				fate[row] = max(fate[row], v.place(i, day-span.day, scores.values[row]))
			}
		}
		for k := range windows {
			v.absent(k, i, span)
		}
	}
	for _, f := range fate {
		if f == 1 {
			v.Outside++
		}
	}
	return v, nil
}

// tenure is the time in which the scores of a shoulder are those of one prosthesis.
type tenure struct {
	day           int32 // of the index procedure
	after, before int32 // exclusive
	revised       int32 // a day that no record can have when not revised
	death         int32 // likewise
	cut           int32 // likewise
}

// inPlace finds the tenure of a shoulder.
func (r *Registry) inPlace(position int32, w *watch, f FollowUp) tenure {
	s := &r.Shoulders[position]
	orNever := func(day int32) int32 {
		if day == schemas.NoDay {
			return 2 * farthest
		}
		return day
	}
	t := tenure{day: s.Day, after: -2 * farthest, before: 2 * farthest, death: orNever(s.Death), cut: orNever(f.DataCut)}
	revisions := r.Revisions[s.revisions.from:s.revisions.to]
	t.revised = min(orNever(w.day(Revised, s, revisions)), orNever(w.day(OtherRevision, s, revisions)))
	same := func(at int32) bool {
		return at >= 0 && int(at) < len(r.Shoulders) && r.Shoulders[at].Patient == s.Patient && r.Shoulders[at].Side == s.Side
	}
	if same(position - 1) {
		t.after = r.Shoulders[position-1].Day
	}
	if same(position + 1) {
		t.before = r.Shoulders[position+1].Day
	}
	t.before = min(t.before, t.revised)
	if t.before <= t.day { // revised on the day of the operation: what was before it still counts
		t.before = t.day + 1
	}
	return t
}

func newVisits(instrument string, windows []Window, n int) *Visits {
	v := &Visits{Instrument: instrument, Windows: windows}
	for range windows {
		value, day := make([]float64, n), make([]int32, n)
		for i := range value {
			value[i], day[i] = math.NaN(), schemas.NoDay
		}
		v.Value, v.Day, v.State = append(v.Value, value), append(v.Day, day), append(v.State, make([]VisitState, n))
	}
	return v
}

// place puts a score into the window that it lies in, unless one closer to the target is there. It returns 2 when there is
// such a window, else 1.
func (v *Visits) place(i int, day int32, value float64) uint8 {
	for k, w := range v.Windows {
		if day < w.From || day > w.To {
			continue
		}
		old := v.Day[k][i]
		if old != schemas.NoDay {
			v.NotClosest++
		}
		if old == schemas.NoDay || w.closer(day, old) || day == old && value < v.Value[k][i] {
			v.Day[k][i], v.Value[k][i] = day, value
		}
		return 2
	}
	return 1
}

// closer reports whether a day is closer to the target than another, or as close and earlier.
func (w Window) closer(day, than int32) bool {
	a, b := distance(day, w.Target), distance(than, w.Target)
	return a < b || a == b && day < than
}

func distance(a, b int32) int32 { return max(a-b, b-a) }

// absent says why nothing was assessed.
func (v *Visits) absent(k, i int, t tenure) {
	closes := t.day + v.Windows[k].To
	switch {
	case v.Day[k][i] != schemas.NoDay:
	case v.Windows[k].To <= 0:
		v.State[k][i] = NotAssessed
	case t.revised <= closes && t.revised <= t.death && t.revised <= t.cut:
		v.State[k][i] = AlreadyRevised
	case t.death <= closes && t.death <= t.cut:
		v.State[k][i] = Dead
	case t.cut < closes:
		v.State[k][i] = NotDue
	default:
		v.State[k][i] = NotAssessed
	}
}
