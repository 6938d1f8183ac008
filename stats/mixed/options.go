package mixed

import "fmt"

// Structure is the form of the covariance of one shoulder's scores over visits.
type Structure uint8

// The structures. K is the number of visits.
const (
	// Unstructured: every visit has its variance and every pair its covariance; K(K+1)/2 parameters.
	Unstructured Structure = iota
	// CompoundSymmetric: one variance and one covariance, b + w and b; the covariance may be negative. 2 parameters.
	CompoundSymmetric
	// Autoregressive: σ² ρ^|j−k| for the jth and kth of all visits, in their order whatever the time between, −1 < ρ < 1. 2 parameters.
	Autoregressive
	// SpatialPower: σ² ρ^|s−t| for scores at times s and t, 0 < ρ < 1. 2 parameters.
	SpatialPower
	// Independent: σ² and no covariance, beside a part of the shoulder's own. 1 parameter.
	Independent
)

var structureText = [...]string{Unstructured: "unstructured", CompoundSymmetric: "compound symmetric", Autoregressive: "first-order autoregressive",
	SpatialPower: "spatial power", Independent: "independent"}

// String returns the structure in the trade's words.
func (s Structure) String() string {
	if int(s) < len(structureText) {
		return structureText[s]
	}
	return "unknown structure"
}

// Degrees is the method for the degrees of freedom of tests and intervals.
type Degrees uint8

// The methods.
const (
	// KenwardRoger takes the uncertainty of the covariance into the standard errors as well as into the degrees of freedom, with the
	// expected information. It goes with REML.
	//
	// Source: Kenward & Roger, Biometrics 53 (1997) 983–997.
	KenwardRoger Degrees = iota
	// Satterthwaite matches two moments of the variance of a contrast, with the observed information, which remains valid where
	// scores are missing at random; tests of several contrasts after Fai and Cornelius.
	//
	// Sources: Satterthwaite, Biometrics Bulletin 2 (1946) 110–114; Fai & Cornelius, J. Stat. Comput. Simul. 54 (1996) 363–378.
	Satterthwaite
)

var degreesText = [...]string{KenwardRoger: "Kenward–Roger", Satterthwaite: "Satterthwaite"}

// String returns the name of the method.
func (d Degrees) String() string {
	if int(d) < len(degreesText) {
		return degreesText[d]
	}
	return "unknown method"
}

// Options are the choices of a model; the zero value is the usual one: unstructured, REML, Kenward–Roger.
type Options struct {
	Covariance Structure
	// PatientIntercept gives a patient a part of his own in all his shoulders' scores; it needs patients with more than one.
	PatientIntercept bool
	// SubjectIntercept and SubjectSlope give a shoulder an intercept, and a slope over time that may go along with it; a slope
	// comes with an intercept. They go with Independent, Autoregressive and SpatialPower.
	SubjectIntercept, SubjectSlope bool
	// Likelihood asks for the largest likelihood (ML) in place of the restricted one; it goes with Satterthwaite.
	Likelihood bool
	Degrees    Degrees
	// Steps of Newton's method at most; 0 is 100.
	Steps int
}

func (o Options) check() error {
	switch {
	case int(o.Covariance) >= len(structureText):
		return fmt.Errorf("the covariance is number %d, want %d at most", o.Covariance, len(structureText)-1)
	case int(o.Degrees) >= len(degreesText):
		return fmt.Errorf("the method for degrees of freedom is number %d, want %d at most", o.Degrees, len(degreesText)-1)
	case o.SubjectSlope && !o.SubjectIntercept:
		return fmt.Errorf("a slope of each shoulder comes with an intercept: ask for both")
	case o.SubjectIntercept && (o.Covariance == Unstructured || o.Covariance == CompoundSymmetric):
		return fmt.Errorf("an intercept of each shoulder cannot be told from a covariance that is %v: leave it out, or take independent, "+
			"autoregressive or spatial power", o.Covariance)
	case o.Likelihood && o.Degrees == KenwardRoger:
		return fmt.Errorf("the degrees of freedom of Kenward and Roger are made for the restricted likelihood: ask for Satterthwaite with ML, or for REML")
	}
	return nil
}

// Name describes the covariance in words for a footnote.
func (o Options) Name() string {
	name := o.Covariance.String()
	if o.SubjectSlope {
		name += ", with intercept and slope of each shoulder"
	} else if o.SubjectIntercept {
		name += ", with an intercept of each shoulder"
	}
	if o.PatientIntercept {
		name += ", with an intercept of each patient"
	}
	return name
}
