package schemas

import (
	"fmt"
	"math"
	"regexp"
	"strings"
)

// problems returns everything that is wrong with a descriptor.
func (d *descriptor) problems() Problems {
	var ps Problems
	if d.Name == "" {
		ps.add("", "the schema has no name", "", `add "name"`)
	}
	if d.FieldsMatch != "partial" {
		ps.add("fieldsMatch", fmt.Sprintf("fieldsMatch is %q", d.FieldsMatch), `"partial"`,
			"columns are found by name, and only required ones must be there")
	}
	for _, token := range d.MissingValues {
		if token != "" {
			ps.add("missingValues", fmt.Sprintf("%q is to mean missing in every export", token), `[""]`,
				"declare the token in the study plan, for the export that uses it")
		}
	}
	if len(d.Fields) == 0 {
		ps.add("fields", "the schema has no fields", "", "describe at least one column")
	}
	seen := map[string]bool{}
	for i := range d.Fields {
		f := &d.Fields[i]
		if seen[f.Name] {
			ps.add(f.Name, "two fields have this name", "", "give each field a name of its own")
		}
		seen[f.Name] = true
		f.check(i, &ps)
	}
	d.checkKeys(seen, &ps)
	return ps
}

func (d *descriptor) checkKeys(known map[string]bool, ps *Problems) {
	check := func(key string, fields []string) {
		for _, name := range fields {
			if !known[name] {
				ps.add(key, fmt.Sprintf("the key names %q, which is not a field", name), "the schema's own fields",
					"correct the name")
			}
		}
	}
	check("primaryKey", d.PrimaryKey)
	for _, k := range d.UniqueKeys {
		check("uniqueKeys", k)
	}
	for _, k := range d.ForeignKeys {
		check("foreignKeys", k.Fields)
		if len(k.Fields) == 0 || len(k.Fields) != len(k.Reference.Fields) {
			ps.add("foreignKeys", "the key and its reference differ in their number of fields", "",
				"name as many fields on each side")
		}
	}
}

// check tests one field. The rules are those of the sections Field and Field Constraints of the standard.
func (e *fieldEntry) check(at int, ps *Problems) {
	where := e.Name
	if e.Name == "" {
		where = fmt.Sprintf("field %d", at+1)
		ps.add(where, "the field has no name", "", `add "name"`)
	}
	if _, ok := types[e.Type]; !ok {
		ps.add(where, fmt.Sprintf("the type is %q", e.Type), "string, integer, number, date", "declare one of these types")
	}
	if e.Format != "" && e.Format != "default" {
		ps.add(where, fmt.Sprintf("the format is %q", e.Format), "default",
			"declare the layout of an export's dates in the study plan")
	}
	e.checkConstraints(where, ps)
	e.checkCategories(where, ps)
}

func (e *fieldEntry) checkConstraints(where string, ps *Problems) {
	c := &e.Constraints
	if c.Pattern != "" {
		if e.Type != "string" || len(e.Categories) > 0 {
			ps.add(where, "there is a pattern", "a pattern on a string without categories", "remove it")
		}
		if _, err := regexp.Compile(c.Pattern); err != nil {
			ps.add(where, "the pattern is not a regular expression: "+err.Error(), "", "correct it")
		}
	}
	if e.Type == "string" && (c.Minimum != nil || c.Maximum != nil) {
		ps.add(where, "there is a minimum or a maximum", "limits on an integer, a number or a date", "remove it")
	}
	for _, l := range []*limit{c.Minimum, c.Maximum} {
		if l != nil && (math.IsNaN(float64(*l)) || math.IsInf(float64(*l), 0)) {
			ps.add(where, fmt.Sprintf("%v is a limit", *l), "a finite number", "correct it, or leave the limit out")
		}
	}
	if c.Minimum != nil && c.Maximum != nil && *c.Minimum > *c.Maximum {
		ps.add(where, fmt.Sprintf("the minimum %v is above the maximum %v", *c.Minimum, *c.Maximum), "",
			"correct one of them")
	}
}

func (e *fieldEntry) checkCategories(where string, ps *Problems) {
	if len(e.Categories) > 0 && e.Type != "string" {
		ps.add(where, fmt.Sprintf("a field of type %q has categories", e.Type), "categories on a string",
			"declare the type string: codes are labels also when they are digits")
	}
	values, labels := map[string]bool{}, map[string]bool{}
	for _, c := range e.Categories {
		switch {
		case c.Value == "" || c.Value != strings.TrimSpace(c.Value):
			ps.add(where, fmt.Sprintf("%q is a category", c.Value), "text without blanks at its ends", "correct it")
		case values[c.Value]:
			ps.add(where, fmt.Sprintf("the category %q stands twice", c.Value), "", "remove one of them")
		case c.Label != "" && labels[c.Label]:
			ps.add(where, fmt.Sprintf("two categories have the label %q", c.Label), "", "give each a label of its own")
		}
		values[c.Value], labels[c.Label] = true, true
	}
}

func (ps *Problems) add(where, what, allowed, remedy string) {
	*ps = append(*ps, &Problem{Kind: PlanProblem, Where: where, What: what, Allowed: allowed, Remedy: remedy})
}
