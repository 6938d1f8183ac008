package cohorts

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"deltoid/schemas"
)

// verdict is what a condition says about one shoulder.
type verdict uint8

const (
	met     verdict = iota
	unknown         // the value is missing
	failed
)

// test applies one condition to a row of the registry's table.
type test func(row int32) verdict

// compile prepares a condition for one registry.
func (c Condition) compile(r *Registry, b Basis, place string) (test, *schemas.Problem) {
	column := r.Column(c.Field, b)
	if column == nil {
		return nil, noField(r.fieldNames(), r.Table, c.Field, place)
	}
	if problem := r.knownAtEntry(column, place); problem != nil {
		return nil, problem
	}
	bounded := c.From != nil || c.To != nil
	if bounded == (len(c.In) > 0) {
		return nil, &schemas.Problem{Kind: schemas.PlanProblem, Where: place,
			What:    fmt.Sprintf("the condition on %q has both values and bounds, or neither", c.Field),
			Allowed: "values, or bounds"}
	}
	switch kind := column.Field.Type; {
	case kind == schemas.Code && !bounded:
		return c.inCodes(column, place)
	case kind == schemas.Text && !bounded:
		return c.inTexts(column), nil
	case kind == schemas.Integer && !bounded:
		return c.inIntegers(column, place)
	case kind == schemas.Integer:
		return within(c, column.Integers(), func(n int64) bool { return n == schemas.NoInt }), nil
	case kind == schemas.Number && bounded:
		return within(c, column.Numbers(), math.IsNaN), nil
	case kind == schemas.Date && bounded:
		return within(c, column.Days(), func(d int32) bool { return d == schemas.NoDay }), nil
	}
	return nil, wrongKind(c.Field, bounded, place)
}

func wrongKind(field string, bounded bool, place string) *schemas.Problem {
	p := &schemas.Problem{Kind: schemas.PlanProblem, Where: place}
	if bounded {
		p.What = fmt.Sprintf("the condition on %q has bounds, but the field holds codes or texts", field)
		p.Allowed = "a list of values"
	} else {
		p.What = fmt.Sprintf("the condition on %q lists values, but the field is measured", field)
		p.Allowed = "bounds"
	}
	return p
}

func (c Condition) inCodes(column *schemas.Column, place string) (test, *schemas.Problem) {
	var codes []string
	for _, code := range column.Field.Codes {
		codes = append(codes, code.Value)
	}
	for _, code := range c.In {
		if len(codes) > 0 && !slices.Contains(codes, code) {
			return nil, noCode(column.Field, code, codes, place)
		}
	}
	verdicts := make([]verdict, len(column.Levels()))
	for i, level := range column.Levels() {
		verdicts[i] = verdictOf(slices.Contains(c.In, level))
	}
	rows := column.Codes()
	return func(row int32) verdict {
		if code := rows[row]; code >= 0 {
			return verdicts[code]
		}
		return unknown
	}, nil
}

func (c Condition) inTexts(column *schemas.Column) test {
	wanted := make(map[string]bool, len(c.In))
	for _, text := range c.In {
		wanted[text] = true
	}
	return func(row int32) verdict {
		text := column.Text(int(row))
		if text == "" {
			return unknown
		}
		return verdictOf(wanted[text])
	}
}

func (c Condition) inIntegers(column *schemas.Column, place string) (test, *schemas.Problem) {
	wanted := make(map[int64]bool, len(c.In))
	for _, text := range c.In {
		n, err := strconv.ParseInt(text, 10, 64)
		if err != nil {
			return nil, &schemas.Problem{Kind: schemas.PlanProblem, Where: place,
				What:    fmt.Sprintf("the condition on %q lists %q", c.Field, text),
				Allowed: "whole numbers", Cause: err}
		}
		wanted[n] = true
	}
	rows := column.Integers()
	return func(row int32) verdict {
		if rows[row] == schemas.NoInt {
			return unknown
		}
		return verdictOf(wanted[rows[row]])
	}, nil
}

// within tests the bounds. Both are inclusive.
func within[T int32 | int64 | float64](c Condition, rows []T, missing func(T) bool) test {
	from, to := math.Inf(-1), math.Inf(1)
	if c.From != nil {
		from = *c.From
	}
	if c.To != nil {
		to = *c.To
	}
	return func(row int32) verdict {
		if missing(rows[row]) {
			return unknown
		}
		return verdictOf(float64(rows[row]) >= from && float64(rows[row]) <= to)
	}
}

func verdictOf(ok bool) verdict {
	if ok {
		return met
	}
	return failed
}
