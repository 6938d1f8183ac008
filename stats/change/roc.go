package change

import (
	"math"

	"deltoid/stats/dist"
)

// Discriminating is how well a value tells two kinds of rows apart, in columns of equal length that are read and never changed.
type Discriminating struct {
	Value    []float64
	Positive []bool // the rows to be found
	// HigherIsPositive declares the direction; it is never taken from the data, so that an area below ½ stays one.
	HigherIsPositive bool
	Patient          []int32 // as in Scores
}

// Cut is a cut point: rows beyond it count as positive. It lies half-way between neighbouring values.
type Cut struct {
	At                       float64
	Sensitivity, Specificity float64
	// Ties is the number of cut points that are as good; this is the one closest to the corner, and of those the most lenient.
	Ties int
	State
}

// ROC is a receiver operating characteristic curve.
type ROC struct {
	Positives, Negatives int
	// Area has DeLong's standard error (by patient where rows are clustered) and a normal interval, cut at 0 and 1.
	Area Estimate
	// Cuts are all cut points from the most lenient to the strictest.
	Cuts                    []Cut
	Youden, ClosestToCorner Cut

	people   people
	positive []float64 // influence of each row on the area, times the number of its kind
	kind     []bool
	State
}

// Discrimination returns the curve and its area. Values must be finite. The time is that of one sort.
//
// Sources: DeLong, DeLong & Clarke-Pearson, Biometrics 44 (1988) 837–845; the sums over ordered values after Sun & Xu, IEEE Signal
// Process. Lett. 21 (2014) 1389–1393; clusters after Obuchowski, Biometrics 53 (1997) 567–578.
func Discrimination(d Discriminating, level float64) (ROC, error) {
	n := len(d.Value)
	if err := firstError(checkLength("Positive", len(d.Positive), n), checkPatients(d.Patient, n), checkLevel(level)); err != nil {
		return ROC{}, err
	}
	r := ROC{}
	for i, v := range d.Value {
		if !finite(v) {
			return r.refuse(n, level, state(OffScale, "the value of row %d is %v", i, v)), nil
		}
	}
	c := countsOf(d)
	r.Positives, r.Negatives = int(c.positives), int(c.negatives)
	if r.Positives == 0 || r.Negatives == 0 {
		return r.refuse(n, level, state(NoSpread, "there are %d positive rows and %d others; a curve needs both", r.Positives, r.Negatives)), nil
	}
	r.people, r.kind = peopleOf(d.Patient, n), d.Positive
	r.Area, r.positive = c.area(d, r.people, level)
	r.Cuts = c.cuts(d.HigherIsPositive)
	r.Youden, r.ClosestToCorner = r.best(c, d.HigherIsPositive)
	return r, nil
}

func (r ROC) refuse(n int, level float64, s State) ROC {
	r.State, r.Area, r.Youden.State, r.ClosestToCorner.State = s, refused(n, level, s), s, s
	return r
}

// counted is the rows of each kind at every distinct value, in order from the least positive one.
type counted struct {
	value                []float64
	pos, neg             []int64
	order                []int32
	positives, negatives int64
}

func countsOf(d Discriminating) counted {
	sign := 1.0
	if !d.HigherIsPositive {
		sign = -1
	}
	oriented := make([]float64, len(d.Value))
	for i, v := range d.Value {
		oriented[i] = sign * v
	}
	c := counted{order: rising(oriented)}
	for k, i := range c.order {
		if k == 0 || oriented[i] != c.value[len(c.value)-1] {
			c.value, c.pos, c.neg = append(c.value, oriented[i]), append(c.pos, 0), append(c.neg, 0)
		}
		if last := len(c.value) - 1; d.Positive[i] {
			c.pos[last]++
			c.positives++
		} else {
			c.neg[last]++
			c.negatives++
		}
	}
	return c
}

// area returns the area under the curve, and for every row the share of the other kind that it is on
// the right side of (ties half), less the area.
func (c counted) area(d Discriminating, p people, level float64) (Estimate, []float64) {
	m, n := float64(c.positives), float64(c.negatives)
	influence := make([]float64, len(d.Value))
	e := Estimate{N: len(d.Value), Patients: p.patients(), Level: level}
	var pairs, posBelow, negBelow int64 // pairs counts twice
	row := 0
	for k := range c.value {
		pairs += c.pos[k] * (2*negBelow + c.neg[k])
		ofPositive := float64(2*negBelow+c.neg[k]) / (2 * n)
		ofNegative := float64(2*(c.positives-posBelow)-c.pos[k]) / (2 * m)
		for range c.pos[k] + c.neg[k] {
			if i := c.order[row]; d.Positive[i] {
				influence[i] = ofPositive
			} else {
				influence[i] = ofNegative
			}
			row++
		}
		posBelow += c.pos[k]
		negBelow += c.neg[k]
	}
	e.Value = float64(pairs) / (2 * m * n)
	for i := range influence {
		influence[i] -= e.Value
	}
	return e.withVariance(covariance(influence, influence, d.Positive, p)), influence
}

func (e Estimate) withVariance(v float64) Estimate {
	if math.IsNaN(v) {
		return refused(e.N, e.Level, state(TooFew, "the variance of an area needs two rows (of two patients) of each kind"))
	}
	if !(v > 0) {
		return refused(e.N, e.Level, state(NoSpread, "the area is %v and its variance 0: the value tells the two kinds apart without fail, or not at all", e.Value))
	}
	e = e.byNormal(math.Sqrt(v), e.Level)
	e.Lower, e.Upper = max(0, e.Lower), min(1, e.Upper)
	return e
}

// covariance returns the covariance of two areas from the placements of the same rows; NaN with fewer than two rows of a kind. Without
// clusters it is DeLong's; with them, with factors m/(m−1) and n/(n−1) for patients that have rows of the kind, Obuchowski's.
func covariance(a, b []float64, positive []bool, p people) float64 {
	split := func(x []float64) (pos, neg []float64, m, n float64) {
		pos, neg = make([]float64, len(x)), make([]float64, len(x))
		for i, v := range x {
			if positive[i] {
				pos[i] = v
				m++
			} else {
				neg[i] = v
				n++
			}
		}
		return pos, neg, m, n
	}
	ap, an, m, n := split(a)
	bp, bn, _, _ := split(b)
	gp, gn := p.holding(positive)
	if gp < 2 || gn < 2 {
		return math.NaN()
	}
	v := gp/(gp-1)*p.products(ap, bp)/(m*m) + gn/(gn-1)*p.products(an, bn)/(n*n)
	if p.clustered() {
		v += (p.products(ap, bn) + p.products(an, bp)) / (m * n)
	}
	return v
}

// holding returns how many patients have rows of each kind.
func (p people) holding(positive []bool) (pos, neg float64) {
	if !p.clustered() {
		for _, is := range positive {
			if is {
				pos++
			}
		}
		return pos, float64(p.rows) - pos
	}
	for g := range p.clusters.Count {
		var has [2]float64
		for _, i := range p.clusters.Of(g) {
			if positive[i] {
				has[1] = 1
			} else {
				has[0] = 1
			}
		}
		pos, neg = pos+has[1], neg+has[0]
	}
	return pos, neg
}

// Areas compares the areas of two curves of the same rows.
type Areas struct {
	Difference Estimate // first minus second
	Z, P       float64  // against 0, two-sided; 0 where there is none
}

// CompareAreas compares two values measured on the same rows. Both must have been made from the same Positive and
// Patient.
//
// Source: as Discrimination.
func CompareAreas(a, b ROC, level float64) (Areas, error) {
	if err := firstError(checkLevel(level), sameRows(a, b)); err != nil {
		return Areas{}, err
	}
	d := Estimate{Level: level, N: len(a.kind), State: firstTrouble(a.State, b.State, a.Area.State, b.Area.State)}
	if !d.OK() {
		return Areas{Difference: d}, nil
	}
	gap := make([]float64, len(a.positive))
	for i, x := range a.positive {
		gap[i] = x - b.positive[i]
	}
	d.Value, d.Patients = a.Area.Value-b.Area.Value, a.people.patients()
	d = d.byNormal(math.Sqrt(covariance(gap, gap, a.kind, a.people)), level)
	if !(d.SE > 0) {
		return Areas{Difference: refused(d.N, level, state(NoSpread, "both values put the rows in the same order"))}, nil
	}
	z := d.Value / d.SE
	return Areas{Difference: d, Z: z, P: dist.NormalTwoSided(z)}, nil
}
