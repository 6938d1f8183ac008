package trials

import (
	"fmt"
	"math"
)

// Piece is a stretch of a hazard: from a day on, so many events for each person and day.
type Piece struct {
	From float64
	Rate float64
}

// Hazard is a rate of events that is constant in pieces. The first piece starts at 0. Nil means
// that the event does not happen.
type Hazard []Piece

// Constant is one rate for all time.
func Constant(rate float64) Hazard { return Hazard{{0, rate}} }

// HazardFor is the constant rate at which the share free of the event on a day is free.
func HazardFor(free, day float64) (Hazard, error) {
	if !(free > 0 && free <= 1) {
		return nil, impossible("share free of the event", free, "above 0 and at most 1", "")
	}
	if !(day > 0) {
		return nil, impossible("day on which the share is free of the event", day, "above 0", "")
	}
	return Constant(-math.Log(free) / day), nil
}

// Times returns the hazard multiplied by a ratio.
func (h Hazard) Times(ratio float64) Hazard {
	out := make(Hazard, len(h))
	for i, p := range h {
		out[i] = Piece{p.From, p.Rate * ratio}
	}
	return out
}

// TimesFrom returns the hazard multiplied by the ratio of the stretch that a day lies in: a hazard
// ratio that changes with time. Piece.Rate of ratios is the ratio.
func (h Hazard) TimesFrom(ratios []Piece) Hazard {
	var out Hazard
	for i, j := 0, 0; i < len(h) && j < len(ratios); {
		out = append(out, Piece{max(h[i].From, ratios[j].From), h[i].Rate * ratios[j].Rate})
		nextH, nextR := h.end(i), Hazard(ratios).end(j)
		if nextH <= nextR {
			i++
		}
		if nextR <= nextH {
			j++
		}
	}
	return out
}

// end returns where piece i ends.
func (h Hazard) end(i int) float64 {
	if i+1 < len(h) {
		return h[i+1].From
	}
	return math.Inf(1)
}

// Cumulative returns the hazard added up to a day.
func (h Hazard) Cumulative(day float64) float64 {
	sum := 0.0
	for i, p := range h {
		if p.From >= day {
			break
		}
		sum += float64(p.Rate * (min(h.end(i), day) - p.From))
	}
	return sum
}

// Free returns the share free of the event on a day, if nothing else happened.
func (h Hazard) Free(day float64) float64 { return math.Exp(-h.Cumulative(day)) }

// reach returns the day on which the cumulative hazard reaches a, +Inf if never.
func (h Hazard) reach(a float64) float64 {
	for i, p := range h {
		if i+1 == len(h) {
			if p.Rate == 0 {
				return math.Inf(1)
			}
			return p.From + a/p.Rate
		}
		piece := p.Rate * (h[i+1].From - p.From)
		if a <= piece && p.Rate > 0 {
			return p.From + a/p.Rate
		}
		a -= piece
	}
	return math.Inf(1)
}

func (h Hazard) check(what string) error {
	before := math.Inf(-1)
	for i, p := range h {
		at := fmt.Sprintf("%s, piece %d", what, i+1)
		switch {
		case i == 0 && p.From != 0:
			return impossible("start of "+at, p.From, "0", "say what the hazard is from the first day on")
		case !(p.From > before) || math.IsInf(p.From, 0):
			return impossible("start of "+at, p.From, fmt.Sprintf("after %v", before), "give the pieces in their order")
		case !(p.Rate >= 0) || math.IsInf(p.Rate, 0):
			return impossible("rate of "+at, p.Rate, "a finite number, 0 or more", "")
		case p.Rate > 1:
			return impossible("rate of "+at, p.Rate, "at most 1 a day", "a rate per year is to be divided by 365.25")
		}
		before = p.From
	}
	return nil
}
