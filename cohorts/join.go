package cohorts

import (
	"slices"

	"deltoid/schemas"
)

// joiner joins procedures, revisions and deaths of a range of patients, one patient after the other.
type joiner struct {
	clerk
	*linking
	procs, revs, dead buckets
	shoulders         []Shoulder
	events            []Revision
	revisionRows      int     // rows of procedures that were used as revisions
	converting        []int32 // rows of the shoulder at hand that converted it
	halfDone          bool    // the last exchange in two stages of the shoulder at hand waits for its second
}

// join makes the registry from procedures, revisions and deaths. keys are the shoulder keys of procedures.
func (l *linking) join(keys []int32) *Registry {
	n := l.people.count
	l.known = noneKnown(n)
	procs, revs, dead := newBuckets(keys, 2*n), l.place(l.revisions), l.place(l.deaths)
	parts := make([]joiner, countParts(n))
	inParts(n, func(part, from, to int) {
		j := &parts[part]
		*j = joiner{clerk: clerk{cut: l.cut}, linking: l, procs: procs, revs: revs, dead: dead,
			shoulders: make([]Shoulder, 0, (to-from)+(to-from)/4)}
		for p := from; p < to; p++ {
			j.patient(int32(p))
		}
		l.found.Add(j.clerk.found...)
	})
	return l.gather(parts)
}

// gather puts the parts one after the other.
func (l *linking) gather(parts []joiner) *Registry {
	shoulders, events := 0, 0
	for i := range parts {
		shoulders += len(parts[i].shoulders)
		events += len(parts[i].events)
	}
	r := &Registry{Table: l.procedures.table, Patients: l.people.count,
		Shoulders: make([]Shoulder, 0, shoulders), Revisions: make([]Revision, 0, events)}
	for i := range parts {
		j := &parts[i]
		s, e := int32(len(r.Shoulders)), int32(len(r.Revisions))
		for k := range j.shoulders {
			j.shoulders[k].revisions.from += e
			j.shoulders[k].revisions.to += e
		}
		for k := range j.events {
			j.events[k].Shoulder += s
		}
		r.Shoulders = append(r.Shoulders, j.shoulders...)
		r.Revisions = append(r.Revisions, j.events...)
		r.revisionRows += j.revisionRows
	}
	return r
}

// noneKnown returns so many patients of whom no day is known.
func noneKnown(n int) []known {
	all := make([]known, n)
	for i := range all {
		all[i] = known{first: [2]int32{schemas.NoDay, schemas.NoDay}, died: schemas.NoDay, last: schemas.NoDay}
	}
	return all
}

// patient finds the index procedures first, then the death that fits them, then the revisions that fit both. A second
// index procedure depends on a revision before it, and no death that fits is earlier than an index procedure; so what
// the later steps set aside cannot change the earlier ones.
func (j *joiner) patient(p int32) {
	left, right := shoulderKey(p, Left), shoulderKey(p, Right)
	from := len(j.shoulders)
	j.index(left, p, Left)
	middle := len(j.shoulders)
	j.index(right, p, Right)
	mine := j.shoulders[from:]
	of := &j.known[p]
	of.died = j.death(p, mine)
	for i := range mine {
		mine[i].Death = of.died
	}
	of.last = max(of.last, of.died)
	j.revise(left, p, from, middle)
	j.revise(right, p, middle, len(j.shoulders))
}

// index finds the index procedures of one shoulder: its first primary, each later one that a revision precedes, and each
// replacement that took the place of a plate or a hemiarthroplasty.
func (j *joiner) index(key, patient int32, side Side) {
	procs, revs := j.procs.of(key), j.revs.of(key)
	j.procedures.inOrder(procs, j.revisionLast)
	if len(revs) > 0 {
		j.revisions.inOrder(revs, nil)
	}
	current, from, revised, inPlace := int32(-1), int32(0), false, int16(schemas.NoCode)
	for _, row := range procs {
		day := j.procedures.days[row]
		for ; len(revs) > 0 && j.revisions.days[revs[0]] < day; revs = revs[1:] {
			revised = revised || j.revisions.days[revs[0]] >= from
		}
		kind, history := j.kinds.of(row), AfterRevision
		switch {
		case current >= 0 && day > j.procedures.days[current] && j.kinds.converts(inPlace, kind):
			history = Conversion
		case j.revising[row]:
			revised = revised || day >= from
			if j.kinds.replaces(kind) {
				inPlace = kind
			}
			continue
		case current < 0:
			j.known[patient].first[key&1], history = day, First
		case !revised:
			j.find(j.procedures, row, RuleSecondPrimary, "day", "the index procedure is on "+j.procedures.at(current))
			continue
		}
		s := Shoulder{Row: row, Patient: patient, Side: side, Day: day, History: history,
			Death: schemas.NoDay, LastContact: schemas.NoDay, OtherEvent: schemas.NoDay}
		current, from, revised, inPlace = row, s.revisable(), false, kind
		j.use(j.procedures, row)
		j.shoulders = append(j.shoulders, s)
	}
}

// revisionLast orders the rows of one day: a revision follows the index procedure.
func (j *joiner) revisionLast(row int32) int {
	if j.revising[row] {
		return 1
	}
	return 0
}

// death returns the patient's day of death: the earliest that is not before an index procedure.
func (j *joiner) death(p int32, mine []Shoulder) int32 {
	rows := j.dead.of(p)
	if len(rows) == 0 {
		return schemas.NoDay
	}
	latest := mine[0]
	for _, s := range mine[1:] {
		if s.Day > latest.Day {
			latest = s
		}
	}
	j.deaths.inOrder(rows, nil)
	chosen := int32(-1)
	for _, row := range rows {
		switch {
		case j.deaths.days[row] < latest.Day:
			j.find(j.deaths, row, RuleDeathBeforeProcedure, "day", "an index procedure is on "+j.procedures.at(latest.Row))
		case chosen < 0:
			chosen = row
			j.use(j.deaths, row)
		default:
			if j.find(j.deaths, row, RuleSecondDeath, "day", "the death used is on "+j.deaths.at(chosen)) {
				j.use(j.deaths, row)
			}
		}
	}
	if chosen < 0 {
		return schemas.NoDay
	}
	return j.deaths.days[chosen]
}

// revise attaches the revisions of one shoulder, day by day, to its index procedures, which are
// shoulders[from:to] by day. A conversion is a revision of the procedure before it.
func (j *joiner) revise(key, patient int32, from, to int) {
	j.halfDone, j.converting = false, j.converting[:0]
	for i := from; i < to; i++ {
		j.shoulders[i].revisions = span{int32(len(j.events)), int32(len(j.events))}
		if j.shoulders[i].History == Conversion {
			j.converting = append(j.converting, j.shoulders[i].Row)
		}
	}
	procs, revs := j.changing(j.procs.of(key)), j.revs.of(key)
	at := from // the index procedure that the next revision belongs to
	for len(procs) > 0 || len(revs) > 0 {
		day := j.nextDay(procs, revs)
		var fromProcs, fromRevs []int32
		fromProcs, procs = j.procedures.splitDay(procs, day)
		fromRevs, revs = j.revisions.splitDay(revs, day)
		if rule, detail := j.misplaced(key, patient, day); rule != nil {
			j.refuse(j.procedures, fromProcs, rule, detail)
			j.refuse(j.revisions, fromRevs, rule, detail)
			continue
		}
		for at+1 < to && j.shoulders[at+1].revisable() <= day {
			at++
			j.shoulders[at].revisions = span{int32(len(j.events)), int32(len(j.events))}
		}
		if j.attach(at, day, fromProcs, fromRevs) {
			j.known[patient].last = max(j.known[patient].last, day)
		}
	}
}

// changing keeps the rows of procedures that changed a prosthesis: revisions and conversions. The others have been dealt
// with, so their places in the bucket are free.
func (j *joiner) changing(procs []int32) []int32 {
	return slices.DeleteFunc(procs, func(row int32) bool { return !j.revising[row] && !slices.Contains(j.converting, row) })
}

// revisable returns the first day on which a revision belongs to a shoulder. A revision on the day of a conversion tells
// of the conversion.
func (s *Shoulder) revisable() int32 {
	if s.History == Conversion {
		return s.Day + 1
	}
	return s.Day
}

func (j *joiner) nextDay(procs, revs []int32) int32 {
	switch {
	case len(procs) == 0:
		return j.revisions.days[revs[0]]
	case len(revs) == 0:
		return j.procedures.days[procs[0]]
	}
	return min(j.procedures.days[procs[0]], j.revisions.days[revs[0]])
}

// splitDay divides rows in order into those of one day, which come first, and the rest.
func (r *records) splitDay(rows []int32, day int32) (of, rest []int32) {
	n := 0
	for n < len(rows) && r.days[rows[n]] == day {
		n++
	}
	return rows[:n], rows[n:]
}

// misplaced returns the rule that a revision of this day breaks, nil for none.
func (j *joiner) misplaced(key, patient, day int32) (*schemas.Rule, string) {
	first, died := j.known[patient].first[key&1], j.known[patient].died
	switch {
	case first == schemas.NoDay:
		return RuleNoIndexProcedure, "the patient has an index procedure on the other side only"
	case day < first:
		return RuleRevisionBeforePrimary, "the index procedure is on " + showDay(j.procedures.table, first)
	case died != schemas.NoDay && day > died:
		return RuleRevisionAfterDeath, "the patient died on " + showDay(j.procedures.table, died)
	}
	return nil, ""
}

func (j *joiner) refuse(r *records, rows []int32, rule *schemas.Rule, detail string) {
	for _, row := range rows {
		j.find(r, row, rule, "day", detail)
	}
}

// attach makes the revisions of one day: those of the revisions table, or else one for the rows of procedures. It reports
// whether a row other than an index procedure tells of that day.
func (j *joiner) attach(shoulder int, day int32, fromProcs, fromRevs []int32) (known bool) {
	v := Revision{Shoulder: int32(shoulder), Day: day}
	for _, row := range fromProcs {
		if slices.Contains(j.converting, row) {
			v.Row, v.InProcedures, v.Conversion, v.Change = row, true, true, ChangeOfPart
			continue
		}
		known = true
		j.use(j.procedures, row)
		j.revisionRows++
		if !v.InProcedures {
			v.Row, v.InProcedures = row, true
		}
		v.Change = max(v.Change, j.kinds.change(row))
	}
	for _, row := range fromRevs {
		j.use(j.revisions, row)
		j.events = append(j.events, j.detailed(v, row))
	}
	if len(fromRevs) == 0 {
		j.events = append(j.events, v)
	}
	j.shoulders[shoulder].revisions.to = int32(len(j.events))
	return known || len(fromRevs) > 0
}

// detailed returns what a row of the revisions table tells of an event. What it does not say about components is taken
// from the procedures of the day.
func (j *joiner) detailed(v Revision, row int32) Revision {
	change := changeOf(codeOf(j.exchanged, row))
	if v.Conversion || change == ChangeUnknown {
		change = v.Change
	}
	v.Row, v.InProcedures, v.Reason, v.Change = row, false, codeOf(j.reasons, row), change
	switch codeOf(j.stages, row) {
	case "first_of_two":
		j.halfDone = true
	case "second_of_two":
		v.SecondStage, j.halfDone = j.halfDone, false
		if !v.SecondStage {
			j.find(j.revisions, row, RuleSecondStageAlone, "stage", "")
		}
	}
	return v
}
