package plan

import (
	"go.yaml.in/yaml/v3"

	"deltoid/schemas"
)

// columns reads which column of the file a field is.
func (r *reader) columns(n *yaml.Node, e *export) {
	for _, p := range r.pairs(n, "columns") {
		column, ok := r.code(p.value, "the column of "+quote(p.key.Value))
		if !ok || r.known(p.key, e, anyField, "") == nil {
			continue
		}
		if e.schema.Field(p.key.Value) == nil && e.source.Columns[p.key.Value] != "" {
			r.wrong(p.key, "the column of "+quote(p.key.Value)+" is named twice: here and under extra",
				"one of the two", "remove the key here")
			continue
		}
		e.source.Columns = put(e.source.Columns, p.key.Value, column)
	}
}

// put sets a key of a map that may be nil.
func put[V any](m map[string]V, key string, value V) map[string]V {
	if m == nil {
		m = map[string]V{}
	}
	m[key] = value
	return m
}

// recode reads which of their codes is which of ours.
func (r *reader) recode(n *yaml.Node, e *export) {
	for _, p := range r.pairs(n, "recode") {
		name := "recode." + plain(p.key.Value)
		f := r.known(p.key, e, isWord, "holds neither codes nor texts, so nothing can be recoded")
		for _, c := range r.pairs(p.value, name) {
			ours, ok := r.recoded(c)
			if !ok || f == nil || ours != "" && !r.hasCode(c.value, f) {
				continue
			}
			codes := put(e.source.Recode[f.Name], c.key.Value, ours)
			e.source.Recode = put(e.source.Recode, f.Name, codes)
		}
	}
}

// recoded reads our code for one of theirs. An empty text in quotation marks makes the value missing.
func (r *reader) recoded(p pair) (string, bool) {
	if p.value.Kind == yaml.ScalarNode && p.value.Value == "" && p.value.ShortTag() == "!!str" {
		return "", true
	}
	return r.code(p.value, "our code for "+quote(p.key.Value))
}

// hasCode reports a code that is not in the list of its field.
func (r *reader) hasCode(n *yaml.Node, f *schemas.Field) bool {
	if len(f.Codes) == 0 {
		return true
	}
	codes := make([]string, len(f.Codes))
	for i, c := range f.Codes {
		if c.Value == n.Value {
			return true
		}
		codes[i] = c.Value
	}
	what, allowed, remedy := unknown("code", n.Value, codes, "write one of our codes, not the export's")
	r.wrong(n, what+" of "+quote(f.Name), allowed, remedy)
	return false
}

// dates reads in which layout the dates are written.
func (r *reader) dates(n *yaml.Node, e *export) {
	for _, p := range r.pairs(n, "dates") {
		layouts := r.layouts(p.value, "the layout of "+quote(p.key.Value))
		if len(layouts) == 0 || r.known(p.key, e, isDate, "holds no dates") == nil {
			continue
		}
		if a, b, ok := schemas.Confused(layouts); ok && numbered(layouts) {
			r.wrong(p.value, "day number stands with layouts of dates", "day number alone", "export the column in one of the two ways")
			continue
		} else if ok {
			r.wrong(p.value, quote(string(a))+" and "+quote(string(b))+" can both read the same value of "+quote(p.key.Value),
				"layouts of which no two can read the same value, as [DD/MM/YYYY, YYYY-MM-DD]", "keep the one that is meant; if both occur, export the column in one layout")
			continue
		}
		e.source.Layouts = put(e.source.Layouts, p.key.Value, layouts)
	}
}

// layouts reads one layout, or the list of those that stand in one column.
func (r *reader) layouts(n *yaml.Node, name string) (list []schemas.Layout) {
	nodes := []*yaml.Node{n}
	if n.Kind == yaml.SequenceNode {
		nodes = r.entries(n, name)
	}
	for _, one := range nodes {
		layout, ok := r.text(one, name)
		if !ok {
			continue
		}
		if fault := layoutFault(layout); fault != "" {
			r.wrong(one, quote(layout)+" is not a layout of dates: "+fault,
				"YYYY, MM and DD in any order with marks between them, \"day number\", or in a workbook \"sheet date\"", layoutRemedy(layout))
			continue
		}
		list = append(list, schemas.Layout(layout))
	}
	return list
}

// units reads in which unit lengths of time, and day numbers, are written.
func (r *reader) units(n *yaml.Node, e *export) {
	isDuration := func(f *schemas.Field) bool {
		return f.Type == schemas.Integer && f.Unit == string(schemas.Days) || numbered(e.source.Layouts[f.Name])
	}
	for _, p := range r.pairs(n, "units") {
		unit, ok := r.unit(p.value, "the unit of "+quote(p.key.Value))
		if ok && r.known(p.key, e, isDuration, "is not a length of time") != nil {
			e.source.Units = put(e.source.Units, p.key.Value, unit)
		}
	}
}

var unitNames = []string{string(schemas.Days), string(schemas.Weeks), string(schemas.Months), string(schemas.Years)}

func (r *reader) unit(n *yaml.Node, name string) (schemas.Unit, bool) {
	v, ok := r.choice(n, name, unitNames)
	return schemas.Unit(v), ok
}
