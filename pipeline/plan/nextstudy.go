package plan

import (
	"strconv"

	"go.yaml.in/yaml/v3"
)

// NextStudy asks how large the next study must be, drawn from the cohort that is being analysed.
type NextStudy struct {
	Patients     []int   // sizes of the study, rising; empty for as many as the cohort has
	HazardRatio  float64 // whose power is asked; 0 when only the smallest detectable effect is
	Power        float64 // of the smallest detectable effect
	Significance float64 // two-sided
	Allocation   float64 // patients in the second group for each one in the first
	Further      float64 // follow-up beyond the data cut, in Unit
}

// The usual choices of a next study. The level and equal groups are common practice.
const (
	defaultSignificance = 0.05
	defaultAllocation   = 1
	defaultStudies      = 1000
	leastStudies        = 100
	mostStudies         = 10_000
	mostPatients        = 1_000_000
)

// nextStudy reads the keys of a next study.
func (r *reader) nextStudy(s section, a *Analysis) {
	if a.Kind != NextStudyKind {
		return
	}
	n := &NextStudy{Significance: defaultSignificance, Allocation: defaultAllocation}
	a.Next, a.Replicates, a.Seed = n, defaultStudies, defaultSeed
	r.between(s, "significance", &n.Significance, 0, 0.5, "write 0.05 for the usual level")
	r.between(s, "power", &n.Power, 0, 1, "write 0.8 for the usual power")
	if v := s.values["power"]; v != nil && n.Power > 0 && n.Power <= n.Significance {
		r.wrong(v, "power is "+cut(v.Value)+", not more than the significance "+number(n.Significance), "a number above the significance",
			"write 0.8: a study without any effect finds one with the probability of its level")
	}
	r.between(s, "allocation", &n.Allocation, 0, 1000, "write 1 for groups of one size")
	r.between(s, "hazard_ratio", &n.HazardRatio, 0, 100, "write 0.7, say; the event is then 0.7 times as frequent in the second group")
	if v := s.values["hazard_ratio"]; v != nil && n.HazardRatio == 1 {
		r.wrong(v, "hazard_ratio is 1, no effect, so that there is nothing to find", "a number below or above 1",
			"write the effect that would matter, or leave the key out to ask for the smallest that can be found")
	}
	if v := s.values["further"]; v != nil {
		n.Further, _ = r.time(v, "further", a.Unit, true)
	}
	if v := s.values["patients"]; v != nil {
		r.sizes(v, n)
	}
	r.drawn(s, a)
}

// between reads a number between two others, without the two.
func (r *reader) between(s section, key string, to *float64, low, high float64, remedy string) {
	v := s.values[key]
	if v == nil {
		return
	}
	allowed := "a number above " + number(low) + " and below " + number(high)
	x, ok := r.number(v, key, allowed)
	if ok && !(x > low && x < high) {
		r.malformed(v, key+" is "+cut(v.Value), allowed, remedy)
		return
	}
	*to = x
}

// sizes reads the sizes of the study.
func (r *reader) sizes(v *yaml.Node, n *NextStudy) {
	const allowed = "whole numbers from 10 to 1000000 that rise"
	for _, node := range r.entries(v, "patients") {
		x, ok := r.whole(node, "a number of patients", 0, allowed)
		switch {
		case !ok:
		case x < 10 || x > mostPatients:
			r.malformed(node, "a number of patients is "+cut(node.Value), allowed, "write how many patients the study could have")
		case len(n.Patients) > 0 && x <= n.Patients[len(n.Patients)-1]:
			r.wrong(node, "the number of patients "+cut(node.Value)+" is not more than the one before it", allowed, "put the sizes in order, each once")
		default:
			n.Patients = append(n.Patients, x)
		}
	}
}

// drawn reads how many studies are drawn, and by which number.
func (r *reader) drawn(s section, a *Analysis) {
	if v := s.values["replicates"]; v != nil {
		allowed := "a whole number from " + strconv.Itoa(leastStudies) + " to " + strconv.Itoa(mostStudies)
		n, ok := r.whole(v, "replicates", 0, allowed)
		if ok && (n < leastStudies || n > mostStudies) {
			r.malformed(v, "replicates is "+cut(v.Value), allowed, "write "+strconv.Itoa(defaultStudies))
		}
		a.Replicates = n
	}
	if v := s.values["seed"]; v != nil {
		n, _ := r.whole(v, "seed", 0, "a whole number from 0 to 1000000")
		a.Seed = uint64(n)
	}
}

func (l *settings) nextStudy(key string, a *Analysis) {
	n := a.Next
	sizes := make([]float64, len(n.Patients))
	for i, p := range n.Patients {
		sizes[i] = float64(p)
	}
	l.add(key+".patients", join(numbers(sizes)))
	if n.HazardRatio > 0 {
		l.add(key+".hazard_ratio", number(n.HazardRatio))
	}
	l.add(key+".power", number(n.Power))
	l.add(key+".significance", number(n.Significance))
	l.add(key+".allocation", number(n.Allocation))
	if n.Further > 0 {
		l.add(key+".further", number(n.Further))
		l.add(key+".unit", string(a.Unit))
	}
	l.add(key+".variance", string(a.Variance))
	l.add(key+".replicates", strconv.Itoa(a.Replicates))
	l.add(key+".seed", strconv.FormatUint(a.Seed, 10))
}
