package survival

import (
	"fmt"
	"math"
)

// Weighting says how much each time counts in a test that compares groups: equally, or more
// early or late. The zero value is Equal.
type Weighting struct {
	name       string
	rho, gamma float64
}

// The weightings, with w(t) the weight of a time, n the number at risk in all groups, S the
// product-limit of all groups together just before t.
var (
	// Equal is w = 1: the log-rank test (Mantel 1966; Peto & Peto 1972).
	Equal = Weighting{}
	// GehanBreslow is w = n (Gehan 1965; Breslow 1970). It depends on the censoring.
	GehanBreslow = Weighting{name: "Gehan–Breslow"}
	// TaroneWare is w = √n (Tarone & Ware 1977).
	TaroneWare = Weighting{name: "Tarone–Ware"}
	// PetoPrentice is w = Π (1 − d/(n+1)) up to and including t (Peto & Peto 1972; Prentice 1978).
	PetoPrentice = Weighting{name: "Peto–Prentice"}
)

// FlemingHarrington returns the weighting w = S^rho (1−S)^gamma: (1, 0) favours early
// differences, (0, 1) late ones. Neither power may be negative.
//
// Source: Harrington & Fleming, Biometrika 69 (1982) 553–566.
func FlemingHarrington(rho, gamma float64) (Weighting, error) {
	if !(rho >= 0 && gamma >= 0) || math.IsInf(rho+gamma, 0) {
		return Weighting{}, fmt.Errorf("powers %v and %v of a Fleming–Harrington weighting, want 0 or more", rho, gamma)
	}
	if rho == 0 && gamma == 0 {
		return Equal, nil
	}
	return Weighting{name: "Fleming–Harrington", rho: rho, gamma: gamma}, nil
}

// String returns the name of the weighting as a footnote gives it.
func (w Weighting) String() string {
	switch w.name {
	case "":
		return "log-rank"
	case "Fleming–Harrington":
		return fmt.Sprintf("Fleming–Harrington (%v, %v)", w.rho, w.gamma)
	}
	return w.name
}

// weigher carries what the weights need along the times.
type weigher struct {
	Weighting
	s, peto float64
}

// next returns the weight of a time with d events among n at risk and moves past it.
func (w *weigher) next(n, d float64) float64 {
	before := w.s
	w.s *= 1 - d/n
	w.peto *= 1 - d/(n+1)
	switch w.name {
	case "Gehan–Breslow":
		return n
	case "Tarone–Ware":
		return math.Sqrt(n)
	case "Peto–Prentice":
		return w.peto
	case "Fleming–Harrington":
		return float64(math.Pow(before, w.rho) * math.Pow(1-before, w.gamma))
	}
	return 1
}
