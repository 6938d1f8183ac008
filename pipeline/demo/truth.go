package demo

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"deltoid/schemas"
)

// True is what is true of the first revision of reverse replacements by one day.
type True struct {
	Day int32
	// Incidence is the probability of a revision by the day, where death makes one impossible.
	Incidence float64
	// Revised is 1 − the survival free of revision that the product-limit estimator aims at, deaths being censored.
	Revised float64
}

// Truth returns what the estimates aim at among the reverse replacements for an indication, at whole days from the
// operation, in the order given. The error is a [schemas.Problem] for an indication without reverse replacements in the
// invented registry, or a day before 0.
//
// Given its covariates x a shoulder is free of revision at t with probability S_r(t|x) and its patient alive with S_d(t|x),
// independently. Let λ_r(t|x) be the hazard of revision and E the mean over the distribution of x. Then
//
//	Incidence(t) = ∫₀ᵗ E[λ_r S_r S_d] du
//	Revised(t)   = 1 − exp(−∫₀ᵗ E[λ_r S_r S_d] / E[S_r S_d] du).
//
// The ratio in the second line is the hazard among those still at risk at u, which is what each step of the
// product-limit estimator estimates. Age bears on both revision and death, so the old leave the risk set early and the
// second line is not quite 1 − E[S_r], the revisions had nobody died. On whole days the estimator has one step a day;
// its limit differs from the second line by less than the hazards of revision and death of a day multiplied, summed over
// the days, which is 10⁻⁵ here.
//
// The indication is the one recorded, which is that of the stratum a shoulder was drawn from. x is distributed as among
// the first sides, the second sides that follow in the same stratum, and those that cross to it from another.
//
// The mean over x is a sum over whole years of age, sex, ASA class, implant and hospital, and an integral over the part
// of a year since the last birthday. Revision and death share only age and sex, so that
//
//	E[λ_r S_r S_d] = Σ over age and sex of  E[S_d; age, sex] · E[λ_r S_r | age, sex],
//
// two short sums in place of one long one. The integrands are smooth between the breaks of the revision hazard, so that
// Gauss–Legendre rules between these breaks are exact to about twelve digits.
func Truth(indication string, days ...int32) ([]True, error) {
	s, err := reverseStratum(indication)
	if err != nil {
		return nil, err
	}
	if len(days) > 0 && slices.Min(days) < 0 {
		return nil, &schemas.Problem{Kind: schemas.PlanProblem, What: fmt.Sprintf("the truth is asked for at day %d", slices.Min(days)),
			Allowed: "whole days from 0 on", Remedy: "count days from the operation"}
	}
	m := newMixture(s)
	out := make([]True, len(days))
	order := make([]int, len(days))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return int(days[a]) - int(days[b]) })
	var at, incidence, hazard float64
	for _, i := range order {
		to := float64(days[i]) / daysPerYear
		f, h := m.follow(at, to)
		incidence, hazard, at = incidence+f, hazard+h, to
		out[i] = True{Day: days[i], Incidence: incidence, Revised: -math.Expm1(-hazard)}
	}
	return out, nil
}

func reverseStratum(indication string) (*stratum, error) {
	var known []string
	for i := range strata {
		if strata[i].procedure != reverse {
			continue
		}
		name := indicationCodes.ours[strata[i].indication]
		if name == indication {
			return &strata[i], nil
		}
		known = append(known, name)
	}
	return nil, &schemas.Problem{Kind: schemas.PlanProblem,
		What:    fmt.Sprintf("the invented registry has no reverse replacement for %q", indication),
		Allowed: strings.Join(known, ", "), Remedy: "name one of these indications"}
}
