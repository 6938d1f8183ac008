package cohorts

import (
	_ "embed"
	"fmt"
	"math/bits"
	"slices"
	"sync"

	"deltoid/schemas"
)

//go:embed indication/rules.json
var indicationText []byte

// indicationTable is the file indication/rules.json.
type indicationTable struct {
	About   string            `json:"about"`
	Reading map[string]string `json:"reading"`
	Rules   []FindingRule     `json:"rules"`
}

var readIndicationTable = sync.OnceValues(func() (indicationTable, error) {
	var t indicationTable
	if err := decode(indicationText, &t); err != nil {
		return t, fmt.Errorf("the rule table of indications cannot be read: %w; this is a fault of the program", err)
	}
	return t, nil
})

// IndicationRules returns the rules that settle the indication, in the order in which they are tried.
func IndicationRules() ([]FindingRule, error) {
	t, err := readIndicationTable()
	return slices.Clone(t.Rules), err
}

// What the field "settled_by" holds where no rule decided.
const (
	NoFindings = "no_findings" // cuff, joint and fracture are not recorded at all
	NoRule     = "no_rule"     // some are recorded, and no rule applies to them
)

func settledByCodes() []schemas.CodeValue {
	t, err := readIndicationTable()
	if err != nil {
		return nil
	}
	var codes []schemas.CodeValue
	for _, r := range t.Rules {
		codes = append(codes, schemas.CodeValue{Value: r.ID, Label: r.Sentence, Description: r.Source})
	}
	return append(codes,
		schemas.CodeValue{Value: NoFindings, Label: "No finding is recorded that could settle it; the recorded indication stands."},
		schemas.CodeValue{Value: NoRule, Label: "No rule applies to the findings recorded; the recorded indication stands."})
}

// settle makes the derived fields of the settled indication. A registry whose table has none of the fields that the rules
// look at, the recorded indication included, gets none.
func (r *Registry) settle() error {
	t, err := readIndicationTable()
	if err != nil {
		return err
	}
	rules, err := newRuleset(t.Rules, r.Table.Column)
	if err != nil || len(rules.seen) == 0 {
		return err
	}
	s := newSettling(r, rules)
	inParts(r.Table.Rows(), func(_, from, to int) {
		for row := from; row < to; row++ {
			s.row(int32(row))
		}
	})
	r.derived[SettledIndication] = schemas.CodeColumn(derivedField(SettledIndication), s.levels, s.codes)
	r.derived[SettledBy] = schemas.CodeColumn(derivedField(SettledBy), s.reasons, s.by)
	return nil
}

// settling settles the rows of one table.
type settling struct {
	rules    *ruleset
	recorded *schemas.Column   // nil when not exported
	findings []*schemas.Column // what the rules look at, the recorded indication apart
	levels   []string
	same     []int16 // by code of the recorded column: its place in levels
	settles  []int16 // by rule: place in levels, or NoCode when the recorded one stands
	reasons  []string
	codes    []int16
	by       []int16
}

func newSettling(r *Registry, rules *ruleset) *settling {
	n := r.Table.Rows()
	s := &settling{rules: rules, recorded: r.Table.Column("indication"), codes: make([]int16, n), by: make([]int16, n)}
	for _, code := range derivedField(SettledIndication).Codes {
		s.levels = append(s.levels, code.Value)
	}
	place := func(code string) int16 {
		at := slices.Index(s.levels, code)
		if at < 0 {
			at = len(s.levels)
			s.levels = append(s.levels, code)
		}
		return int16(at)
	}
	for _, rule := range rules.rules {
		s.reasons = append(s.reasons, rule.ID)
		settles := int16(schemas.NoCode)
		if rule.Settles != "" {
			settles = place(rule.Settles)
		}
		s.settles = append(s.settles, settles)
	}
	s.reasons = append(s.reasons, NoFindings, NoRule)
	if s.recorded != nil {
		for _, level := range s.recorded.Levels() {
			s.same = append(s.same, place(level))
		}
	}
	for _, c := range rules.seen {
		if c != s.recorded {
			s.findings = append(s.findings, c)
		}
	}
	return s
}

func (s *settling) row(row int32) {
	code := int16(schemas.NoCode)
	if s.recorded != nil && s.recorded.Codes()[row] >= 0 {
		code = s.same[s.recorded.Codes()[row]]
	}
	rule := bits.TrailingZeros64(s.rules.standingOn(row))
	switch {
	case rule < len(s.settles):
		if s.settles[rule] != schemas.NoCode {
			code = s.settles[rule]
		}
	case slices.ContainsFunc(s.findings, func(c *schemas.Column) bool { return !c.IsMissing(int(row)) }):
		rule = len(s.settles) + 1
	default:
		rule = len(s.settles)
	}
	s.codes[row], s.by[row] = code, int16(rule)
}
