package trials

import (
	"fmt"
	"math"
)

// Arm is one treatment of a study.
type Arm struct {
	Name string
	// Share of the patients, relative to the other arms.
	Share float64
	// Event is the hazard of what is studied, Death of what puts an end to its risk, Loss that of
	// being lost to follow-up; per day. The last two belong to a patient: both shoulders share them.
	Event, Death, Loss Hazard
}

// Stratum is a part of the patients with a hazard of its own.
type Stratum struct {
	Share float64 // relative to the other strata
	Ratio float64 // of the hazard of the event, beside that of the arm
}

// Sides says how the two shoulders of a patient are treated.
type Sides uint8

// The ways to treat two shoulders.
const (
	// Alike: both have one arm, so that each says less than a shoulder of somebody else would.
	Alike Sides = iota
	// Apart: one shoulder has the first arm and one the second, so that a patient is compared with
	// himself, and dependence makes the comparison more certain.
	Apart
)

// Design is a study that is to be drawn: from hazards, or scores, or both. Its methods never
// change it.
type Design struct {
	Patients int
	// Arms: the first is the reference.
	Arms []Arm
	// Both is the share of the patients who have both shoulders in, Sides how they are treated and
	// Dependence how their times hang together.
	Both       float64
	Sides      Sides
	Dependence Dependence
	Hospitals  Hospitals
	Strata     []Stratum // nil: one
	Accrual    Accrual
	// Scores at visits; nil where only events are studied.
	Scores *Scores
}

// mostPatients bounds the memory of one study.
const mostPatients = 10_000_000

// Check says what is impossible about the design; nil if nothing is. The error is an *Impossible.
func (d *Design) Check() error {
	return first(d.checkPatients(), d.checkArms(), d.checkSides(), d.Dependence.check(), d.Hospitals.check(len(d.Arms)),
		d.checkLayers(), d.Accrual.check(), d.Scores.check(len(d.Arms)))
}

func (d *Design) checkPatients() error {
	if len(d.Arms) < 2 || len(d.Arms) > 100 {
		return impossible("number of arms", len(d.Arms), "2 to 100", "")
	}
	if d.Patients < len(d.Arms) || d.Patients > mostPatients {
		return impossible("number of patients", d.Patients, fmt.Sprintf("%d, one for each arm, to %d", len(d.Arms), mostPatients), "")
	}
	return share("share of patients with both shoulders", d.Both)
}

func (d *Design) checkArms() error {
	for i, a := range d.Arms {
		name := fmt.Sprintf("arm %d", i+1)
		if !(a.Share > 0) || math.IsInf(a.Share, 0) {
			return impossible("allocation of "+name, a.Share, "above 0", "leave the arm out, or give it some of the patients")
		}
		if err := first(a.Event.check("hazard of the event in "+name), a.Death.check("hazard of death in "+name),
			a.Loss.check("hazard of loss in "+name)); err != nil {
			return err
		}
	}
	return nil
}

func (d *Design) checkSides() error {
	if d.Sides == Apart && len(d.Arms) != 2 {
		return impossible("number of arms", len(d.Arms), "2 where a patient's shoulders have different arms", "")
	}
	if d.Sides == Apart && d.Hospitals.Allocated {
		return impossible("allocation", "by hospital", "by shoulder where a patient's shoulders have different arms", "")
	}
	if d.Sides > Apart {
		return impossible("treatment of two shoulders", d.Sides, "alike or apart", "")
	}
	return nil
}

func (d *Design) checkLayers() error {
	for i, s := range d.Strata {
		if !(s.Share > 0) || math.IsInf(s.Share, 0) {
			return impossible(fmt.Sprintf("share of stratum %d", i+1), s.Share, "above 0", "")
		}
		if !(s.Ratio > 0) || math.IsInf(s.Ratio, 0) {
			return impossible(fmt.Sprintf("hazard ratio of stratum %d", i+1), s.Ratio, "above 0", "")
		}
	}
	return nil
}
