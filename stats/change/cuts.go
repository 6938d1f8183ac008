package change

import (
	"fmt"
	"math"
	"slices"
)

// sameRows asks for two curves of the same rows.
func sameRows(a, b ROC) error {
	if slices.Equal(a.kind, b.kind) {
		return nil
	}
	return fmt.Errorf("the two curves are not of the same rows: %d and %d rows, or other positive ones", len(a.kind), len(b.kind))
}

// cuts lists every cut point: before the first value, between neighbours, and after the last.
func (c counted) cuts(higherIsPositive bool) []Cut {
	out := make([]Cut, 0, len(c.value)+1)
	posBelow, negBelow := int64(0), int64(0)
	for k := range len(c.value) + 1 {
		out = append(out, c.cut(k, posBelow, negBelow, higherIsPositive))
		if k < len(c.value) {
			posBelow += c.pos[k]
			negBelow += c.neg[k]
		}
	}
	return out
}

// cut is the cut point below value k.
func (c counted) cut(k int, posBelow, negBelow int64, higherIsPositive bool) Cut {
	at := math.Inf(1)
	switch {
	case k == 0:
		at = math.Inf(-1)
	case k < len(c.value):
		at = (c.value[k-1] + c.value[k]) / 2
	}
	if !higherIsPositive {
		at = -at
	}
	return Cut{At: at, Sensitivity: float64(c.positives-posBelow) / float64(c.positives), Specificity: float64(negBelow) / float64(c.negatives)}
}

func (r ROC) best(c counted, higherIsPositive bool) (youden, corner Cut) {
	b := bestCuts(c.pos, c.neg, c.positives, c.negatives)
	of := func(k, before, ties int) Cut {
		if before < 0 {
			return Cut{State: state(NotDefined, "no cut point between two values is better than calling all rows the same")}
		}
		cut := r.Cuts[k]
		cut.Ties = ties
		return cut
	}
	return of(b.youden, b.beforeYouden, b.youdenTies), of(b.corner, b.beforeCorner, b.cornerTies)
}

// chosen is the places of the best cut points (the cut lies below the value of that place and above the one of the place
// before) and how many are as good.
type chosen struct {
	youden, beforeYouden, youdenTies, corner, beforeCorner, cornerTies int
}

// bestCuts finds them in one pass over places, of which empty ones are passed over. Youden's index is compared in whole numbers, so that ties
// are ties: with k positives above and s negatives below the cut, k·n + s·m. Of cuts with the same index the closest
// to the corner is taken, then the most lenient.
func bestCuts[C int32 | int64](pos, neg []C, positives, negatives int64) chosen {
	b := chosen{beforeYouden: -1, beforeCorner: -1}
	above, below, before := positives, int64(0), -1
	index, nearest, ofIndex := int64(math.MinInt64), math.Inf(1), math.Inf(1)
	for k := range pos {
		if pos[k]+neg[k] == 0 {
			continue
		}
		missed, wrong := float64((positives-above)*negatives), float64((negatives-below)*positives)
		distance := float64(missed*missed) + float64(wrong*wrong)
		i := above*negatives + below*positives
		switch {
		case i > index:
			b.youdenTies = 1
		case i == index:
			b.youdenTies++
		}
		if i > index || i == index && distance < ofIndex {
			b.youden, b.beforeYouden, index, ofIndex = k, before, i, distance
		}
		switch {
		case distance < nearest:
			b.corner, b.beforeCorner, b.cornerTies, nearest = k, before, 1, distance
		case distance == nearest:
			b.cornerTies++
		}
		above -= int64(pos[k])
		below += int64(neg[k])
		before = k
	}
	return b
}
