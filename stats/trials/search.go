package trials

import (
	"fmt"
	"math"

	"deltoid/stats/dist"
)

// CurvePoint is the result of one study of a curve.
type CurvePoint struct {
	X float64
	*Result
}

// Curve simulates a study for each x: sizes, hazard ratios, days of accrual. All share their
// random numbers, so that the curve is smoother than its points are certain.
func Curve(x []float64, at func(x float64) Source, test Test, o Options) ([]CurvePoint, error) {
	var out []CurvePoint
	for _, value := range x {
		r, err := Simulate(at(value), test, o)
		if err != nil {
			return nil, err
		}
		out = append(out, CurvePoint{value, r})
	}
	return out, nil
}

// Verdicts of a search.
const (
	// Found: the study has the power asked for.
	Found SearchStatus = iota
	// NeverEnough: even at the far end of the range the power is not reached; Result is of that end.
	NeverEnough
	// AlwaysEnough: the power is reached at the near end of the range already; Result is of that end.
	AlwaysEnough
)

// SearchStatus says how a search ended.
type SearchStatus uint8

var searchText = [...]string{Found: "found", NeverEnough: "power not reached in the range", AlwaysEnough: "power reached at the start of the range"}

// String returns the status in plain words.
func (s SearchStatus) String() string {
	if int(s) < len(searchText) {
		return searchText[s]
	}
	return "unknown status"
}

// Solution is a size or an effect at which a study has the power asked for.
type Solution struct {
	Status SearchStatus
	X      float64
	// Lower and Upper are where a study with the power asked for may lie, given the Monte-Carlo error of the
	// power at X (twice it to either side).
	Lower, Upper float64
	Result       *Result // at X
	Tried        int     // studies that were simulated
}

// SizeFor finds the smallest number of patients, from low to high, at which a study has the power:
// to a patient up to 800, to a four-hundredth of the size beyond, which is less than the Monte-Carlo
// error leaves open. All sizes share their random numbers.
func SizeFor(power float64, low, high int, at func(patients int) Source, test Test, o Options) (*Solution, error) {
	if low < 2 || high <= low || high > mostPatients {
		return nil, impossible("range of sizes", fmt.Sprintf("%d to %d", low, high), fmt.Sprintf("rising, from 2 up to %d", mostPatients), "")
	}
	s := &search{power: power, test: test, Options: o, at: func(x float64) Source { return at(int(x)) }}
	for _, n := range []int{low, high} {
		if d, ok := at(n).(*Design); ok && d.same() && test.Margin == 0 {
			return nil, impossible("effect", "none", "arms that differ", "without an effect the power is the level, whatever the size")
		}
	}
	double := func(n float64) float64 { return min(2*n, float64(high)) }
	out, err := s.run(float64(low), float64(high), double, func(low, high float64) (float64, bool) {
		return math.Floor(low + (high-low)/2), high-low > max(1, low/400)
	})
	if err != nil || out.Status != Found {
		return out, err
	}
	// The power is Φ(k √n − z) as far as a normal test goes, so that an error of the power is one of n.
	out.spread(o, 2*out.X)
	out.Lower, out.Upper = math.Floor(out.Lower), math.Ceil(out.Upper)
	return out, nil
}

// RatioFor finds the hazard ratio closest to 1 at which a study has the power, from near, close to
// 1, to far, both on one side of it: the smallest effect that can be detected. To a hundredth of its
// logarithm, which is less than the Monte-Carlo error leaves open.
func RatioFor(power, near, far float64, at func(ratio float64) Source, test Test, o Options) (*Solution, error) {
	if !(near > 0 && far > 0) || near == 1 || (near < 1) != (far < near) || far == near || math.IsInf(far, 0) {
		return nil, impossible("range of hazard ratios", fmt.Sprintf("%v to %v", near, far), "from close to 1 to farther away, on one side of it", "for example 0.95 to 0.2")
	}
	s := &search{power: power, test: test, Options: o, at: func(x float64) Source { return at(math.Exp(x)) }}
	whole := func(float64) float64 { return math.Log(far) }
	out, err := s.run(math.Log(near), math.Log(far), whole, func(a, b float64) (float64, bool) {
		return a + (b-a)/2, math.Abs(b-a) > 0.01*math.Abs(b)
	})
	if err != nil {
		return nil, err
	}
	if out.Status == Found {
		out.spread(o, out.X)
	} else {
		out.Lower, out.Upper = out.X, out.X
	}
	out.X, out.Lower, out.Upper = math.Exp(out.X), math.Exp(out.Lower), math.Exp(out.Upper)
	if out.Lower > out.Upper {
		out.Lower, out.Upper = out.Upper, out.Lower
	}
	return out, nil
}

// same says that the arms do not differ in anything that is studied.
func (d *Design) same() bool {
	for a := range d.Arms {
		if fmt.Sprint(d.Arms[a].Event) != fmt.Sprint(d.Arms[0].Event) {
			return false
		}
		if d.Scores != nil && len(d.Scores.Mean) > a && fmt.Sprint(d.Scores.Mean[a]) != fmt.Sprint(d.Scores.Mean[0]) {
			return false
		}
	}
	return true
}

type search struct {
	Options
	power float64
	at    func(x float64) Source
	test  Test
	tried int
}

func (s *search) try(x float64) (*Result, error) {
	s.tried++
	return Simulate(s.at(x), s.test, s.Options)
}

// run goes from the near end of the range by steps of grow until a study has the power, and then
// halves what lies between the last two until middle says that it is small enough.
func (s *search) run(near, far float64, grow func(x float64) float64, middle func(without, with float64) (float64, bool)) (*Solution, error) {
	o, err := s.Options.normal()
	if err = first(err, checkPower(s.power, o.Level)); err != nil {
		return nil, err
	}
	without, with := near, near
	best, err := s.try(near)
	if err != nil || best.Power.Value >= s.power {
		return s.end(AlwaysEnough, near, best), err
	}
	for best.Power.Value < s.power {
		if with == far {
			return s.end(NeverEnough, far, best), nil
		}
		without, with = with, grow(with)
		if best, err = s.try(with); err != nil {
			return nil, err
		}
	}
	return s.halve(without, with, best, middle)
}

func (s *search) halve(without, with float64, best *Result, middle func(without, with float64) (float64, bool)) (*Solution, error) {
	for {
		x, more := middle(without, with)
		if !more {
			return s.end(Found, with, best), nil
		}
		r, err := s.try(x)
		switch {
		case err != nil:
			return nil, err
		case r.Power.Value >= s.power:
			with, best = x, r
		default:
			without = x
		}
	}
}

func (s *search) end(status SearchStatus, x float64, r *Result) *Solution {
	return &Solution{Status: status, X: x, Lower: x, Upper: x, Result: r, Tried: s.tried}
}

// spread works out the limits of X from the error of the power, where the power is Φ(y − z), z the
// quantile of the level, and dX/dy is scale/y.
func (s *Solution) spread(o Options, scale float64) {
	z := -dist.NormalQuantile(o.Level / float64(o.Sides))
	at := dist.NormalQuantile(min(s.Result.Power.Value, 1-1e-6))
	slope := math.Exp(-at*at/2) / math.Sqrt(2*math.Pi)
	width := 2 * s.Result.Power.Error / slope * math.Abs(scale) / (at + z)
	s.Lower, s.Upper = s.X-width, s.X+width
}
