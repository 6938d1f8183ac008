package monitor_test

import (
	"math"
	"math/big"
	"slices"
	"testing"

	"deltoid/stats/monitor"
	"deltoid/stats/random"
	"deltoid/stats/survival"
)

// A twin that goes over the rows of each group, one stretch after the other, and adds up who was
// there for how long.
func TestStretchesAgainstTheRows(t *testing.T) {
	for seed := range uint64(3000) {
		r := random.Stream(seed, "stretches twin", 0)
		d := survival.Data{Groups: 3, Causes: 2}
		days := 1 + r.IntN(15)
		for range r.IntN(40) {
			exit := int32(r.IntN(days + 1))
			entry := int32(0)
			if exit > 0 && r.IntN(2) == 0 {
				entry = int32(r.IntN(int(exit)))
			}
			d.Entry, d.Exit = append(d.Entry, entry), append(d.Exit, exit)
			d.Cause, d.Group = append(d.Cause, uint8(r.IntN(3))), append(d.Group, int32(r.IntN(3)))
		}
		cuts := slices.Compact(slices.Sorted(slices.Values([]float64{1 + float64(r.IntN(30))/4, 1 + float64(r.IntN(40)), 3.25})))
		counts, err := survival.Count(d)
		if err != nil {
			t.Fatal(err)
		}
		for group := range 3 {
			for cause := range 3 {
				got, err := monitor.Stretches(counts, group, cause, cuts...)
				if err != nil {
					t.Fatal(err)
				}
				want := slowStretches(d, group, cause, append(slices.Clone(cuts), math.Inf(1)))
				for i := range want {
					if got[i].Tally != want[i].Tally || got[i].Rows != want[i].Rows || got[i].From != want[i].From {
						t.Fatalf("seed %d, group %d, cause %d, stretch %d: %+v, want %+v\n%+v", seed, group, cause, i, got[i], want[i], d)
					}
				}
			}
		}
	}
}

func slowStretches(d survival.Data, group, cause int, ends []float64) []monitor.Stretch {
	out := make([]monitor.Stretch, len(ends))
	from := 0.0
	for i, to := range ends {
		out[i].From = from
		for row := range d.Exit {
			entry, exit := float64(d.Entry[row]), float64(d.Exit[row])
			if int(d.Group[row]) != group {
				continue
			}
			atStart := exit == 0 && from == 0
			if atStart || entry < to && exit > from {
				out[i].Rows++
				out[i].Exposure += min(to, exit) - max(from, entry)
			}
			isEvent := d.Cause[row] > 0 && (cause == 0 || int(d.Cause[row]) == cause)
			if isEvent && (atStart || exit > from && exit <= to) {
				out[i].Events++
			}
		}
		from = to
	}
	return out
}

// The limits of rates and ratios put back into the definition: the tails, added up term by term in
// rational or long arithmetic, must be half of what the level leaves.
func TestLimitsLeaveTheirTails(t *testing.T) {
	r := random.Stream(1, "tails twin", 0)
	for range 300 {
		k, other := int64(r.IntN(40)), int64(1+r.IntN(40))
		exposure, reference := 0.5+100*r.Float64(), 0.5+100*r.Float64()
		for _, form := range []monitor.Form{monitor.Exact, monitor.MidP} {
			x, err := monitor.Tally{Events: k, Exposure: exposure}.Rate(7, 0.9, form)
			if err != nil {
				t.Fatal(err)
			}
			atMost, _ := poissonTails(k, x.Upper/7*exposure, form)
			_, atLeast := poissonTails(k, x.Lower/7*exposure, form)
			if !within(atMost, 0.05, 1e-9) || k > 0 && !within(atLeast, 0.05, 1e-9) {
				t.Fatalf("rate of %d events, %v: tails %v and %v", k, form, atMost, atLeast)
			}
			q, err := monitor.Ratio(monitor.Tally{Events: k, Exposure: exposure}, monitor.Tally{Events: other, Exposure: reference}, 0.9, form)
			if err != nil {
				t.Fatal(err)
			}
			atMost, _ = binomialTails(k, k+other, share(q.Upper, exposure, reference), form)
			_, atLeast = binomialTails(k, k+other, share(q.Lower, exposure, reference), form)
			if !within(atMost, 0.05, 1e-9) || k > 0 && !within(atLeast, 0.05, 1e-9) {
				t.Fatalf("ratio of %d to %d events, %v: tails %v and %v", k, other, form, atMost, atLeast)
			}
			below, above := binomialTails(k, k+other, share(1, exposure, reference), form)
			if want := min(1, 2*min(below, above)); !within(q.P, want, 1e-9) {
				t.Fatalf("p of %d to %d events, %v: %v, want %v", k, other, form, q.P, want)
			}
		}
	}
}

func share(ratio, exposure, reference float64) float64 {
	return ratio * exposure / (ratio*exposure + reference)
}

// poissonTails adds up P(X ≤ k) and P(X ≥ k), with half of k's own probability for mid-P.
func poissonTails(k int64, mean float64, form monitor.Form) (atMost, atLeast float64) {
	term, sum := math.Exp(-mean), 0.0
	for i := int64(0); i < k; i++ {
		sum += term
		term *= mean / float64(i+1)
	}
	if form == monitor.MidP {
		return sum + term/2, 1 - sum - term/2
	}
	return sum + term, 1 - sum
}

// binomialTails does the same with exact binomial coefficients.
func binomialTails(k, n int64, p float64, form monitor.Form) (atMost, atLeast float64) {
	below, own, above := 0.0, 0.0, 0.0
	for i := int64(0); i <= n; i++ {
		c, _ := new(big.Float).SetInt(new(big.Int).Binomial(n, i)).Float64()
		term := c * math.Pow(p, float64(i)) * math.Pow(1-p, float64(n-i))
		switch {
		case i < k:
			below += term
		case i == k:
			own = term
		default:
			above += term
		}
	}
	if form == monitor.MidP {
		own /= 2
	}
	return below + own, above + own
}
