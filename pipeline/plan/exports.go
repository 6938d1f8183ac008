package plan

import (
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
		r.malformed(ready.key, "the ready table shoulders stands beside linked tables",
			"shoulders alone, or procedures with the tables linked to it",
			"remove one of the two: rows are either linked here or ready")
	case ready == nil && r.tables["procedures"] == nil:
		r.malformed(n, "the table procedures is missing from exports",
			"procedures with the tables linked to it, or shoulders alone", "name the files with the procedures")
	}
}

// export reads one table.
func (r *reader) export(p pair, s *schemas.Schema) *export {
	e := &export{schema: s, key: p.key, source: schemas.Source{Table: s.Name, Decimal: '.', Plan: r.place(p.key)}}
	sec := r.section(p.value, "exports."+s.Name, "files", "format", "delimiter", "decimal", "columns",
		"recode", "dates", "missing", "units", "extra", "encoding", "sheet", "zones", "wide", "items", "scales", "sha256", "reviewed", "drop")
	if v := sec.values["extra"]; v != nil {
		r.extras(v, e)
		r.datesOfExtras(v, e)
	}
	if v := sec.values["wide"]; v != nil {
		r.wide(v, e)
	}
	r.items(sec.values["items"], e)
	r.scales(sec.values["scales"], e)
	r.notWide("columns", sec.values["columns"], e, "day", "instrument", "value")
	r.notWide("recode", sec.values["recode"], e, "instrument")
	if v := sec.values["columns"]; v != nil {
		r.columns(v, e)
	}
	r.fileForm(sec, e)
	if v := sec.need("files", "name the file, as in \"files: exports/"+s.Name+".csv\""); v != nil {
		r.files(v, &e.source)
	}
	r.formOf(sec, e)
	if v := sec.values["zones"]; v != nil {
		r.zones(v, e)
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
	if v := sec.values["sha256"]; v != nil {
		r.hashes(v, e)
	}
	if v := sec.values["reviewed"]; v != nil {
		r.reviewed(v, e)
	}
	if v := sec.values["drop"]; v != nil {
		r.drop(v, e)
	}
	if v := sec.values["missing"]; v != nil {
		for _, token := range r.codes(v, "missing") {
			e.source.Missing = append(e.source.Missing, token.Value)
		}
	}
	return e
}

var (
	formats    = map[string]schemas.Format{"csv": schemas.CSV, "parquet": schemas.Parquet, "workbook": schemas.Workbook}
	delimiters = map[string]rune{"comma": ',', "semicolon": ';', "tab": '\t'}
)

// fileForm reads how the files are written.
func (r *reader) fileForm(s section, e *export) {
	if v := s.values["format"]; v != nil {
		word, _ := r.choice(v, "format", []string{"csv", "parquet", "workbook"})
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
				r.wrong(v, "the decimal mark and the delimiter are both a comma", "two different marks",
					"declare the delimiter that the file really has")
			}
		}
	}
}

// known looks up the field that a key names.
func (r *reader) known(key *yaml.Node, e *export, pass func(*schemas.Field) bool, why string) *schemas.Field {
	f, names := e.field(key.Value), e.fields(pass)
	allowed := join(names)
	if f == nil {
		what, _, remedy := unknown("field", key.Value, names,
			"name one of the fields allowed, or declare the column under extra")
		r.wrong(key, what+" in "+e.schema.Name, orNone(allowed), remedy)
		return nil
	}
	if !pass(f) {
		if f.Identifier {
			why = "is an identifier: it links rows and does nothing else"
		}
		remedy := "name one of the fields allowed"
		if allowed == "" {
			remedy = "remove it"
		}
		r.wrong(key, "the field "+quote(f.Name)+" of "+e.schema.Name+" "+why, orNone(allowed), remedy)
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
