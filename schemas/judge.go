package schemas

import (
	"slices"
	"sync"
)

// Judge completes a finding about a row of one of the source's files, which is read and in no table yet: the rule is as the plan
// has it, and a value that nobody is to see is withheld. file is the place of the file in the source; field is nil when the
// whole row is meant, and otherwise the field of the table. Rule, table, file, line, column, header, value and detail are the
// caller's.
func (s *Source) Judge(f Finding, file int, field *Field) Finding {
	f.Rule, f.order = s.severe(f.Rule, field), file
	if field != nil {
		f.Masked = field.Identifier
	}
	f.Value = s.visible(f.Header, f.Value)
	return f
}

// lowered holds, for each rule that a plan has lowered, its copy that only warns: one for all findings, so that they can be
// counted together.
var lowered sync.Map

// severe returns the rule as it holds for a field: itself, or a copy that only warns where the plan lowers it. In a field
// that every row needs, a rule that makes the value missing cannot be lowered.
func (s *Source) severe(rule *Rule, f *Field) *Rule {
	if !rule.MayWarn || rule.Severity == Warns || !slices.Contains(s.Warn, rule.ID) {
		return rule
	}
	if f != nil && f.Required && !rule.Between {
		return rule
	}
	r := *rule
	r.Severity = Warns
	copied, _ := lowered.LoadOrStore(rule, &r)
	return copied.(*Rule)
}

// withheld stands in for the values of a reviewed column.
const withheld = "(reviewed column)"

// visible returns a value as a finding may hold it: a column that was reviewed because it could identify people keeps its
// values to itself, also in private files. The place says where to look.
func (s *Source) visible(header, value string) string {
	if _, reviewed := s.Reviewed[header]; reviewed && value != "" {
		return withheld
	}
	return value
}
