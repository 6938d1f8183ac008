package numeric

import "math"

// Sum adds numbers with Neumaier's compensation: the error does not grow with the number
// of terms. The zero value is an empty sum.
//
// Source: Neumaier, Z. angew. Math. Mech. 54 (1974) 39–51, algorithm IV.
type Sum struct{ total, lost float64 }

// Add adds x.
func (s *Sum) Add(x float64) {
	t := s.total + x
	if math.Abs(s.total) >= math.Abs(x) {
		s.lost += (s.total - t) + x
	} else {
		s.lost += (x - t) + s.total
	}
	s.total = t
}

// Value returns the sum of the numbers added so far.
func (s *Sum) Value() float64 { return s.total + s.lost }

// Less returns the difference from another sum, without rounding either first.
func (s *Sum) Less(other *Sum) float64 { return (s.total - other.total) + (s.lost - other.lost) }
