package power

import "math"

// logFactorials returns the logarithms of 0! to n!.
func logFactorials(n int) []float64 {
	logs := make([]float64, n+1)
	for i := range logs {
		logs[i], _ = math.Lgamma(float64(i) + 1)
	}
	return logs
}

// binomial returns the probabilities of 0 to n successes in n trials.
func binomial(n int, p float64, logs []float64) []float64 {
	probs := make([]float64, n+1)
	if p <= 0 || p >= 1 {
		probs[int(math.Round(p))*n] = 1
		return probs
	}
	lp, lq := math.Log(p), math.Log1p(-p)
	for x := range probs {
		probs[x] = math.Exp(logs[n] - logs[x] - logs[n-x] + float64(float64(x)*lp) + float64(float64(n-x)*lq))
	}
	return probs
}

// poisson returns the probabilities of 0 to most events with the given mean, where most is far enough that the rest is
// nothing.
func poisson(mean float64) []float64 {
	most := int(mean+float64(10*math.Sqrt(mean))) + 30
	probs := make([]float64, most+1)
	lm := math.Log(mean)
	for x := range probs {
		lg, _ := math.Lgamma(float64(x) + 1)
		probs[x] = math.Exp(float64(float64(x)*lm) - mean - lg)
	}
	return probs
}

// tails returns the largest count whose lower tail, and the smallest count whose upper tail, is at most the given
// probability; −1 and the number of counts where there is none.
func tails(probs []float64, tail float64) (low, high int) {
	const noise = 1 + 1e-10
	low, high = -1, len(probs)
	sum := 0.0
	for x := 0; x < len(probs); x++ {
		if sum += probs[x]; sum > tail*noise {
			break
		}
		low = x
	}
	sum = 0
	for x := len(probs) - 1; x >= 0; x-- {
		if sum += probs[x]; sum > tail*noise {
			break
		}
		high = x
	}
	return low, high
}

// outside adds the probabilities of the counts up to low and from high on.
func outside(probs []float64, low, high int) float64 {
	sum := 0.0
	for x := 0; x <= low && x < len(probs); x++ {
		sum += probs[x]
	}
	for x := max(high, low+1, 0); x < len(probs); x++ {
		sum += probs[x]
	}
	return sum
}

// sided leaves only the side of the test on which the effect lies, when it has one.
func (a *assumed) sided(low, high, beyondAll int, effectHigher bool) (int, int) {
	if a.twoSided() {
		return low, high
	}
	if effectHigher {
		return -1, high
	}
	return low, beyondAll
}
