package schemas

import (
	"math"
	"slices"
)

// Scoring says how the items of an instrument make its total: the sum over parts of Plus + Times·(sum of its items)/Over.
type Scoring struct {
	Source  string      `json:"source"`
	Missing MissingRule `json:"missing"`
	Parts   []Part      `json:"parts"`
}

// MissingRule says what becomes of a total some of whose items are missing. Up to MayLack items take the mean of the
// others of their part; a part of which more are missing gives no total.
type MissingRule struct {
	MayLack int    `json:"may_lack"`
	Rule    string `json:"rule"`
	Source  string `json:"source"`
}

// Part is items that are added up together. Over is 1 when it is 0, and so is Times.
type Part struct {
	Plus  float64 `json:"plus"`
	Times float64 `json:"times"`
	Over  float64 `json:"over"`
	Items []Item  `json:"items"`
}

// Item is one item of an instrument.
type Item struct {
	Code    string  `json:"code"`
	Title   string  `json:"title"`
	Minimum float64 `json:"minimum"`
	Maximum float64 `json:"maximum"`
	// InPlaceOf names the item that this one is another measurement of: an export has one of the two.
	InPlaceOf string `json:"in_place_of"`
	// Above and Points turn a measurement into points: Points[0] up to and including Above[0], Points[1] above it, and so on.
	Above  []float64 `json:"above"`
	Points []float64 `json:"points"`
	// Times, where it is not 0, turns a measurement into points up to AtMost.
	Times  float64 `json:"times"`
	AtMost float64 `json:"at_most"`
}

// PointsOf returns the points that an answer or a measurement gives.
func (i Item) PointsOf(x float64) float64 {
	switch {
	case len(i.Points) > 0:
		at := 0
		for at < len(i.Above) && x > i.Above[at] {
			at++
		}
		return i.Points[at]
	case i.Times != 0:
		return math.Min(i.Times*x, i.AtMost)
	}
	return x
}

// Items returns every item, those in the place of others too.
func (s *Scoring) Items() []Item {
	var all []Item
	for _, p := range s.Parts {
		all = append(all, p.Items...)
	}
	return all
}

// Item returns the item with a code.
func (s *Scoring) Item(code string) (Item, bool) {
	all := s.Items()
	at := slices.IndexFunc(all, func(i Item) bool { return i.Code == code })
	if at < 0 {
		return Item{}, false
	}
	return all[at], true
}

// Lacking returns the codes of the items that a set of codes does not have, in either form.
func (s *Scoring) Lacking(codes []string) []string {
	var lacking []string
	for _, i := range s.Items() {
		has := slices.Contains(codes, i.Code)
		for _, other := range s.Items() {
			has = has || other.InPlaceOf == i.Code && slices.Contains(codes, other.Code)
		}
		if i.InPlaceOf == "" && !has {
			lacking = append(lacking, i.Code)
		}
	}
	return lacking
}

// Total returns the total of the values of items, by code; a value that is NaN is missing. It returns how many items were
// given of how many there are, and false when too many are missing for a total.
func (s *Scoring) Total(value func(code string) float64) (total float64, given, of int, ok bool) {
	ok = true
	for _, p := range s.Parts {
		sum, n, all := p.sum(value)
		given, of = given+n, of+all
		if all-n > s.Missing.MayLack || n == 0 {
			ok = false
			continue
		}
		if n < all {
			sum = float64(sum/float64(n)) * float64(all)
		}
		total += p.Plus + float64(orOne(p.Times)*sum)/orOne(p.Over)
	}
	return total, given, of, ok
}

// sum adds up the points of the items that are there.
func (p Part) sum(value func(code string) float64) (sum float64, given, of int) {
	for _, i := range p.Items {
		if i.InPlaceOf != "" {
			continue
		}
		of++
		for _, form := range p.Items {
			if form.Code != i.Code && form.InPlaceOf != i.Code {
				continue
			}
			if x := value(form.Code); !math.IsNaN(x) {
				sum += form.PointsOf(x)
				given++
				break
			}
		}
	}
	return sum, given, of
}

func orOne(x float64) float64 {
	if x == 0 {
		return 1
	}
	return x
}
