package cohorts

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"

	"deltoid/schemas"
)

// bandValues divides a measured field at the bounds of a grouping. A value on a bound belongs to the band above it. The
// bands are named by their number, from 1.
func bandValues(c *schemas.Column, g Grouping, offsets bool) (values, error) {
	if !slices.IsSorted(g.Bands) || len(slices.Compact(slices.Clone(g.Bands))) < len(g.Bands) {
		return values{}, &schemas.Problem{Kind: schemas.PlanProblem, Where: g.Place,
			What: fmt.Sprintf("the bands of %q do not rise", g.By), Allowed: "rising bounds, each once", Remedy: "put the bounds in order"}
	}
	read := reading(c)
	if read == nil {
		return values{}, &schemas.Problem{Kind: schemas.PlanProblem, Where: g.Place,
			What: fmt.Sprintf("the field %q holds codes or texts and cannot be divided into bands", g.By), Allowed: "a field of numbers or dates",
			Remedy: "remove the bands"}
	}
	field := *c.Field
	field.Codes = nil
	for i := range len(g.Bands) + 1 {
		field.Codes = append(field.Codes, schemas.CodeValue{Value: strconv.Itoa(i + 1), Label: bandLabel(g.Bands, i, c.Field.Type, offsets)})
	}
	v := values{field: &field}
	for _, code := range field.Codes {
		v.codes = append(v.codes, code.Value)
	}
	v.of = func(row int32) int32 {
		x := read(row)
		if math.IsNaN(x) {
			return -1
		}
		return int32(sort.Search(len(g.Bands), func(i int) bool { return g.Bands[i] > x }))
	}
	return v, nil
}

// reading returns the values of a column as numbers, NaN where missing; nil for a column of words.
func reading(c *schemas.Column) func(row int32) float64 {
	switch {
	case c.Numbers() != nil:
		return func(row int32) float64 { return c.Numbers()[row] }
	case c.Integers() != nil:
		return func(row int32) float64 {
			if n := c.Integers()[row]; n != schemas.NoInt {
				return float64(n)
			}
			return math.NaN()
		}
	case c.Days() != nil:
		return func(row int32) float64 {
			if d := c.Days()[row]; d != schemas.NoDay {
				return float64(d)
			}
			return math.NaN()
		}
	}
	return nil
}

// bandLabel words a band: "below 65", "65 to below 75", "75 and above"; calendar days that begin a year are worded by
// year: "before 2010", "2010 to 2014", "2015 and later".
func bandLabel(bounds []float64, i int, kind schemas.Type, offsets bool) string {
	write := func(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }
	from, to, words := "", "", []string{"below ", " to below ", " and above"}
	if kind == schemas.Date && !offsets {
		write = func(x float64) string { return schemas.FormatDay(int32(x)) }
		words = []string{"before ", " to before ", " and later"}
	}
	if kind == schemas.Date && !offsets && wholeYears(bounds) {
		write = func(x float64) string { return schemas.FormatDay(int32(x))[:4] }
		if i > 0 && i < len(bounds) {
			from, to = write(bounds[i-1]), write(bounds[i]-1)
			if from == to {
				return from
			}
			return from + " to " + to
		}
	}
	switch {
	case i == 0:
		return words[0] + write(bounds[0])
	case i == len(bounds):
		return write(bounds[i-1]) + words[2]
	}
	return write(bounds[i-1]) + words[1] + write(bounds[i])
}

func wholeYears(bounds []float64) bool {
	for _, b := range bounds {
		if !strings.HasSuffix(schemas.FormatDay(int32(b)), "-01-01") {
			return false
		}
	}
	return true
}
