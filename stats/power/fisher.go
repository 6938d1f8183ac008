package power

import "math"

// fisherPower counts every table of two groups: it adds up the probabilities of those that Fisher's exact test rejects.
// Two-sided, a table is rejected when it and all tables of the same margins that are no more probable have at most the
// significance together; one-sided, by the tail on the side of the effect.
//
// For each total of outcomes the tables are taken from both ends inwards, the less probable first, so that each is looked at
// once: the time grows with the product of the two sizes.
func (a *assumed) fisherPower(p1, p2 float64, n1, n2 int) float64 {
	logs := logFactorials(n1 + n2)
	first, second := binomial(n1, p1, logs), binomial(n2, p2, logs)
	from1, to1 := weighty(first)
	from2, to2 := weighty(second)
	table := hypergeometric{n1: n1, n2: n2, logs: logs}
	total := 0.0
	for s := from1 + from2; s <= to1+to2; s++ {
		table.margin(s)
		var low, high int // rejected are x ≤ low and x ≥ high outcomes in the second group
		switch {
		case a.twoSided():
			low, high = table.bothEnds(a.x(Significance))
		case p2 > p1:
			low, high = table.from-1, table.upperEnd(a.x(Significance))
		default:
			low, high = table.lowerEnd(a.x(Significance)), table.to+1
		}
		for x := max(table.from, s-to1, from2); x <= min(low, s-from1, to2); x++ {
			total += float64(first[s-x] * second[x])
		}
		for x := max(high, low+1, s-to1, from2); x <= min(table.to, s-from1, to2); x++ {
			total += float64(first[s-x] * second[x])
		}
	}
	return total
}

// weighty returns between which counts all but 1e-15 of the probability lies.
func weighty(probs []float64) (from, to int) {
	from, to = 0, len(probs)-1
	for from < to && probs[from] < 1e-18 {
		from++
	}
	for to > from && probs[to] < 1e-18 {
		to--
	}
	return from, to
}

// hypergeometric holds the tables of one total of outcomes, by how many of them are in the second group.
type hypergeometric struct {
	n1, n2   int
	logs     []float64
	from, to int
	probs    []float64 // of from to to
}

func (h *hypergeometric) margin(s int) {
	h.from, h.to = max(0, s-h.n1), min(h.n2, s)
	h.probs = h.probs[:0]
	all := h.logs[h.n1+h.n2] - h.logs[s] - h.logs[h.n1+h.n2-s]
	for x := h.from; x <= h.to; x++ {
		y := s - x
		h.probs = append(h.probs, math.Exp(h.logs[h.n2]-h.logs[x]-h.logs[h.n2-x]+h.logs[h.n1]-h.logs[y]-h.logs[h.n1-y]-all))
	}
}

// The relative difference below which two tables count as equally probable, as is common practice.
const tied = 1 + 1e-7

func (h *hypergeometric) bothEnds(level float64) (low, high int) {
	i, j, sum := 0, len(h.probs)-1, 0.0
	for i <= j {
		least := math.Min(h.probs[i], h.probs[j])
		step, left, right := 0.0, i, j
		for left <= right && h.probs[left] <= least*tied {
			step += h.probs[left]
			left++
		}
		for right >= left && h.probs[right] <= least*tied {
			step += h.probs[right]
			right--
		}
		if sum += step; sum > level*(1+1e-10) {
			break
		}
		i, j = left, right
	}
	return h.from + i - 1, h.from + j + 1
}

func (h *hypergeometric) upperEnd(level float64) int {
	_, high := tails(h.probs, level)
	return h.from + high
}

func (h *hypergeometric) lowerEnd(level float64) int {
	low, _ := tails(h.probs, level)
	return h.from + low
}
