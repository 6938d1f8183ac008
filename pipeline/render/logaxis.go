package render

import (
	"math"

	"deltoid/pipeline/report"
)

// mostRatio is how many times beyond the outermost values a logarithmic axis may reach for the sake of intervals.
const mostRatio = 10

// logAxis makes an axis of equal ratios around 1, with ticks at 1, 2 and 5 times powers of ten. It always reaches from a half to 2, so that
// ratios near 1 do not look large.
func logAxis(a report.Axis, shown []*report.Estimate) report.Axis {
	least, most := 0.5, 2.0
	low, high := least, most
	for _, e := range shown {
		if x := e.Value.X; x > 0 {
			least, most = min(least, x), max(most, x)
			low, high = min(low, x), max(high, x)
		}
		if e.Lower.Known && e.Lower.X >= 0 {
			low = min(low, e.Lower.X)
		}
		if e.Upper.Known {
			high = max(high, e.Upper.X)
		}
	}
	low, high = max(low, least/mostRatio), min(high, most*mostRatio)
	a.Min, a.Max, a.Ticks = 1/roundStep(1/low), roundStep(high), nil
	for power := math.Floor(math.Log10(a.Min)); power <= math.Ceil(math.Log10(a.Max)); power++ {
		for _, f := range []float64{1, 2, 5} {
			if x := tenfold(f, power); x >= a.Min*(1-1e-12) && x <= a.Max*(1+1e-12) {
				a.Ticks = append(a.Ticks, x)
			}
		}
	}
	return a
}

// tenfold returns f times a power of ten, as the decimal number reads: 0.2, not 0.2 and something.
func tenfold(f, power float64) float64 {
	if power < 0 {
		return f / math.Pow(10, -power)
	}
	return f * math.Pow(10, power)
}

// logShare returns how far along a logarithmic axis a value stands.
func logShare(x float64, a report.Axis) float64 {
	return math.Log(x/a.Min) / math.Log(a.Max/a.Min)
}
