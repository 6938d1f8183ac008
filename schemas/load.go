package schemas

import (
	"bytes"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
)

//go:embed files/*.json
var files embed.FS

// names holds the tables of a study in the order in which they are read.
var names = []string{"procedures", "revisions", "complications", "deaths", "scores", "contacts", "shoulders"}

// Names returns the names of the tables that a study can read, in reading order. [Shipped] knows one more, "estimates",
// which is written and not read.
func Names() []string { return slices.Clone(names) }

// Shipped returns a schema that is part of the program. The schema is shared and must not be changed. For a name that
// does not exist the error is a [Problem] with the nearest name.
func Shipped(name string) (*Schema, error) {
	all, err := shipped()
	if err != nil {
		return nil, err
	}
	if s := all[name]; s != nil {
		return s, nil
	}
	p := &Problem{Kind: PlanProblem, What: fmt.Sprintf("there is no table %q", name), Allowed: strings.Join(names, ", ")}
	if near, ok := Nearest(name, names); ok {
		p.Remedy = fmt.Sprintf("write %q if that is what you mean", near)
	}
	return nil, p
}

var shipped = sync.OnceValues(func() (map[string]*Schema, error) {
	all := map[string]*Schema{}
	entries, err := files.ReadDir("files")
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		if e.Name() == planFile || e.Name() == powerFile || e.Name() == instrumentFile {
			continue
		}
		b, err := files.ReadFile("files/" + e.Name())
		if err != nil {
			return nil, err
		}
		s, err := Parse(b)
		if err != nil {
			return nil, fmt.Errorf("schemas/files/%s: %w", e.Name(), err)
		}
		all[s.Name] = s
	}
	return all, nil
})

// Parse reads a schema from its JSON form, a Table Schema descriptor of the Data Package standard, version 2
// (https://datapackage.org/standard/table-schema/), restricted to what deltoid enforces: the types string, integer,
// number and date; the constraints required, unique, minimum, maximum and pattern; columns matched by name. What it
// would not enforce it refuses. The error is a [Problem], or [Problems] with everything that is wrong.
func Parse(b []byte) (*Schema, error) {
	var d descriptor
	dec := json.NewDecoder(bytes.NewReader(b))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&d); err != nil {
		return nil, notReadable(b, dec.InputOffset(), err)
	}
	if _, err := dec.Token(); err != io.EOF {
		return nil, notReadable(b, dec.InputOffset(), fmt.Errorf("text follows the closing brace"))
	}
	if ps := d.problems(); len(ps) > 0 {
		return nil, ps
	}
	return d.schema(), nil
}

// notReadable says where JSON stops being a descriptor, as far as the decoder knows it.
func notReadable(b []byte, offset int64, err error) *Problem {
	what := strings.TrimPrefix(err.Error(), "json: ")
	var grammar *json.SyntaxError
	var kind *json.UnmarshalTypeError
	switch {
	case errors.As(err, &grammar):
		offset = grammar.Offset
	case errors.As(err, &kind):
		offset, what = kind.Offset, fmt.Sprintf("a %s cannot stand at %q", kind.Value, kind.Field)
	}
	line := 1 + bytes.Count(b[:min(offset, int64(len(b)))], []byte("\n"))
	return &Problem{Kind: PlanProblem, Where: fmt.Sprintf("line %d", line), What: "the schema cannot be read: " + what,
		Remedy: "compare it with a schema in schemas/files", Cause: err}
}

// schema translates a descriptor without problems.
func (d *descriptor) schema() *Schema {
	s := &Schema{Name: d.Name, Title: d.Title, Description: d.Description, PrimaryKey: d.PrimaryKey,
		UniqueKeys: d.UniqueKeys}
	for i := range d.Fields {
		f := d.Fields[i].field()
		// Table Schema, section primaryKey: a field of the key is required.
		f.Required = f.Required || slices.Contains(d.PrimaryKey, f.Name)
		s.Fields = append(s.Fields, f)
		if d.Fields[i].Constraints.Unique {
			s.UniqueKeys = append(s.UniqueKeys, []string{f.Name})
		}
	}
	return s
}

func (e *fieldEntry) field() Field {
	f := Field{Name: e.Name, Title: e.Title, Description: e.Description, Type: types[e.Type], Unit: e.Unit,
		Identifier: e.Identifier, Required: e.Constraints.Required, Pattern: e.Constraints.Pattern,
		Minimum: e.Constraints.Minimum.number(), Maximum: e.Constraints.Maximum.number()}
	for _, c := range e.Categories {
		f.Type = Code
		f.Codes = append(f.Codes, CodeValue(c))
	}
	return f
}

// types gives the type of a field without categories; a string with categories is a [Code].
var types = map[string]Type{"string": Text, "integer": Integer, "number": Number, "date": Date}
