package power

import "math"

// The assumptions about time.
const (
	At          Name = "at"
	Recruitment Name = "recruitment"
	FollowUp    Name = "follow_up"
	FollowedFor Name = "followed_for"
	Pattern     Name = "pattern"
	Deaths      Name = "deaths"
)

// The ways in which recruitment can go.
const (
	patternEven    = "even"
	patternRising  = "rising"
	patternFalling = "falling"
)

// overTime are the assumptions about who is followed how long.
func overTime() []Assumption {
	return []Assumption{
		zeroIn(above(Recruitment, Years, "years of recruitment", "from the first shoulder to the last; 0 when all enter at once")),
		zeroIn(above(FollowUp, Years, "years of follow-up after recruitment has ended", "those recruited first are followed longer")),
		optional(above(FollowedFor, Years, "years after which each shoulder leaves", "only when nobody is followed longer than so"), "each is followed until the study ends"),
		choice(Pattern, "how recruitment goes", "rising when most come late, falling when most come early", patternEven, patternEven, patternRising, patternFalling),
		{Name: Loss, Words: "share lost to follow-up within a year", Help: "for reasons that have nothing to do with the implant; 0 when nobody is lost", Unit: Share, From: 0, FromIn: true, To: 1},
		{Name: Deaths, Words: "share of the patients who die within a year", Help: "a death before the event ends the observation; 0 when nobody dies", Unit: Share, From: 0, FromIn: true, To: 1},
	}
}

// yearly turns the share to whom something happens within a time, if nothing else could, into a hazard.
func hazardOf(share, time float64) float64 { return -math.Log1p(-share) / time }

// watch is how long shoulders are under observation, whatever happens to them: until the study ends, or each leaves.
type watch struct {
	recruitment, longest float64 // the longest observation without the limit
	limit                float64 // after which each leaves
	pattern              string
	ended                float64 // hazard of loss and death
	lost, died           float64 // its parts
}

func (a *assumed) watch() watch {
	w := watch{recruitment: a.x(Recruitment), longest: a.x(Recruitment) + a.x(FollowUp), limit: math.Inf(1), pattern: a.word(Pattern)}
	if a.has(FollowedFor) {
		w.limit = a.x(FollowedFor)
	}
	w.lost, w.died = hazardOf(a.x(Loss), 1), hazardOf(a.x(Deaths), 1)
	w.ended = w.lost + w.died
	return w
}

// watched is the share whose observation could last beyond t: those recruited early enough.
func (w watch) watched(t float64) float64 {
	if t >= math.Min(w.longest, w.limit) {
		return 0
	}
	if w.recruitment == 0 || t <= w.longest-w.recruitment {
		return 1
	}
	early := (w.longest - t) / w.recruitment // share of the time of recruitment that is early enough
	switch w.pattern {
	case patternRising:
		return early * early
	case patternFalling:
		return 1 - float64((1-early)*(1-early))
	}
	return early
}

// over integrates f(t) times the share watched at t, from 0 to the end, or to an earlier time.
func (w watch) over(to float64, f func(t float64) float64) float64 {
	end := math.Min(to, math.Min(w.longest, w.limit))
	kink := math.Min(end, w.longest-w.recruitment)
	g := func(t float64) float64 { return f(t) * w.watched(t) }
	return integral(g, 0, kink, 2) + integral(g, kink, end, 2)
}

// seen is the share whose event is observed, with the event's hazard.
func (w watch) seen(hazard float64) float64 { return float64(hazard * w.time(hazard)) }

// time is the mean time under observation, in years, which ends with the event.
func (w watch) time(hazard float64) float64 {
	rate := hazard + w.ended
	return w.over(math.Inf(1), func(t float64) float64 { return math.Exp(-rate * t) })
}

// squared is the mean of the square of that time.
func (w watch) squared(hazard float64) float64 {
	rate := hazard + w.ended
	return w.over(math.Inf(1), func(t float64) float64 { return 2 * t * math.Exp(-rate*t) })
}

// withoutDeaths is the same study if nobody died.
func (w watch) withoutDeaths() watch {
	w.ended, w.died = w.lost, 0
	return w
}

// timeAgrees refuses a study in which nobody is observed.
func (a *assumed) timeAgrees() {
	if a.x(Recruitment)+a.x(FollowUp) <= 0 {
		a.refuse(FollowUp, "a recruitment or a follow-up above 0", "recruitment and follow-up are both 0, so that nothing can be observed")
	}
}

// followed are the quantities that follow from the time under observation, for one group or two.
func (a *assumed) followed(hazards []float64, sizes []float64) []Quantity {
	w := a.watch()
	names := []string{"first", "second"}
	var list []Quantity
	events, unseen, years := 0.0, 0.0, 0.0
	for i, h := range hazards {
		p := w.seen(h)
		events += float64(sizes[i] * p)
		unseen += float64(sizes[i] * (w.withoutDeaths().seen(h) - p))
		years += float64(sizes[i] * w.time(h))
		if len(hazards) > 1 {
			list = append(list, Quantity{"seen-" + names[i], "share with an observed event in the " + names[i] + " group", Share, p})
		} else {
			list = append(list, Quantity{"seen", "share with an observed event", Share, p})
		}
	}
	list = append(list, Quantity{"events", "events expected to be observed", Events, events})
	if w.died > 0 {
		list = append(list, Quantity{"events-unseen", "events that will never be seen because patients die first", Events, unseen})
	}
	return append(list, Quantity{"exposure", "prosthesis-years under observation", Time, years})
}

// Hazards are the constant yearly rates that a design over time takes for granted.
type Hazards struct {
	Groups     []float64 // of the event, by group
	Lost, Died float64
}

// Hazards returns the rates behind an answer; ok is false of a design that follows nobody over time.
func (answer *Answer) Hazards() (h Hazards, ok bool) {
	a := &assumed{design: answer.Design, given: answer.Given}
	if !a.lossByYear() {
		return h, false
	}
	w := a.watch()
	h.Lost, h.Died = w.lost, w.died
	if answer.Design == incidence {
		h.Groups = []float64{a.causeHazard(First), a.causeHazard(Second)}
		return h, true
	}
	h.Groups = []float64{a.firstHazard()}
	if ratio, ok := answer.Given[HazardRatio]; ok {
		h.Groups = append(h.Groups, h.Groups[0]*ratio.Number)
	}
	return h, true
}
