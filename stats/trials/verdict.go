package trials

import (
	"math"

	"deltoid/stats/covariates"
	"deltoid/stats/dist"
)

// Verdict is what an analysis says about one study.
type Verdict struct {
	// Z is standard normal where the arms do not differ (by more than the margin), above 0 where the
	// second arm has more of what is measured: events, score, time. Where a test has another
	// distribution it is the normal variable with the same p-value; with more than two arms it has no
	// sign.
	Z float64
	P float64 // two-sided
	// Effect is the estimate and SE its standard error, on the scale of the test: a log ratio or a
	// difference, second arm against first. Both 0 where a test estimates nothing.
	Effect, SE float64
	// Reason says why there is no verdict; empty where there is one. Such a study has found nothing.
	Reason string
}

// Test is an analysis with the name that a report calls it by.
type Test struct {
	Name string
	// Run looks at one study. It is called from several goroutines at once, each with samples of
	// its own, and must keep nothing between calls.
	Run func(*Sample) Verdict
	// Margin is what the test holds the effect against, on its own scale: 0 for no effect. With a
	// margin there is something to find even where the arms do not differ.
	Margin float64
}

// normal is the verdict of an estimate against a margin.
func normal(effect, se, margin float64) Verdict {
	if !(se > 0) || math.IsInf(se, 0) {
		return Verdict{Reason: "the estimate has no standard error"}
	}
	z := (effect - margin) / se
	return Verdict{Z: z, P: dist.NormalTwoSided(z), Effect: effect, SE: se}
}

// student is the verdict of an estimate whose standard error has df degrees of freedom.
func student(effect, se, df, margin float64) Verdict {
	if !(se > 0) || !(df > 0) {
		return Verdict{Reason: "too few scores for a standard error"}
	}
	v := Verdict{Effect: effect, SE: se}
	t := (effect - margin) / se
	v.P = dist.StudentTwoSided(t, df)
	v.Z = signed(v.P, t)
	return v
}

// signed is the normal variable with a two-sided p-value, on the side of sign.
func signed(p, sign float64) float64 {
	return math.Copysign(min(-dist.NormalQuantile(p/2), 40), sign)
}

// fitted is the verdict of a coefficient of a model.
func fitted(e covariates.Effect, margin float64) Verdict {
	if e.Status != covariates.Converged {
		return Verdict{Reason: e.Status.String()}
	}
	return normal(e.Estimate, e.SE, margin)
}
