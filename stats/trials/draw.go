package trials

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Source is what studies are drawn from: a *Design or a *Cohort.
type Source interface {
	// Check says what is impossible about the source; nil if nothing is.
	Check() error
	// Length is the day on which a study ends.
	Length() int32
	// artist returns what draws the studies of one worker.
	artist() artist
}

// artist draws studies one after the other into memory that is used again.
type artist interface {
	draw(r *rand.Rand, s *Sample)
}

// Length is the day on which the study ends.
func (d *Design) Length() int32 { return d.Accrual.End() }

// painter draws the studies of a design.
type painter struct {
	*Design
	arms      []int32 // by patient
	shoulders []uint8 // by patient: 1 or 2
	rows      int
	hospitals []float64 // cumulative sizes, the last 1
	strata    []float64 // cumulative shares, the last 1
	frailty   []float64
	armOf     []int32 // by hospital, where hospitals are allocated
	inTurn    []int32 // the arms of hospitals before lots are drawn
	theta     float64
	scorer    *scorer
}

func (d *Design) artist() artist {
	p := &painter{Design: d, theta: d.Dependence.Parameter()}
	p.layOut()
	p.hospitals = cumulative(d.Hospitals.Number, func(h int) float64 {
		if d.Hospitals.Sizes == nil {
			return 1
		}
		return d.Hospitals.Sizes[h]
	})
	p.strata = cumulative(len(d.Strata), func(s int) float64 { return d.Strata[s].Share })
	p.frailty = make([]float64, d.Hospitals.Number)
	if d.Hospitals.Allocated {
		p.inTurn = d.sequence(d.Hospitals.Number)
		p.armOf = slices.Clone(p.inTurn)
	}
	if d.Scores != nil {
		p.scorer = d.Scores.newScorer(d.Hospitals.Number)
	}
	return p
}

// sequence gives n patients their arms so that after each of them every arm has its share as
// nearly as can be: what allocation in small blocks comes to.
func (d *Design) sequence(n int) []int32 {
	whole := 0.0
	for _, a := range d.Arms {
		whole += a.Share
	}
	out, got := make([]int32, n), make([]float64, len(d.Arms))
	for i := range out {
		best, lag := 0, math.Inf(-1)
		for a, arm := range d.Arms {
			if l := arm.Share/whole*float64(i+1) - got[a]; l > lag+1e-9 {
				best, lag = a, l
			}
		}
		out[i] = int32(best)
		got[best]++
	}
	return out
}

// layOut settles arms and numbers of shoulders; they are the same in all studies, which differ in
// who the patients turn out to be.
func (p *painter) layOut() {
	p.arms, p.shoulders = p.sequence(p.Patients), make([]uint8, p.Patients)
	seen := make([]int, len(p.Arms))
	for i, arm := range p.arms {
		before := math.Floor(float64(p.Both*float64(seen[arm])) + 0.5)
		seen[arm]++
		p.shoulders[i] = 1
		if math.Floor(float64(p.Both*float64(seen[arm]))+0.5) > before {
			p.shoulders[i] = 2
		}
		p.rows += int(p.shoulders[i])
	}
}

func cumulative(n int, of func(int) float64) []float64 {
	out := make([]float64, n)
	sum := 0.0
	for i := range out {
		sum += of(i)
		out[i] = sum
	}
	for i := range out {
		out[i] /= sum
	}
	return out
}

func pick(r *rand.Rand, cumulative []float64) int32 {
	if len(cumulative) < 2 {
		return 0
	}
	u := r.Float64()
	at, found := slices.BinarySearch(cumulative, u)
	if found {
		at++
	}
	return int32(min(at, len(cumulative)-1))
}

func (p *painter) draw(r *rand.Rand, s *Sample) {
	s.Groups, s.Patients = len(p.Arms), p.Patients
	s.Hospitals, s.Strata, s.Bilateral = max(1, p.Hospitals.Number), max(1, len(p.Strata)), p.rows > p.Patients
	visits := 0
	if p.Scores != nil {
		visits, s.visits = len(p.Scores.Visits), p.Scores.Visits
	}
	s.resize(p.rows, visits, 0)
	s.beyond = 0
	p.drawHospitals(r)
	row := 0
	for patient := range p.Patients {
		p.drawPatient(r, s, patient, row)
		row += int(p.shoulders[patient])
	}
}

func (p *painter) drawHospitals(r *rand.Rand) {
	if v := p.Hospitals.Frailty; v > 0 {
		for h := range p.frailty {
			p.frailty[h] = gamma(r, 1/v)
		}
	}
	if p.Hospitals.Allocated {
		copy(p.armOf, p.inTurn) // a study must not depend on the one drawn before it
		r.Shuffle(len(p.armOf), func(i, j int) { p.armOf[i], p.armOf[j] = p.armOf[j], p.armOf[i] })
	}
	if p.scorer != nil && p.Scores.Hospital > 0 {
		p.scorer.start(r)
	}
}

// drawPatient fills the one or two rows of a patient, from row on. A patient whose shoulders have
// different arms dies and is lost as in the first.
func (p *painter) drawPatient(r *rand.Rand, s *Sample, patient, row int) {
	hospital, stratum, arm := pick(r, p.hospitals), pick(r, p.strata), p.arms[patient]
	if p.armOf != nil {
		arm = p.armOf[hospital]
	}
	two := p.shoulders[patient] == 2
	apart := two && p.Sides == Apart
	if apart {
		arm = 0
	}
	enter, watched := p.drawEntry(r)
	end, why, lost := p.drawEnd(r, arm, watched)
	var reached [2]float64 // cumulative hazards at the events
	if two {
		reached[0], reached[1] = p.Dependence.pair(r, p.theta)
	} else {
		reached[0] = r.ExpFloat64()
	}
	if p.scorer != nil {
		p.scorer.patient(r)
	}
	for side := range p.shoulders[patient] {
		i := row + int(side)
		if apart {
			arm = int32(side)
		}
		s.Group[i], s.Patient[i], s.Enter[i], s.Hospital[i], s.Stratum[i] = arm, int32(patient), enter, hospital, stratum
		s.Exit[i], s.Cause[i], s.Lost[i] = end, why, lost
		if at := p.Arms[arm].Event.reach(reached[side] / p.ratio(hospital, stratum)); at < float64(end) {
			s.Exit[i], s.Cause[i], s.Lost[i] = int32(at)+1, Event, false
		}
		if p.scorer != nil {
			p.scorer.row(r, s, i)
		}
	}
}

// ratio is what multiplies the hazard of the event.
func (p *painter) ratio(hospital, stratum int32) float64 {
	ratio := 1.0
	if p.Hospitals.Frailty > 0 {
		ratio = p.frailty[hospital]
	}
	if len(p.Strata) > 0 {
		ratio *= p.Strata[stratum].Ratio
	}
	return ratio
}

// drawEntry draws the day on which a patient enters, and how long he can be watched.
func (p *painter) drawEntry(r *rand.Rand) (enter, watched int32) {
	if p.Accrual.Days > 0 {
		enter = p.Accrual.day(r.Float64())
	}
	watched = p.Accrual.End() - enter
	if p.Accrual.Longest > 0 {
		watched = min(watched, p.Accrual.Longest)
	}
	return enter, watched
}

// drawEnd draws when the observation of a patient ends if no event does it.
func (p *painter) drawEnd(r *rand.Rand, arm, watched int32) (end int32, why uint8, lost bool) {
	end = watched
	if death := p.Arms[arm].Death; death != nil {
		if at := death.reach(r.ExpFloat64()); at < float64(end) {
			end, why = int32(at)+1, Died
		}
	}
	if loss := p.Arms[arm].Loss; loss != nil {
		if at := loss.reach(r.ExpFloat64()); at < float64(end-1) || at < float64(end) && why == Censored {
			end, why, lost = int32(at)+1, Censored, true
		}
	}
	return end, why, lost
}
