package change

import (
	"fmt"
	"math"

	"deltoid/stats/describe"
	"deltoid/stats/dist"
)

// ShareDifference returns the share of responders in group true minus that in group false, among rows with a response. The interval is made of the Wilson
// limits of both shares, at their effective numbers where patients have several rows; where a patient has rows in both groups the
// correlation ρ of the two shares enters:
//
//	d − √((p₁−l₁)² − 2ρ(p₁−l₁)(u₂−p₂) + (u₂−p₂)²)  to  d + √((u₁−p₁)² − 2ρ(u₁−p₁)(p₂−l₂) + (p₂−l₂)²)
//
// Without patients in both groups and without clusters this is Newcombe's interval for independent shares.
//
// Sources: method 10 of Newcombe, Stat. Med. 17 (1998) 873–890; for correlated shares Zou & Donner, Stat. Med. 27 (2008) 1693–1702, of
// which Newcombe's own for pairs, Stat. Med. 17 (1998) 2635–2650, is a case (see PairedShares).
func ShareDifference(responses []Response, group []bool, patient []int32, level float64) (Estimate, error) {
	n := len(responses)
	if err := firstError(checkLength("group", len(group), n), checkPatients(patient, n), checkLevel(level)); err != nil {
		return Estimate{}, err
	}
	of := func(which bool) sharing {
		out := make([]Response, n)
		for i, r := range responses {
			out[i] = LeftOut
			if group[i] == which {
				out[i] = r
			}
		}
		return shareAmong(out, patient, level, LeftOut)
	}
	a, b := of(true), of(false)
	e := Estimate{Level: level, N: a.estimate.N + b.estimate.N, State: firstTrouble(a.estimate.State, b.estimate.State)}
	if !e.OK() {
		return e, nil
	}
	r, patients := shareCorrelation(a, b, patient, n)
	e.Patients = patients
	return e.hybrid(a.estimate, b.estimate, r), nil
}

// hybrid fills a difference of two shares from their limits and their correlation.
func (e Estimate) hybrid(a, b Estimate, r float64) Estimate {
	e.Value = a.Value - b.Value
	e.SE = math.Sqrt(max(0, float64(a.SE*a.SE)+float64(b.SE*b.SE)-float64(2*r*a.SE*b.SE)))
	reach := func(x, y float64) float64 {
		return math.Sqrt(max(0, float64(x*x)-float64(2*r*x*y)+float64(y*y)))
	}
	e.Lower = max(-1, e.Value-reach(a.Value-a.Lower, b.Upper-b.Value))
	e.Upper = min(1, e.Value+reach(a.Upper-a.Value, b.Value-b.Lower))
	return e
}

// shareCorrelation is the correlation of two shares through patients with rows in both.
func shareCorrelation(a, b sharing, patient []int32, n int) (r float64, patients int) {
	u, v := make([]float64, n), make([]float64, n)
	var used []int32
	for k, i := range a.rows {
		u[i] = a.influence[k]
		used = append(used, i)
	}
	for k, i := range b.rows {
		v[i] = b.influence[k]
		used = append(used, i)
	}
	p := peopleOf(pick(patient, used), len(used))
	u, v = pick(u, used), pick(v, used)
	if !p.clustered() {
		return 0, 0
	}
	scale := math.Sqrt(p.squares(u) * p.squares(v))
	if !(scale > 0) {
		return 0, p.patients()
	}
	return max(-1, min(1, p.products(u, v)/scale)), p.patients()
}

// PairedTable counts patients with two sides by the responses of both.
type PairedTable struct {
	Both, OnlyFirst, OnlySecond, Neither int64
}

// PairsOf counts pairs of responses; pairs in which a side has no response, or is left out, are counted apart.
func PairsOf(first, second []Response) (t PairedTable, incomplete int64, err error) {
	if err := checkLength("second", len(second), len(first)); err != nil {
		return t, 0, err
	}
	for i, a := range first {
		switch b := second[i]; {
		case a == Reached && b == Reached:
			t.Both++
		case a == Reached && b == NotReached:
			t.OnlyFirst++
		case a == NotReached && b == Reached:
			t.OnlySecond++
		case a == NotReached && b == NotReached:
			t.Neither++
		default:
			incomplete++
		}
	}
	return t, incomplete, nil
}

// PairedShares is the shares of two sides of the same patients.
type PairedShares struct {
	PairedTable
	First, Second describe.Proportion
	Difference    Estimate // first minus second
	// Exact is McNemar's exact test; MidP the two-sided probability that counts what was observed for half.
	Exact describe.Test
	MidP  float64
	// Correlation of the two sides (phi); 0 where a side does not vary.
	Correlation float64
}

// CompareSides compares the shares of responders on two sides of the same patients. The interval of the difference is Newcombe's for pairs, with his
// correction of a positive correlation.
//
// Sources: method 10 of Newcombe, Stat. Med. 17 (1998) 2635–2650; the tests McNemar, Psychometrika 12 (1947) 153–157, exact and with mid-P as in
// Fagerland, Lydersen & Laake, BMC Med. Res. Methodol. 13 (2013) 91.
func CompareSides(t PairedTable, level float64) (PairedShares, error) {
	if err := checkLevel(level); err != nil {
		return PairedShares{}, err
	}
	if min(t.Both, t.OnlyFirst, t.OnlySecond, t.Neither) < 0 {
		return PairedShares{}, fmt.Errorf("the table of pairs %+v has a count below 0", t)
	}
	n := t.Both + t.OnlyFirst + t.OnlySecond + t.Neither
	s := PairedShares{PairedTable: t}
	s.First, s.Second = describe.Wilson(t.Both+t.OnlyFirst, n, level), describe.Wilson(t.Both+t.OnlySecond, n, level)
	s.Difference = Estimate{Level: level, N: int(n)}
	if s.First.Status != describe.Estimated || s.Second.Status != describe.Estimated {
		s.Difference.State = state(NoRows, "no patient has a response on both sides")
		s.Exact.Status = describe.NoRows
		return s, nil
	}
	of := func(p describe.Proportion) Estimate {
		return Estimate{Value: p.Value, Lower: p.Lower, Upper: p.Upper}
	}
	s.Difference = s.Difference.hybrid(of(s.First), of(s.Second), t.newcombeCorrelation(n))
	d := float64(t.OnlyFirst - t.OnlySecond)
	s.Difference.SE = math.Sqrt(max(0, float64(t.OnlyFirst+t.OnlySecond)-d*d/float64(n))) / float64(n)
	s.Correlation = t.correlation(0)
	s.Exact = describe.PairedShares(t.OnlyFirst, t.OnlySecond)
	if s.Exact.Status == describe.Estimated {
		s.MidP = midP(t.OnlyFirst, t.OnlySecond)
	}
	return s, nil
}

// correlation is phi, with a correction taken off the difference of the products of the table.
func (t PairedTable) correlation(correction float64) float64 {
	a, b, c, d := float64(t.Both), float64(t.OnlyFirst), float64(t.OnlySecond), float64(t.Neither)
	margins := (a + b) * (c + d) * (a + c) * (b + d)
	if margins == 0 {
		return 0
	}
	return (float64(a*d) - float64(b*c) - correction) / math.Sqrt(margins)
}

// newcombeCorrelation takes n/2 off a positive difference of products, but not past 0.
func (t PairedTable) newcombeCorrelation(n int64) float64 {
	product := t.Both*t.Neither - t.OnlyFirst*t.OnlySecond
	if product <= 0 {
		return t.correlation(0)
	}
	return max(0, t.correlation(float64(n)/2))
}

// midP is the exact two-sided probability less that of what was observed.
func midP(first, second int64) float64 {
	n, most := first+second, max(first, second)
	return min(1, 2*dist.BinomialUpper(most, n, 0.5, true))
}
