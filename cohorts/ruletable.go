package cohorts

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"

	"deltoid/schemas"
)

// FindingRule is one row of a rule table over recorded findings. The tables are data files that are reviewed like any
// other text: indication/rules.json and audit/expectations.json.
type FindingRule struct {
	ID       string                 `json:"id"`
	When     map[string]findingTest `json:"when"`    // by field; all must hold
	Settles  string                 `json:"settles"` // an indication; empty when the recorded one stands
	Expects  []string               `json:"expects"` // procedures, of an expectation
	Sentence string                 `json:"sentence"`
	Source   string                 `json:"source"` // a publication, or "common practice"
}

// findingTest is what one field must hold: one of some codes, or a number within bounds.
type findingTest struct {
	codes       []string
	missing     bool // a missing value meets it too
	from, below float64
	bounded     bool
}

// UnmarshalJSON reads a list of codes, null among them for a missing value, or bounds.
func (f *findingTest) UnmarshalJSON(text []byte) error {
	if bytes.HasPrefix(text, []byte("[")) {
		var codes []*string
		if err := json.Unmarshal(text, &codes); err != nil {
			return err
		}
		for _, c := range codes {
			if c == nil {
				f.missing = true
			} else {
				f.codes = append(f.codes, *c)
			}
		}
		return nil
	}
	var b struct {
		From      *float64 `json:"from"`
		Below     *float64 `json:"below"`
		OrMissing bool     `json:"or_missing"`
	}
	if err := decode(text, &b); err != nil {
		return err
	}
	if b.From == nil && b.Below == nil {
		return fmt.Errorf("a condition has neither codes nor bounds: %s", text)
	}
	f.bounded, f.missing, f.from, f.below = true, b.OrMissing, math.Inf(-1), math.Inf(1)
	if b.From != nil {
		f.from = *b.From
	}
	if b.Below != nil {
		f.below = *b.Below
	}
	return nil
}

// decode reads JSON and refuses keys that are not known.
func decode(text []byte, into any) error {
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return err
	}
	if _, err := d.Token(); err != io.EOF {
		return fmt.Errorf("more than one value")
	}
	return nil
}

// mostRules is how many rules a table can have: one bit each.
const mostRules = 64

// ruleset is a rule table prepared for the columns of one registry. Every field says with one bit a rule which rules its
// value leaves standing, so that a row costs one look-up a field however many rules there are.
type ruleset struct {
	rules  []FindingRule
	fields []fieldBits
	seen   []*schemas.Column // the columns of the fields, for those that exist
}

// fieldBits returns the rules that the value of a row leaves standing.
type fieldBits func(row int32) uint64

// newRuleset prepares rules. column finds the column of a field, nil when there is none: its value is then missing
// everywhere.
func newRuleset(rules []FindingRule, column func(string) *schemas.Column) (*ruleset, error) {
	if len(rules) > mostRules {
		return nil, fmt.Errorf("a rule table has %d rules, more than %d", len(rules), mostRules)
	}
	s := &ruleset{rules: rules}
	var names []string
	for i := range rules {
		for name := range rules[i].When {
			if !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	slices.Sort(names)
	for _, name := range names {
		s.fields = append(s.fields, s.bits(name, column(name)))
		if c := column(name); c != nil {
			s.seen = append(s.seen, c)
		}
	}
	return s, nil
}

// bits prepares one field.
func (s *ruleset) bits(name string, c *schemas.Column) fieldBits {
	missing := s.standing(name, func(f findingTest) bool { return f.missing })
	switch {
	case c == nil:
		return func(int32) uint64 { return missing }
	case c.Codes() != nil:
		byCode := make([]uint64, len(c.Levels()))
		for i, level := range c.Levels() {
			byCode[i] = s.standing(name, func(f findingTest) bool { return slices.Contains(f.codes, level) })
		}
		rows := c.Codes()
		return func(row int32) uint64 {
			if code := rows[row]; code >= 0 {
				return byCode[code]
			}
			return missing
		}
	case c.Numbers() != nil:
		rows := c.Numbers()
		return func(row int32) uint64 {
			v := rows[row]
			if math.IsNaN(v) {
				return missing
			}
			return s.standing(name, func(f findingTest) bool { return f.bounded && v >= f.from && v < f.below })
		}
	}
	return func(int32) uint64 { return missing }
}

// standing returns the rules that do not ask for a field, and those whose test of it passes.
func (s *ruleset) standing(name string, passes func(findingTest) bool) uint64 {
	var bits uint64
	for i := range s.rules {
		if test, asked := s.rules[i].When[name]; !asked || passes(test) {
			bits |= 1 << i
		}
	}
	return bits
}

// standingOn returns the rules whose conditions all hold on a row, one bit each.
func (s *ruleset) standingOn(row int32) uint64 {
	bits := uint64(1)<<len(s.rules) - 1
	for _, field := range s.fields {
		bits &= field(row)
	}
	return bits
}
