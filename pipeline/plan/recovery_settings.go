package plan

import "strconv"

// scored lists what an analysis of scores asks for.
func (l *settings) scored(key string, a *Analysis) {
	w := &a.Scores
	l.groups(key, a)
	l.add(key+".instrument", w.Instrument)
	l.add(key+".before", w.Before)
	l.add(key+".visits", join(w.Visits))
	for i, t := range w.Thresholds {
		l.add(key+".thresholds."+strconv.Itoa(i+1), t.words())
	}
	if a.Kind == Recovery {
		l.add(key+".revised", string(w.Revised))
		l.add(key+".died", string(w.Died))
	}
	if a.Kind == RepeatedScores {
		l.repeated(key, a)
	}
	if q := w.Anchor; q != nil {
		l.add(key+".anchor", q.words())
	}
	if q := w.Acceptable; q != nil {
		l.add(key+".acceptable", q.words())
	}
	l.add(key+".instruments", join(a.Instruments))
	l.add(key+".cuts", join(numbers(w.Cuts)))
	if w.Positive != nil {
		l.add(key+".positive", w.Positive.words())
	}
	if w.Reliability > 0 {
		l.add(key+".reliability", number(w.Reliability))
	}
	if a.Kind == ThresholdsKind {
		l.add(key+".replicates", strconv.Itoa(a.Replicates))
		l.add(key+".seed", strconv.FormatUint(a.Seed, 10))
	}
	for _, c := range a.AdjustFor {
		l.add(key+".adjust_for."+c.Field, c.words())
	}
	l.add(key+".level", number(a.Level))
}

func (t *Threshold) words() string {
	switch {
	case t.Published != "":
		return "published: " + t.Published
	case t.Derived != "":
		return "derived by " + t.Derived + ": " + string(t.Of) + ", " + string(t.Method)
	case t.IsState:
		return "state " + number(t.State) + ": " + t.Reason
	}
	return number(t.Points) + " points: " + t.Reason
}

func (q *Acceptable) words() string {
	text := q.Instrument + " from " + strconv.Itoa(q.From)
	if q.Reliability > 0 {
		text += ", reliability " + number(q.Reliability)
	}
	return text + ", floor " + number(q.Floor)
}

func (q *Anchor) words() string {
	text := q.Instrument + ", unchanged " + strconv.Itoa(q.Unchanged) + ", minimal " + strconv.Itoa(q.Minimal)
	if q.HasSubstantial {
		text += ", substantial " + strconv.Itoa(q.Substantial)
	}
	if q.Reliability > 0 {
		text += ", reliability " + number(q.Reliability)
	}
	return text + ", floor " + number(q.Floor)
}
