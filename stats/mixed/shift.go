package mixed

import (
	"fmt"
	"math"

	"deltoid/stats/covariates"
	"deltoid/stats/dist"
)

// shoulder is what is known about one beside its scores.
type shoulder struct {
	group, patient int32
	due            int32 // visits that had come due
	last           int32 // the last visit with a score, −1 for none
	seen           []uint64
}

func (s *shoulder) has(visit int) bool {
	return visit/64 < len(s.seen) && s.seen[visit/64]&(1<<(visit%64)) != 0
}

// meet gathers what is known about shoulders.
func (t *Trajectory) meet() error {
	s := t.data
	groups, err := covariates.GroupRows(s.Subject, len(s.Subject))
	if err != nil {
		return err
	}
	patients := s.Patient
	if patients == nil {
		patients = s.Subject
	}
	words := (len(s.Visits) + 63) / 64
	seen := make([]uint64, words*groups.Count)
	t.share = make([]float64, len(s.Subject))
	for g := range groups.Count {
		rows := groups.Of(g)
		one := shoulder{group: s.Group[rows[0]], patient: patients[rows[0]], due: int32(len(s.Visits)), last: -1, seen: seen[g*words : (g+1)*words]}
		for _, i := range rows {
			if s.Group[i] != one.group {
				return &covariates.RowError{Row: int(i), Column: "Group", Found: fmt.Sprint(s.Group[i]), Want: fmt.Sprintf("%d, as in row %d of the same shoulder", one.group, rows[0])}
			}
			if s.Due != nil {
				if s.Due[i] != s.Due[rows[0]] {
					return &covariates.RowError{Row: int(i), Column: "Due", Found: fmt.Sprint(s.Due[i]), Want: fmt.Sprintf("%d, as in row %d of the same shoulder", s.Due[rows[0]], rows[0])}
				}
				one.due = min(one.due, s.Due[i])
			}
			t.share[i] = 1 / float64(len(rows))
			v := s.Visit[i]
			one.last = max(one.last, v)
			one.seen[v/64] |= 1 << (v % 64)
		}
		t.shoulders = append(t.shoulders, one)
	}
	for _, u := range s.Unseen {
		t.shoulders = append(t.shoulders, shoulder{group: u.Group, patient: u.Patient, due: min(u.Due, int32(len(s.Visits))), last: -1})
	}
	return nil
}

// Shift is what is supposed of scores that are missing: that they differ by Delta from what the model expects of such a shoulder,
// given its other scores and covariates. Delta of 0 is missing at random.
type Shift struct {
	// Delta is for visit v and group g at v × groups + g, in the unit of the score; negative where the missing did worse on a score of
	// which more is better.
	Delta []float64
	// Between also shifts scores that are missing before a later one; otherwise only those after a shoulder's last score, its dropout.
	Between bool
}

// missing reports whether a shoulder's score at a visit, which had come due, is one that is shifted.
func (s Shift) missing(one *shoulder, visit int) bool {
	return !one.has(visit) && (s.Between || int32(visit) > one.last)
}

// Missing returns how many shoulders of a group had come due for a visit, and how many of them have their score shifted there.
func (t *Trajectory) Missing(visit, group int, s Shift) (missing, due int) {
	for i := range t.shoulders {
		if one := &t.shoulders[i]; int(one.group) == group && int32(visit) < one.due {
			due++
			if s.missing(one, visit) {
				missing++
			}
		}
	}
	return missing, due
}

// ShiftedMean, ShiftedDifference and ShiftedDifferenceOfChanges are Mean, Difference and DifferenceOfChanges with the missing scores shifted.
//
// A mean over those with and without a score is a mixture of two patterns: it moves by the share of missing scores times their
// shift, π δ. That is what repeated imputation under the same supposition comes to without its random error, and the numbers do
// not depend on a seed; the sampling variance of the shares, by patient, is added to that of the mean. It is the repeated-sampling
// variance; that of Rubin's rules is larger under shifts, because imputation and analysis then suppose different things.
//
// Sources: Little, J. Am. Stat. Assoc. 88 (1993) 125–134; Hedeker & Gibbons, Psychol. Methods 2 (1997) 64–78, for the delta method;
// Carpenter, Roger & Kenward, J. Biopharm. Stat. 23 (2013) 1352–1371, for controlled imputation.
func (t *Trajectory) ShiftedMean(visit, group int, at []float64, s Shift, level float64) Effect {
	return t.shifted(t.Mean(visit, group, at, level), blend{t.cell(visit, group): 1}, s)
}

// ShiftedDifference: see ShiftedMean.
func (t *Trajectory) ShiftedDifference(visit, group, other int, s Shift, level float64) Effect {
	return t.shifted(t.Difference(visit, group, other, level), t.difference(visit, group, other), s)
}

// ShiftedDifferenceOfChanges: see ShiftedMean.
func (t *Trajectory) ShiftedDifferenceOfChanges(group, other, from, to int, s Shift, level float64) Effect {
	return t.shifted(t.DifferenceOfChanges(group, other, from, to, level),
		blend{t.cell(to, group): 1, t.cell(to, other): -1, t.cell(from, group): -1, t.cell(from, other): 1}, s)
}

func (t *Trajectory) shifted(e Effect, b blend, s Shift) Effect {
	if e.Status != Converged {
		return e
	}
	move, variance := t.move(b, s)
	e.Estimate += move
	e.SE = math.Sqrt(float64(e.SE*e.SE) + variance)
	half := float64(dist.StudentSpread(e.Level, e.DF) * e.SE)
	e.Lower, e.Upper, e.T = e.Estimate-half, e.Estimate+half, e.Estimate/e.SE
	e.P = dist.StudentTwoSided(e.T, e.DF)
	return e
}

// move returns Σ b π δ over cells and its variance, the sum over patients of squared influences.
func (t *Trajectory) move(b blend, s Shift) (move, variance float64) {
	if len(s.Delta) != len(t.Cells) {
		panic(fmt.Sprintf("mixed: %d shifts for %d visits and groups", len(s.Delta), len(t.Cells)))
	}
	groups := len(t.data.Groups)
	share, weight := make([]float64, len(t.Cells)), make([]float64, len(t.Cells))
	for cell := range t.Cells {
		if b[cell] == 0 || s.Delta[cell] == 0 {
			continue
		}
		missing, due := t.Missing(cell/groups, cell%groups, s)
		if due > 0 {
			share[cell], weight[cell] = float64(missing)/float64(due), b[cell]*s.Delta[cell]/float64(due)
			move += float64(b[cell] * s.Delta[cell] * share[cell])
		}
	}
	influence := map[int32]float64{}
	for i := range t.shoulders {
		one := &t.shoulders[i]
		for v := range int(one.due) {
			if w := weight[t.cell(v, int(one.group))]; w != 0 {
				m := 0.0
				if s.missing(one, v) {
					m = 1
				}
				influence[one.patient] += float64(w * (m - share[t.cell(v, int(one.group))]))
			}
		}
	}
	for i := range t.shoulders { // in the order of shoulders, not of the map
		p := t.shoulders[i].patient
		variance += float64(influence[p] * influence[p])
		delete(influence, p)
	}
	return move, variance
}

// Tipping says how far missing scores would have to be shifted for an interval to change sides.
type Tipping struct {
	Status Status
	Reason string
	// Apart says whether the interval leaves out 0 without a shift.
	Apart bool
	// Found says that there is a multiple of the shift, from 0 to the most asked for, at which an end of the interval is 0.
	Found bool
	// Multiple is the smallest such.
	Multiple float64
}

// TippingPoint looks for the smallest multiple c of a shift, 0 ≤ c ≤ most, at which the interval of ShiftedDifference ends at 0: from there
// on the difference is no longer apart from none, or begins to be. The ends are where (estimate + c m)² = t² (SE² + c² v), a quadratic.
func (t *Trajectory) TippingPoint(visit, group, other int, s Shift, level, most float64) Tipping {
	e := t.Difference(visit, group, other, level)
	if e.Status != Converged {
		return Tipping{Status: e.Status, Reason: e.Reason}
	}
	move, variance := t.move(t.difference(visit, group, other), s)
	q := dist.StudentSpread(level, e.DF)
	a := float64(move*move) - float64(q*q*variance)
	half := float64(e.Estimate * move)
	c := float64(e.Estimate*e.Estimate) - float64(q*q*e.SE*e.SE)
	out := Tipping{Apart: c > 0}
	for _, root := range roots(a, half, c) {
		if root >= 0 && root <= most && (!out.Found || root < out.Multiple) {
			out.Found, out.Multiple = true, root
		}
	}
	return out
}

// roots returns the roots of a x² + 2 h x + c.
func roots(a, h, c float64) []float64 {
	if a == 0 {
		if h == 0 {
			return nil
		}
		return []float64{-c / (2 * h)}
	}
	d := float64(h*h) - float64(a*c)
	if d < 0 {
		return nil
	}
	q := -(h + math.Copysign(math.Sqrt(d), h))
	if q == 0 {
		return []float64{0}
	}
	return []float64{q / a, c / q}
}
