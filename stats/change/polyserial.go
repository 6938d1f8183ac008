package change

import (
	"math"
	"slices"

	"deltoid/stats/describe"
	"deltoid/stats/dist"
	"deltoid/stats/numeric"
)

// polyserial returns the correlation of x with the normal variable that is supposed to stand behind ordered categories, by the
// two-step method: cut points from the margins, then the correlation of the largest likelihood. The standard error
// counts that mean, spread and cut points are estimated too, and sums over patients; the interval is on Fisher's scale.
//
// Source: Olsson, Drasgow & Dorans, Psychometrika 47 (1982) 337–347, section 3; the standard error is that of stacked
// estimating equations (Stefanski & Boos, Am. Stat. 56 (2002) 29–38).
func polyserial(x []float64, category []int32, p people, level float64) Estimate {
	e := Estimate{N: len(x), Patients: p.patients(), Level: level}
	m := describe.MomentsOf(x)
	if len(x) < 4 || !(m.SD > 0) {
		e.State = state(NoSpread, "the scores of %d rows do not vary enough", len(x))
		return e
	}
	s := newSerial(x, category)
	r, ok := s.root()
	if !ok {
		e.State = state(NotFitted, "the scores tell the answers apart without fail, so the correlation has no largest likelihood below 1")
		return e
	}
	e.Value = r
	e.SE = math.Sqrt(p.squares(s.influence(r)))
	half := float64(dist.NormalSpread(level)*e.SE) / (1 - float64(r*r))
	e.Lower, e.Upper = math.Tanh(math.Atanh(r)-half), math.Tanh(math.Atanh(r)+half)
	return e
}

// serial is the likelihood of ordered categories given a normal score.
type serial struct {
	x      []float64
	k      []int     // category of each row, from 0
	below  []float64 // share at or below each category but the last
	mean   float64
	sd     float64 // with n, as the likelihood has it
	cut    []float64
	scores []float64
}

func newSerial(x []float64, category []int32) *serial {
	kinds := slices.Compact(slices.Sorted(slices.Values(category)))
	s := &serial{x: x, k: make([]int, len(x)), scores: make([]float64, len(x))}
	count := make([]float64, len(kinds))
	for i, c := range category {
		s.k[i], _ = slices.BinarySearch(kinds, c)
		count[s.k[i]]++
	}
	sum := 0.0
	for _, c := range count[:len(kinds)-1] {
		sum += c
		s.below = append(s.below, sum/float64(len(x)))
		s.cut = append(s.cut, dist.NormalQuantile(sum/float64(len(x))))
	}
	s.mean = mean(x)
	var squares numeric.Sum
	for _, v := range x {
		squares.Add(float64((v - s.mean) * (v - s.mean)))
	}
	s.sd = math.Sqrt(squares.Value() / float64(len(x)))
	return s
}

// slope returns the derivative of the log-likelihood by the correlation, and keeps each row's part. With a = (τ − ρz)/√(1−ρ²) at
// both ends of the row's category, it is Σ (φ(a)(ρτ − z))|ₗᵘ / ((Φ(aᵤ) − Φ(aₗ)) (1−ρ²)^{3/2}).
func (s *serial) slope(r, centre, sd float64, cut []float64) float64 {
	var total numeric.Sum
	root := math.Sqrt(1 - float64(r*r))
	for i, v := range s.x {
		z := (v - centre) / sd
		at := func(j int) (a, d float64) {
			return (cut[j] - float64(r*z)) / root, float64(r*cut[j]) - z
		}
		lower, upper, dl, du := math.Inf(-1), math.Inf(1), 0.0, 0.0
		if s.k[i] > 0 {
			lower, dl = at(s.k[i] - 1)
		}
		if s.k[i] < len(cut) {
			upper, du = at(s.k[i])
		}
		s.scores[i] = perProbability(lower, upper, dl, du) / float64(root*root*root)
		total.Add(s.scores[i])
	}
	return total.Value()
}

// perProbability returns (φ(u)dᵤ − φ(l)dₗ)/(Φ(u) − Φ(l)); far out, where both run to 0, by Φ(a) ≈ φ(a)/|a| at the nearer bound.
func perProbability(lower, upper, dl, du float64) float64 {
	const far = 30
	switch {
	case lower > far:
		return -dl * lower
	case upper < -far:
		return du * -upper
	}
	return (float64(normalDensity(upper)*du) - float64(normalDensity(lower)*dl)) / between(lower, upper)
}

// between is the probability of a normal variable between two bounds, from the tail that keeps its digits.
func between(lower, upper float64) float64 {
	if lower > 0 {
		return dist.NormalUpper(lower) - dist.NormalUpper(upper)
	}
	return dist.NormalLower(upper) - dist.NormalLower(lower)
}

func normalDensity(x float64) float64 { return math.Exp(-float64(x*x)/2) / math.Sqrt(2*math.Pi) }

// root returns the correlation at which the slope is 0; there is none when the likelihood rises to the end. After a few halvings it goes by false
// position, the end that stays counting for half (the Illinois rule).
func (s *serial) root() (float64, bool) {
	f := func(r float64) float64 { return s.slope(r, s.mean, s.sd, s.cut) }
	lower, upper := -0.999, 0.999
	atLower, atUpper := f(lower), f(upper)
	if !(atLower > 0 && atUpper < 0) {
		return 0, false
	}
	for range 100 {
		next := (lower + upper) / 2
		if upper-lower < 0.1 {
			next = (float64(lower*atUpper) - float64(upper*atLower)) / (atUpper - atLower)
		}
		at := f(next)
		if math.Abs(at) <= 1e-9 || upper-lower <= 1e-13 {
			return next, true
		}
		if at > 0 {
			lower, atLower, atUpper = next, at, atUpper/2
		} else {
			upper, atUpper, atLower = next, at, atLower/2
		}
	}
	return (lower + upper) / 2, true
}

// influence returns what each row contributes to the error of the correlation.
func (s *serial) influence(r float64) []float64 {
	const h = 1e-5
	n := float64(len(s.x))
	curve := -(s.slope(r+h, s.mean, s.sd, s.cut) - s.slope(r-h, s.mean, s.sd, s.cut)) / (2 * h)
	step := h * s.sd
	byMean := (s.slope(r, s.mean+step, s.sd, s.cut) - s.slope(r, s.mean-step, s.sd, s.cut)) / (2 * step)
	bySD := (s.slope(r, s.mean, s.sd+step, s.cut) - s.slope(r, s.mean, s.sd-step, s.cut)) / (2 * step)
	byCut := make([]float64, len(s.cut))
	for j := range s.cut {
		moved := func(by float64) []float64 { c := slices.Clone(s.cut); c[j] += by; return c }
		byCut[j] = (s.slope(r, s.mean, s.sd, moved(h)) - s.slope(r, s.mean, s.sd, moved(-h))) / (2 * h)
	}
	s.slope(r, s.mean, s.sd, s.cut)
	out := make([]float64, len(s.x))
	for i, v := range s.x {
		d := v - s.mean
		u := s.scores[i] + float64(byMean*d)/n + float64(bySD*(float64(d*d)-float64(s.sd*s.sd)))/(2*s.sd*n)
		for j, t := range s.cut {
			hit := -s.below[j]
			if s.k[i] <= j {
				hit++
			}
			u += float64(byCut[j]*hit) / (n * normalDensity(t))
		}
		out[i] = u / curve
	}
	return out
}
