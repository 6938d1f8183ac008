package plan

import (
	"regexp"
	"strings"

	"go.yaml.in/yaml/v3"

	"deltoid/schemas"
)

// fieldName is the form of a name of an extra field; it becomes a column of the files written for analysis.
var fieldName = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_]{0,63}$`)

var types = map[string]schemas.Type{"text": schemas.Text, "code": schemas.Code,
	"integer": schemas.Integer, "number": schemas.Number, "date": schemas.Date}
var typeNames = []string{"text", "code", "integer", "number", "date"}

// extras reads the columns beyond the schema.
func (r *reader) extras(n *yaml.Node, e *export) {
	for _, p := range r.pairs(n, "extra") {
		name := p.key.Value
		f := schemas.Field{Name: name, Title: strings.ReplaceAll(name, "_", " ")}
		if p.value.Kind == yaml.ScalarNode {
			word, _ := r.choice(p.value, "the type of "+quote(name), typeNames)
			f.Type = types[word]
		} else {
			r.extra(p.value, e, &f)
		}
		switch {
		case !fieldName.MatchString(name):
			r.malformed(p.key, "the extra field is called "+quote(name),
				"a letter, then letters, digits and underscores, at most 64",
				"give it such a name, and name its column in the file under \"column\"")
		case e.schema.Field(name) != nil:
			r.wrong(p.key, quote(name)+" is a field of "+e.schema.Name+" already", "other names",
				"remove it here; name its column under columns")
		default:
			e.source.Extra = append(e.source.Extra, f)
		}
	}
}

// extra reads the long form of an extra column.
func (r *reader) extra(n *yaml.Node, e *export, f *schemas.Field) {
	s := r.section(n, "extra."+f.Name, "type", "title", "unit", "column", "codes", "known_on")
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
	if v := s.values["known_on"]; v != nil {
		r.knownOn(v, f)
	}
	v := s.values["codes"]
	if v == nil {
		return
	}
	if f.Type != schemas.Code {
		r.wrong(v, "codes stand with a field that does not hold codes", "codes with the type code",
			"write \"type: code\", or remove the codes")
	}
	for _, c := range r.pairs(v, "codes") {
		if label, ok := r.code(c.value, "the label of "+quote(c.key.Value)); ok {
			f.Codes = append(f.Codes, schemas.CodeValue{Value: c.key.Value, Label: label})
		}
	}
}
