package mixed

import (
	"fmt"
	"math"
	"slices"

	"deltoid/stats/dist"
)

// Criteria compare models with the same scores; the smaller, the better. Under the restricted likelihood only models with the same columns
// can be compared.
type Criteria struct {
	// Parameters counts those of the covariance that are not on a boundary, and under the full likelihood the coefficients too.
	Parameters int
	// Akaike is −2ℓ + 2 Parameters, Bayes −2ℓ + log(units) Parameters, with Units the independent ones: patients where a patient has
	// a part of his own, or else shoulders.
	Akaike, Bayes float64
	Units         int
}

// Criteria returns the criteria of a model that converged, and zeros for any other.
//
// Sources: Akaike, IEEE Trans. Autom. Control 19 (1974) 716–723; Schwarz, Ann. Stat. 6 (1978) 461–464. What to count for
// the sample is common practice in two ways; the independent units are the smaller count.
func (f *Fit) Criteria() (c Criteria) {
	if f.Status != Converged {
		return c
	}
	for _, p := range f.Parameters {
		if !p.Boundary {
			c.Parameters++
		}
	}
	if f.Options.Likelihood {
		c.Parameters += len(f.Coefficient)
	}
	c.Units = f.Subjects
	if f.Options.PatientIntercept {
		c.Units = f.Patients
	}
	c.Akaike = float64(-2*f.LogLikelihood) + float64(2*c.Parameters)
	c.Bayes = float64(-2*f.LogLikelihood) + float64(math.Log(float64(c.Units))*float64(c.Parameters))
	return c
}

// Comparison is the likelihood-ratio test of a covariance against one that it contains.
type Comparison struct {
	Status    Status
	Reason    string
	ChiSquare float64
	DF        int
	P         float64
	// Mixture says that the smaller model has a variance of 0 in the larger one's terms, so that the statistic is half the time that
	// of one degree of freedom fewer, and P is the mean of both.
	Mixture bool
}

// Compare tests the covariance of f against a smaller one fitted to the same scores with the same columns. The error says why two
// models cannot be compared.
//
// Sources: Self & Liang, J. Am. Stat. Assoc. 82 (1987) 605–610; Stram & Lee, Biometrics 50 (1994) 1171–1177. Where more than one
// variance is 0 in the smaller model, P is that of all degrees of freedom, which is on the safe side.
func (f *Fit) Compare(smaller *Fit) (Comparison, error) {
	if f.Rows != smaller.Rows || f.Subjects != smaller.Subjects || !slices.Equal(f.Names, smaller.Names) || f.Options.Likelihood != smaller.Options.Likelihood {
		return Comparison{}, fmt.Errorf("only models of the same scores with the same columns and likelihood can be compared by their covariances")
	}
	edges, ok := contains(f.Options, smaller.Options)
	if !ok {
		return Comparison{}, fmt.Errorf("a covariance that is %s is no special case of one that is %s; compare them by a criterion", smaller.Options.Name(), f.Options.Name())
	}
	for _, g := range []*Fit{f, smaller} {
		if g.Status != Converged {
			return Comparison{Status: g.Status, Reason: g.Reason}, nil
		}
	}
	c := Comparison{DF: f.structure.size - smaller.structure.size, Mixture: edges == 1}
	c.ChiSquare = math.Max(0, 2*(f.LogLikelihood-smaller.LogLikelihood))
	c.P = dist.ChiSquareUpper(c.ChiSquare, c.DF)
	switch {
	case c.Mixture && c.DF > 1:
		c.P = (c.P + dist.ChiSquareUpper(c.ChiSquare, c.DF-1)) / 2
	case c.Mixture && c.ChiSquare > 0:
		c.P /= 2
	}
	return c, nil
}

// contains reports whether the larger covariance has the smaller as a special case, with how many variances 0.
func contains(larger, smaller Options) (edges int, ok bool) {
	if smaller.PatientIntercept && !larger.PatientIntercept || larger == smaller {
		return 0, false
	}
	edges = int(one(larger.PatientIntercept && !smaller.PatientIntercept))
	l, s := larger.Covariance, smaller.Covariance
	own := int(one(larger.SubjectIntercept && !smaller.SubjectIntercept)) + int(one(larger.SubjectSlope && !smaller.SubjectSlope))
	lost := smaller.SubjectIntercept && !larger.SubjectIntercept || smaller.SubjectSlope && !larger.SubjectSlope
	switch {
	case l == s:
		return edges + own, !lost && edges+own > 0
	case l == Unstructured:
		return edges, !smaller.SubjectSlope && (s != SpatialPower)
	case s == Independent && l == CompoundSymmetric:
		return edges, !smaller.SubjectIntercept
	case s == Independent && l == SpatialPower:
		return edges + own + 1, !lost
	case s == Independent && l == Autoregressive:
		return edges + own, !lost
	}
	return 0, false
}
