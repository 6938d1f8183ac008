package plan

import (
	"regexp"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"deltoid/schemas"
)

// export is one declared table.
type export struct {
	schema *schemas.Schema
	source schemas.Source
	key    *yaml.Node // its name in the plan
}

// field returns a field of the table's schema or one of its extra columns, or nil.
func (e *export) field(name string) *schemas.Field {
	if f := e.schema.Field(name); f != nil {
		return f
	}
	for i := range e.source.Extra {
		if e.source.Extra[i].Name == name {
			return &e.source.Extra[i]
		}
	}
	return nil
}

// fields returns the names of the fields that pass.
func (e *export) fields(pass func(*schemas.Field) bool) []string {
	var names []string
	for _, list := range [][]schemas.Field{e.schema.Fields, e.source.Extra} {
		for i := range list {
			if pass(&list[i]) {
				names = append(names, list[i].Name)
			}
		}
	}
	return names
}

func anyField(*schemas.Field) bool { return true }
func isDate(f *schemas.Field) bool { return f.Type == schemas.Date }
func isWord(f *schemas.Field) bool {
	return f.Type == schemas.Code || f.Type == schemas.Text && !f.Identifier
}
func isDuration(f *schemas.Field) bool {
	return f.Unit == string(schemas.Days) && f.Type != schemas.Date
}

// exports reads where the tables are. They come out in reading order, whatever order the plan has.
func (r *reader) exports(n *yaml.Node) {
	if n == nil {
		return
	}
	r.tables = map[string]*export{}
	unknownTable := false
	for _, p := range r.pairs(n, "exports") {
		s, err := schemas.Shipped(p.key.Value)
		if err != nil || !slices.Contains(schemas.Names(), p.key.Value) {
			what, allowed, remedy := unknown("table", p.key.Value, schemas.Names(), "name one of the tables allowed")
			r.malformed(p.key, what, allowed, remedy)
			unknownTable = true
			continue
		}
		r.tables[s.Name] = r.export(p, s)
	}
	if !unknownTable && n.Kind == yaml.MappingNode {
		r.tablesTogether(n)
	}
	r.main = r.tables["procedures"]
	if r.main == nil {
		r.main = r.tables["shoulders"]
	}
	r.sameDays()
	for _, name := range schemas.Names() {
		if e := r.tables[name]; e != nil {
			r.plan.Sources = append(r.plan.Sources, e.source)
		}
	}
}

// tablesTogether reports tables that do not make a study.
func (r *reader) tablesTogether(n *yaml.Node) {
	ready := r.tables["shoulders"]
	switch {
	case ready != nil && len(r.tables) > 1:
		r.malformed(ready.key, "the ready table shoulders stands beside linked tables", "shoulders alone, or procedures with the tables linked to it", "remove one of the two: rows are either linked here or ready")
	case ready == nil && r.tables["procedures"] == nil:
		r.malformed(n, "the table procedures is missing from exports", "procedures with the tables linked to it, or shoulders alone", "name the files with the procedures")
	}
}

// export reads one table.
func (r *reader) export(p pair, s *schemas.Schema) *export {
	e := &export{schema: s, key: p.key, source: schemas.Source{Table: s.Name, Decimal: '.', Plan: r.place(p.key)}}
	sec := r.section(p.value, "exports."+s.Name, "files", "format", "delimiter", "decimal", "columns", "recode", "dates", "missing", "units", "extra")
	if v := sec.values["extra"]; v != nil {
		r.extras(v, e)
	}
	if v := sec.values["columns"]; v != nil {
		r.columns(v, e)
	}
	r.fileForm(sec, e)
	if v := sec.need("files", "name the file, as in \"files: exports/"+s.Name+".csv\""); v != nil {
		r.files(v, &e.source)
	}
	if v := sec.values["recode"]; v != nil {
		r.recode(v, e)
	}
	if v := sec.values["dates"]; v != nil {
		r.dates(v, e)
	}
	if v := sec.values["units"]; v != nil {
		r.units(v, e)
	}
	if v := sec.values["missing"]; v != nil {
		for _, token := range r.codes(v, "missing") {
			e.source.Missing = append(e.source.Missing, token.Value)
		}
	}
	return e
}

var (
	formats    = map[string]schemas.Format{"csv": schemas.CSV, "parquet": schemas.Parquet}
	delimiters = map[string]rune{"comma": ',', "semicolon": ';', "tab": '\t'}
)

// fileForm reads how the files are written.
func (r *reader) fileForm(s section, e *export) {
	if v := s.values["format"]; v != nil {
		word, _ := r.choice(v, "format", []string{"csv", "parquet"})
		e.source.Format = formats[word]
	}
	if v := s.values["delimiter"]; v != nil {
		word, _ := r.choice(v, "delimiter", []string{"comma", "semicolon", "tab"})
		e.source.Delimiter = delimiters[word]
	}
	if v := s.values["decimal"]; v != nil {
		if word, _ := r.choice(v, "decimal", []string{"point", "comma"}); word == "comma" {
			e.source.Decimal = ','
			if e.source.Delimiter == ',' {
				r.wrong(v, "the decimal mark and the delimiter are both a comma", "two different marks", "declare the delimiter that the file really has")
			}
		}
	}
}

// known looks up the field that a key names.
func (r *reader) known(key *yaml.Node, e *export, pass func(*schemas.Field) bool, why string) *schemas.Field {
	f := e.field(key.Value)
	if f == nil {
		what, allowed, remedy := unknown("field", key.Value, e.fields(pass), "name one of the fields allowed, or declare the column under extra")
		r.wrong(key, what+" in "+e.schema.Name, orNone(allowed), remedy)
		return nil
	}
	if !pass(f) {
		r.wrong(key, "the field "+quote(f.Name)+" of "+e.schema.Name+" "+why, orNone(join(e.fields(pass))), "remove the key")
		return nil
	}
	return f
}

func orNone(list string) string {
	if list == "" {
		return "none: the table has no such field"
	}
	return list
}

func join(words []string) string { return strings.Join(words, ", ") }

// columns reads which column of the file a field is.
func (r *reader) columns(n *yaml.Node, e *export) {
	for _, p := range r.pairs(n, "columns") {
		column, ok := r.code(p.value, "the column of "+quote(p.key.Value))
		if !ok || r.known(p.key, e, anyField, "") == nil {
			continue
		}
		if e.schema.Field(p.key.Value) == nil && e.source.Columns[p.key.Value] != "" {
			r.wrong(p.key, "the column of "+quote(p.key.Value)+" is named twice: here and under extra", "one of the two", "remove the key here")
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
		name := "recode." + p.key.Value
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
		layout, ok := r.text(p.value, "the layout of "+quote(p.key.Value))
		if !ok || r.known(p.key, e, isDate, "holds no dates") == nil {
			continue
		}
		if fault := layoutFault(layout); fault != "" {
			r.wrong(p.value, quote(layout)+" is not a layout of dates: "+fault, "YYYY, MM and DD in any order with marks between them, or \"day number\"", layoutRemedy(layout))
			continue
		}
		e.source.Layouts = put(e.source.Layouts, p.key.Value, schemas.Layout(layout))
	}
}

// sameDays fills in the layouts that were not declared, and makes sure that dates and day numbers are not mixed.
func (r *reader) sameDays() {
	var first *export
	firstField := ""
	for _, name := range schemas.Names() {
		e := r.tables[name]
		if e == nil {
			continue
		}
		for _, field := range e.fields(isDate) {
			if e.source.Layouts[field] == "" {
				e.source.Layouts = put(e.source.Layouts, field, schemas.ISODate)
			}
			numbered := e.source.Layouts[field] == schemas.DayNumber
			switch {
			case first == nil:
				first, firstField, r.plan.Offsets = e, field, numbered
			case numbered != r.plan.Offsets:
				r.wrong(e.key, field+" of "+name+" holds "+dayKind(numbered)+", but "+firstField+" of "+first.schema.Name+" holds "+dayKind(r.plan.Offsets),
					"dates everywhere, or day numbers everywhere", "declare the layout under dates, or export the column the other way")
			}
		}
	}
}

func dayKind(numbered bool) string {
	if numbered {
		return "day numbers"
	}
	return "dates"
}

// units reads in which unit lengths of time, and day numbers, are written.
func (r *reader) units(n *yaml.Node, e *export) {
	isDuration := func(f *schemas.Field) bool {
		return f.Type == schemas.Integer && f.Unit == string(schemas.Days) || e.source.Layouts[f.Name] == schemas.DayNumber
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

// fieldName is the form of a name of an extra field; it becomes a column of the files written for analysis.
var fieldName = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_]{0,63}$`)

var types = map[string]schemas.Type{"text": schemas.Text, "code": schemas.Code, "integer": schemas.Integer, "number": schemas.Number, "date": schemas.Date}
var typeNames = []string{"text", "code", "integer", "number", "date"}

// extras reads the columns beyond the schema.
func (r *reader) extras(n *yaml.Node, e *export) {
	for _, p := range r.pairs(n, "extra") {
		name := p.key.Value
		if !fieldName.MatchString(name) {
			r.malformed(p.key, "the extra field is called "+quote(name), "a letter, then letters, digits and underscores, at most 64", "give it such a name, and name its column in the file under \"column\"")
			continue
		}
		if e.schema.Field(name) != nil {
			r.wrong(p.key, quote(name)+" is a field of "+e.schema.Name+" already", "other names", "remove it here; name its column under columns")
			continue
		}
		f := schemas.Field{Name: name, Title: strings.ReplaceAll(name, "_", " ")}
		if p.value.Kind == yaml.ScalarNode {
			word, _ := r.choice(p.value, "the type of "+quote(name), typeNames)
			f.Type = types[word]
		} else {
			r.extra(p.value, e, &f)
		}
		e.source.Extra = append(e.source.Extra, f)
	}
}

// extra reads the long form of an extra column.
func (r *reader) extra(n *yaml.Node, e *export, f *schemas.Field) {
	s := r.section(n, "extra."+f.Name, "type", "title", "unit", "column", "codes")
	if v := s.need("type", "add the type: "+join(typeNames)); v != nil {
		word, _ := r.choice(v, "the type of "+quote(f.Name), typeNames)
		f.Type = types[word]
	}
	if v := s.values["title"]; v != nil {
		f.Title, _ = r.text(v, "title")
	}
	if v := s.values["unit"]; v != nil {
		f.Unit, _ = r.text(v, "unit")
	}
	if v := s.values["column"]; v != nil {
		if column, ok := r.code(v, "column"); ok {
			e.source.Columns = put(e.source.Columns, f.Name, column)
		}
	}
	v := s.values["codes"]
	if v == nil {
		return
	}
	if f.Type != schemas.Code {
		r.wrong(v, "codes stand with a field that does not hold codes", "codes with the type code", "write \"type: code\", or remove the codes")
	}
	for _, c := range r.pairs(v, "codes") {
		if label, ok := r.code(c.value, "the label of "+quote(c.key.Value)); ok {
			f.Codes = append(f.Codes, schemas.CodeValue{Value: c.key.Value, Label: label})
		}
	}
}
