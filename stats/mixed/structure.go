package mixed

import (
	"fmt"
	"math"
)

// structure is the covariance of a block as a function of natural parameters θ: variances and covariances, in which it is linear,
// and correlations. They stand in the order within the shoulder, part of the shoulder, part of the patient.
type structure struct {
	options Options
	visits  []string
	residual,
	subject, // place of the first parameter of the shoulder's own part
	patient, // of the patient's
	size int
}

func newStructure(o Options, visits []string) *structure {
	s := &structure{options: o, visits: visits}
	switch k := len(visits); o.Covariance {
	case Unstructured:
		s.residual = k * (k + 1) / 2
	case Independent:
		s.residual = 1
	default:
		s.residual = 2
	}
	s.subject = s.residual
	s.patient = s.subject
	if o.SubjectSlope {
		s.patient += 3
	} else if o.SubjectIntercept {
		s.patient++
	}
	s.size = s.patient
	if o.PatientIntercept {
		s.size++
	}
	return s
}

// pair returns the place of the covariance of visits a and b.
func pair(a, b int32) int {
	if a < b {
		a, b = b, a
	}
	return int(a*(a+1)/2 + b)
}

// names returns what the parameters are called.
func (s *structure) names() (names []string) {
	switch s.options.Covariance {
	case Unstructured:
		for a := range s.visits {
			for b := range a {
				names = append(names, fmt.Sprintf("covariance of %s and %s", s.visits[b], s.visits[a]))
			}
			names = append(names, "variance at "+s.visits[a])
		}
	case CompoundSymmetric:
		names = append(names, "covariance between visits", "variance within shoulders")
	case Autoregressive:
		names = append(names, "variance within shoulders", "correlation of neighbouring visits")
	case SpatialPower:
		names = append(names, "variance within shoulders", "correlation at a distance of 1")
	case Independent:
		names = append(names, "variance within shoulders")
	}
	if s.options.SubjectIntercept {
		names = append(names, "variance of the shoulders' intercepts")
	}
	if s.options.SubjectSlope {
		names = append(names, "covariance of the shoulders' intercepts and slopes", "variance of the shoulders' slopes")
	}
	if s.options.PatientIntercept {
		names = append(names, "variance between patients")
	}
	return names
}

// isCorrelation reports whether parameter k has no unit.
func (s *structure) isCorrelation(k int) bool {
	return k == 1 && (s.options.Covariance == Autoregressive || s.options.Covariance == SpatialPower)
}

// inside reports whether the parameters within the shoulder can be those of a covariance, as far as that does not take a look at
// its matrix.
func (s *structure) inside(theta []float64) bool {
	switch s.options.Covariance {
	case CompoundSymmetric:
		return theta[1] > 0
	case Autoregressive:
		return theta[0] > 0 && math.Abs(theta[1]) < 1
	case SpatialPower:
		return theta[0] > 0 && theta[1] > 0 && theta[1] < 1
	case Independent:
		return theta[0] > 0
	}
	return true
}

// distance is what the correlation is raised to.
func (s *structure) distance(p *pattern, a, b int) float64 {
	if s.options.Covariance == SpatialPower {
		return math.Abs(p.time[a] - p.time[b])
	}
	return math.Abs(float64(p.visit[a] - p.visit[b]))
}

// covariance writes V, the k × k covariance of a block of pattern p, to v.
func (s *structure) covariance(p *pattern, theta, v []float64) {
	k := p.size()
	for a := range k {
		for b := range a + 1 {
			x := s.entry(p, a, b, theta)
			v[a*k+b], v[b*k+a] = x, x
		}
	}
}

func (s *structure) entry(p *pattern, a, b int, theta []float64) float64 {
	x := 0.0
	if s.options.PatientIntercept {
		x = theta[s.patient]
	}
	if p.subject[a] != p.subject[b] {
		return x
	}
	if s.options.SubjectIntercept {
		x += theta[s.subject]
	}
	if s.options.SubjectSlope {
		x += float64(theta[s.subject+1]*(p.time[a]+p.time[b])) + float64(theta[s.subject+2]*p.time[a]*p.time[b])
	}
	return x + s.within(p, a, b, theta)
}

func (s *structure) within(p *pattern, a, b int, theta []float64) float64 {
	switch s.options.Covariance {
	case Unstructured:
		return theta[pair(p.visit[a], p.visit[b])]
	case CompoundSymmetric:
		if a == b {
			return theta[0] + theta[1]
		}
		return theta[0]
	case Independent:
		if a == b {
			return theta[0]
		}
		return 0
	}
	return theta[0] * math.Pow(theta[1], s.distance(p, a, b))
}

// derivative writes ∂V/∂θ_i to v.
func (s *structure) derivative(p *pattern, theta []float64, i int, v []float64) {
	k := p.size()
	for a := range k {
		for b := range a + 1 {
			x := s.slope(p, a, b, theta, i)
			v[a*k+b], v[b*k+a] = x, x
		}
	}
}

func (s *structure) slope(p *pattern, a, b int, theta []float64, i int) float64 {
	same := p.subject[a] == p.subject[b]
	switch {
	case i >= s.patient:
		return 1
	case !same:
		return 0
	case i >= s.subject:
		return [3]float64{1, p.time[a] + p.time[b], p.time[a] * p.time[b]}[i-s.subject]
	}
	switch s.options.Covariance {
	case Unstructured:
		return one(pair(p.visit[a], p.visit[b]) == i)
	case CompoundSymmetric:
		return one(i == 0 || a == b)
	case Independent:
		return one(a == b)
	}
	d := s.distance(p, a, b)
	if i == 0 {
		return math.Pow(theta[1], d)
	}
	return theta[0] * powerSlope(theta[1], d)
}

func one(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

// powerSlope is the derivative of r^d.
func powerSlope(r, d float64) float64 {
	if d == 0 {
		return 0
	}
	return d * math.Pow(r, d-1)
}

// curved reports whether V has second derivatives by θ_i and θ_j.
func (s *structure) curved(i, j int) bool { return s.isCorrelation(max(i, j)) && min(i, j) >= 0 }

// bend writes ∂²V/∂θ_i∂θ_j to v, for a pair that is curved.
func (s *structure) bend(p *pattern, theta []float64, i, j int, v []float64) {
	k := p.size()
	for a := range k {
		for b := range a + 1 {
			x := 0.0
			if p.subject[a] == p.subject[b] {
				d := s.distance(p, a, b)
				switch {
				case i != j:
					x = powerSlope(theta[1], d)
				case d != 0 && d != 1:
					x = theta[0] * d * (d - 1) * math.Pow(theta[1], d-2)
				}
			}
			v[a*k+b], v[b*k+a] = x, x
		}
	}
}
