package trials

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// Next is a study that is drawn from a cohort: its patients, with both their shoulders, their
// operations, deaths, loss and covariates, and its events as they would be under a hazard ratio
// that is set. Patients are drawn with replacement and allocated to arms.
//
// An arm with the ratio 1 has the events of the cohort. Below 1 each event is kept with that
// probability; one that is dropped would have gone on, and does, under the hazards of those who
// were still at risk in the cohort. Above 1 further events happen, at ratio − 1 times the hazard
// of the cohort. So the hazard of every patient is multiplied, whatever it is, and what the two
// shoulders of a patient have in common stays. What is drawn beyond the end of somebody's own
// follow-up is independent of the other shoulder, except that they share their death, loss and data cut.
type Next struct {
	Cohort   *Cohort
	Patients int
	Arms     []NextArm // the first is the reference
	Sides    Sides
	// Further is by how many days the data cut is later than the cohort's. Those who were watched
	// to the cut are watched on, under the hazards of the cohort, up to its longest follow-up:
	// beyond that nothing is known, and Result.Beyond says how many would have gone on.
	Further int32
}

// NextArm is a share of the patients and the hazard ratio of their events against the cohort.
type NextArm struct {
	Share, Ratio float64
}

// Check says what is impossible about the study; the error is an *Impossible.
func (x *Next) Check() error {
	if x.Cohort == nil {
		return impossible("cohort", "missing", "one to draw from", "")
	}
	d := x.asDesign()
	if err := first(x.Cohort.Check(), d.checkPatients(), d.checkArms(), d.checkSides()); err != nil {
		return err
	}
	for i, a := range x.Arms {
		if !(a.Ratio >= 0) || math.IsInf(a.Ratio, 0) {
			return impossible(fmt.Sprintf("hazard ratio of arm %d", i+1), a.Ratio, "0 or more", "")
		}
	}
	if x.Further < 0 || x.Further > mostDays {
		return impossible("further follow-up", x.Further, fmt.Sprintf("0 to %d days", mostDays), "leave shoulders out of the cohort to shorten it")
	}
	return nil
}

// asDesign is a design with the same arms, for the checks and the allocation that both share.
func (x *Next) asDesign() *Design {
	d := &Design{Patients: x.Patients, Sides: x.Sides}
	for _, a := range x.Arms {
		d.Arms = append(d.Arms, Arm{Share: a.Share})
	}
	return d
}

// Length is the day of the data cut, counted from the first operation of the cohort.
func (x *Next) Length() int32 {
	last, begin := int32(0), x.begin()
	for i := range x.Cohort.Exit {
		end := x.Cohort.Exit[i]
		if x.Cohort.Cut != nil {
			end = x.Cohort.Cut[i]
		}
		last = max(last, x.start(i)-begin+end)
	}
	return max(1, last+x.Further)
}

func (x *Next) start(i int) int32 {
	if x.Cohort.Start == nil {
		return 0
	}
	return x.Cohort.Start[i]
}

func (x *Next) begin() int32 {
	begin := x.start(0)
	for i := range x.Cohort.Exit {
		begin = min(begin, x.start(i))
	}
	return begin
}

// redrawer draws the studies of a Next.
type redrawer struct {
	*Next
	events, deaths, losses, cuts staircase
	shoulders                    []int32 // of the cohort, by patient
	from                         []int32 // where those of each patient begin in shoulders, and the end
	most                         int     // shoulders of one patient
	arms                         []int32 // by patient of the study
	first, length                int32
}

func (x *Next) artist() artist {
	c := x.Cohort
	d := &redrawer{
		Next: x, events: c.climb(ByEvent), deaths: c.climb(ByDeath), losses: c.climb(LostFrom), cuts: c.climb(AtCut),
		arms: x.asDesign().sequence(x.Patients), first: x.begin(), length: x.Length(),
	}
	d.byPatient()
	return d
}

// byPatient sorts the shoulders of the cohort by patient, by counting.
func (d *redrawer) byPatient() {
	patients := int32(0)
	for _, p := range d.Cohort.Patient {
		patients = max(patients, p+1)
	}
	d.from, d.shoulders = make([]int32, patients+1), make([]int32, len(d.Cohort.Patient))
	for _, p := range d.Cohort.Patient {
		d.from[p+1]++
	}
	for p := range patients {
		d.most = max(d.most, int(d.from[p+1]))
		d.from[p+1] += d.from[p]
	}
	next := slices.Clone(d.from)
	for i, p := range d.Cohort.Patient {
		d.shoulders[next[p]] = int32(i)
		next[p]++
	}
}

func (d *redrawer) draw(r *rand.Rand, s *Sample) {
	c := d.Cohort
	s.Groups, s.Patients, s.Hospitals, s.Strata = len(d.Arms), d.Patients, 1, max(1, c.Strata)
	s.Bilateral, s.beyond = d.most > 1, 0
	s.resize(d.most*d.Patients, 0, len(c.Covariate))
	row := 0
	for patient := range d.Patients {
		row = d.drawPatient(r, s, patient, row)
	}
	s.resize(row, 0, len(c.Covariate))
}

// drawPatient draws somebody of the cohort into the rows from row on, and returns the next.
func (d *redrawer) drawPatient(r *rand.Rand, s *Sample, patient, row int) int {
	who := r.IntN(len(d.from) - 1)
	own := d.shoulders[d.from[who]:d.from[who+1]]
	arm := d.arms[patient]
	if len(own) > 1 && d.Sides == Apart {
		arm = 0
	}
	end, why := d.drawEnd(r, own)
	for _, i := range own {
		d.drawRow(r, s, i, row, end, why, arm)
		s.Group[row], s.Patient[row] = arm, int32(patient)
		row++
		if d.Sides == Apart {
			arm = 1 - arm
		}
	}
	return row
}

// drawEnd returns the day, counted as Start is, on which the observation of a patient ends if no
// event does it.
func (d *redrawer) drawEnd(r *rand.Rand, own []int32) (end int32, why Leaving) {
	end, why, known := d.knownEnd(own)
	clock := d.start(int(own[0]))
	for _, i := range own {
		clock = min(clock, d.start(int(i)))
	}
	if !known {
		end, why = d.goOn(r, clock, end, d.cutOf(r, own[0], end))
	}
	if why == AtCut && d.Further > 0 {
		end, why = d.goOn(r, clock, end, end+d.Further)
	}
	return end, why
}

// knownEnd is the end of the shoulder that no event ended, or else the last event.
func (d *redrawer) knownEnd(own []int32) (end int32, why Leaving, known bool) {
	end = math.MinInt32
	for _, i := range own {
		left, at := d.Cohort.Left[i], d.start(int(i))+d.Cohort.Exit[i]
		switch ended := left != ByEvent; {
		case ended && !known, ended == known && at > end:
			end, why, known = at, left, ended
		}
	}
	return end, why, known
}

// cutOf is the data cut of a patient who was watched until from at least.
func (d *redrawer) cutOf(r *rand.Rand, i, from int32) int32 {
	start := d.start(int(i))
	if d.Cohort.Cut != nil {
		return start + d.Cohort.Cut[i]
	}
	latest := d.first + d.length - d.Further
	if day := d.cuts.after(from-start, 1, r.ExpFloat64()); day >= 0 {
		latest = min(latest, start+day)
	}
	return max(from, latest)
}

// goOn watches a patient on from one day to another, under the deaths and losses of the cohort.
func (d *redrawer) goOn(r *rand.Rand, clock, from, until int32) (end int32, why Leaving) {
	end, why = until, AtCut
	if day := d.deaths.after(from-clock, 1, r.ExpFloat64()); day >= 0 && clock+day <= end {
		end, why = clock+day, ByDeath
	}
	if day := d.losses.after(from-clock, 1, r.ExpFloat64()); day >= 0 && clock+day < end {
		end, why = clock+day, LostFrom
	}
	return end, why
}

// drawRow gives a row the follow-up of shoulder i of the cohort, as it would be in an arm.
func (d *redrawer) drawRow(r *rand.Rand, s *Sample, i int32, row int, end int32, why Leaving, arm int32) {
	c := d.Cohort
	start := d.start(int(i))
	s.Enter[row], s.Hospital[row], s.Stratum[row] = start-d.first, 0, 0
	if c.Stratum != nil {
		s.Stratum[row] = c.Stratum[i]
	}
	for j, x := range c.Covariate {
		s.Covariate[j][row] = x[i]
	}
	watched := max(end-start, c.Exit[i])
	s.Cause[row], s.Lost[row] = Censored, why == LostFrom
	if why == ByDeath {
		s.Cause[row] = Died
	}
	if watched > d.events.last {
		watched = d.events.last
		s.Cause[row], s.Lost[row] = Censored, false
		s.beyond++
	}
	s.Exit[row] = watched
	if at := d.eventDay(r, i, d.Arms[arm].Ratio); at >= 0 && at <= watched {
		s.Exit[row], s.Cause[row], s.Lost[row] = at, Event, false
	}
}

// eventDay is the day of the event of shoulder i under a hazard ratio, −1 if there is none that
// the cohort knows of.
func (d *redrawer) eventDay(r *rand.Rand, i int32, ratio float64) int32 {
	exit, had := d.Cohort.Exit[i], d.Cohort.Left[i] == ByEvent
	if ratio > 1 {
		if at := d.events.after(-1, ratio-1, r.ExpFloat64()); at >= 0 && at <= exit {
			return at
		}
	}
	if had && (ratio >= 1 || r.Float64() < ratio) {
		return exit
	}
	if ratio == 0 {
		return -1
	}
	return d.events.after(exit, ratio, r.ExpFloat64())
}
