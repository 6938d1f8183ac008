package trials

// result sums the outcomes up, in the order of the replicates.
func (s *simulation) result() *Result {
	r := &Result{Test: s.test.Name, Replicates: len(s.outcomes), Boundary: s.boundary}
	count := func(is func(o *outcome) bool) Share {
		n := 0
		for i := range s.outcomes {
			if is(&s.outcomes[i]) {
				n++
			}
		}
		return shareOf(n, len(s.outcomes))
	}
	r.Power = count(func(o *outcome) bool { return s.counts(o.found) })
	r.Above = count(func(o *outcome) bool { return o.found > 0 })
	r.Below = count(func(o *outcome) bool { return o.found < 0 })
	r.Failed = count(func(o *outcome) bool { return o.verdict.Reason != "" })
	r.Short = count(func(o *outcome) bool { return o.short })
	s.means(r)
	for i := range s.outcomes {
		if r.Reason = s.outcomes[i].verdict.Reason; r.Reason != "" {
			break
		}
	}
	for k := range s.looks() {
		r.Looks = append(r.Looks, s.look(k))
	}
	switch {
	case r.Failed.Count == r.Replicates:
		r.Status = NoVerdicts
	case s.Error > 0 && !s.certain():
		r.Status = Uncertain
	}
	return r
}

func (s *simulation) means(r *Result) {
	mean := func(of func(o *outcome) float64) Mean {
		return meanOf(len(s.outcomes), func(i int) (float64, bool) { return of(&s.outcomes[i]), true })
	}
	r.Events = mean(func(o *outcome) float64 { return float64(o.events) })
	r.Deaths = mean(func(o *outcome) float64 { return float64(o.deaths) })
	r.Lost = mean(func(o *outcome) float64 { return float64(o.lost) })
	r.Shoulders = mean(func(o *outcome) float64 { return float64(o.rows) })
	r.Patients = mean(func(o *outcome) float64 { return float64(o.patients) })
	r.Days = mean(func(o *outcome) float64 { return float64(o.day) })
	r.PersonDays = mean(func(o *outcome) float64 { return float64(o.person) })
	r.Seen = mean(func(o *outcome) float64 { return float64(o.seen) / float64(max(o.rows, 1)) })
	r.Beyond = mean(func(o *outcome) float64 { return float64(o.beyond) / float64(max(o.rows, 1)) })
	estimates := func(of func(v Verdict) float64) Mean {
		return meanOf(len(s.outcomes), func(i int) (float64, bool) {
			v := s.outcomes[i].verdict
			return of(v), v.Reason == "" && v.SE > 0
		})
	}
	r.Effect = estimates(func(v Verdict) float64 { return v.Effect })
	r.SE = estimates(func(v Verdict) float64 { return v.SE })
}

// look sums up what happened at one look.
func (s *simulation) look(k int) Look {
	l := Look{Information: s.boundary.Information[k], Limit: s.boundary.Limit[k]}
	came, stopped := 0, 0
	for i := range s.outcomes {
		if s.at(i, k).day > 0 {
			came++
		}
		if o := &s.outcomes[i]; s.counts(o.found) && int(o.look) <= k {
			stopped++
		}
	}
	l.Held, l.Stopped = shareOf(came, len(s.outcomes)), shareOf(stopped, len(s.outcomes))
	mean := func(of func(h held) int32) Mean {
		return meanOf(len(s.outcomes), func(i int) (float64, bool) { h := s.at(i, k); return float64(of(h)), h.day > 0 })
	}
	l.Day = mean(func(h held) int32 { return h.day })
	l.Events = mean(func(h held) int32 { return h.events })
	l.Patients = mean(func(h held) int32 { return h.patients })
	return l
}

func (s *simulation) at(replicate, k int) held { return s.held[replicate*s.looks()+k] }
