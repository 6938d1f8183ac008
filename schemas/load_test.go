package schemas

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestParseReadsEveryPart(t *testing.T) {
	s, err := Parse([]byte(`{"name": "n", "title": "T", "description": "D.", "fieldsMatch": "partial", "missingValues": [""],
		"primaryKey": ["id"], "uniqueKeys": [["id", "day"]],
		"foreignKeys": [{"fields": ["id"], "reference": {"resource": "other", "fields": ["id"]}}],
		"fields": [
			{"name": "id", "type": "string", "title": "Id", "description": "I.", "identifier": true, "constraints": {"pattern": "[a-z]+"}},
			{"name": "day", "type": "date", "format": "default", "constraints": {"minimum": "1970-01-02", "maximum": "2000-01-01"}},
			{"name": "n", "type": "integer", "constraints": {"unique": true, "minimum": "-1"}},
			{"name": "x", "type": "number", "unit": "mm", "constraints": {"required": true, "minimum": 0.5}},
			{"name": "c", "type": "string", "categoriesOrdered": true, "categories": [{"value": "1", "label": "One", "description": "First."}, {"value": "2"}]}
		]}`))
	if err != nil {
		t.Fatal(err)
	}
	at := func(x float64) *float64 { return &x }
	want := &Schema{Name: "n", Title: "T", Description: "D.", PrimaryKey: []string{"id"}, UniqueKeys: [][]string{{"id", "day"}, {"n"}},
		Fields: []Field{
			// [primaryKey]: a field of the key is required.
			{Name: "id", Title: "Id", Description: "I.", Type: Text, Identifier: true, Required: true, Pattern: "[a-z]+"},
			{Name: "day", Type: Date, Minimum: at(1), Maximum: at(10957)}, // 30 years of 365 days and 7 leap days
			{Name: "n", Type: Integer, Minimum: at(-1)},
			{Name: "x", Type: Number, Unit: "mm", Required: true, Minimum: at(0.5)},
			{Name: "c", Type: Code, Codes: []CodeValue{{"1", "One", "First."}, {Value: "2"}}},
		}}
	if diff := cmp.Diff(want, s); diff != "" {
		t.Error(diff)
	}
}

// broken wraps one field into a schema without other faults.
func broken(field string) string {
	return `{"name": "n", "fieldsMatch": "partial", "fields": [` + field + `]}`
}

func TestParseSaysWhatIsWrong(t *testing.T) {
	for text, want := range map[string]string{
		`{"name": "n",`:   "cannot be read: unexpected EOF",
		`{"name": "n"} x`: "text follows the closing brace",
		`{"nmae": "n"}`:   `unknown field "nmae"`,
		`{"name": 7}`:     `a number cannot stand at "name"`,
		`{"fieldsMatch": "partial", "fields": [{"name": "a", "type": "string"}]}`:                                                                                                "the schema has no name",
		`{"name": "n", "fields": [{"name": "a", "type": "string"}]}`:                                                                                                             `fieldsMatch is ""`,
		`{"name": "n", "fieldsMatch": "partial"}`:                                                                                                                                "the schema has no fields",
		`{"name": "n", "fieldsMatch": "partial", "missingValues": ["", "NA"], "fields": [{"name": "a", "type": "string"}]}`:                                                      `"NA" is to mean missing`,
		`{"name": "n", "fieldsMatch": "partial", "primaryKey": ["b"], "fields": [{"name": "a", "type": "string"}]}`:                                                              `primaryKey: the key names "b"`,
		`{"name": "n", "fieldsMatch": "partial", "uniqueKeys": [["a"], ["b"]], "fields": [{"name": "a", "type": "string"}]}`:                                                     `uniqueKeys: the key names "b"`,
		`{"name": "n", "fieldsMatch": "partial", "foreignKeys": [{"fields": ["a"], "reference": {"resource": "o", "fields": []}}], "fields": [{"name": "a", "type": "string"}]}`: "differ in their number of fields",
		broken(`{"name": "a", "type": "string"}, {"name": "a", "type": "date"}`):                                                                                                 "a: two fields have this name",
		broken(`{"type": "string"}`):                                                                                          "field 1: the field has no name",
		broken(`{"name": "a"}`):                                                                                               `a: the type is ""; allowed: string, integer, number, date`,
		broken(`{"name": "a", "type": "boolean"}`):                                                                            `the type is "boolean"`,
		broken(`{"name": "a", "type": "date", "format": "%d/%m/%Y"}`):                                                         `the format is "%d/%m/%Y"`,
		broken(`{"name": "a", "type": "string", "constraints": {"maxLength": 3}}`):                                            `unknown field "maxLength"`,
		broken(`{"name": "a", "type": "string", "constraints": {"minimum": 3}}`):                                              "there is a minimum or a maximum",
		broken(`{"name": "a", "type": "number", "constraints": {"minimum": "low"}}`):                                          `parsing "low": invalid syntax`,
		broken(`{"name": "a", "type": "number", "constraints": {"minimum": "NaN"}}`):                                          "NaN is a limit",
		broken(`{"name": "a", "type": "number", "constraints": {"minimum": 3, "maximum": 2}}`):                                "the minimum 3 is above the maximum 2",
		broken(`{"name": "a", "type": "number", "constraints": {"pattern": "a"}}`):                                            "there is a pattern",
		broken(`{"name": "a", "type": "string", "constraints": {"pattern": "("}}`):                                            "not a regular expression",
		broken(`{"name": "a", "type": "integer", "categories": [{"value": "1"}]}`):                                            `a field of type "integer" has categories`,
		broken(`{"name": "a", "type": "string", "categories": [{"value": " b"}]}`):                                            `" b" is a category`,
		broken(`{"name": "a", "type": "string", "categories": [{"value": "b"}, {"value": "b"}]}`):                             `the category "b" stands twice`,
		broken(`{"name": "a", "type": "string", "categories": [{"value": "b", "label": "B"}, {"value": "c", "label": "B"}]}`): `two categories have the label "B"`,
	} {
		s, err := Parse([]byte(text))
		if s != nil || err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s\n  got  %v\n  want %s", text, err, want)
		}
	}
}

func TestParseReportsEverythingAtOnce(t *testing.T) {
	_, err := Parse([]byte(broken(`{"name": "a", "type": "x"}, {"name": "a", "type": "y"}`)))
	var ps Problems
	if !errors.As(err, &ps) || len(ps) != 3 {
		t.Errorf("want 3 problems, got %v", err)
	}
}

func TestParseNamesTheLine(t *testing.T) {
	_, err := Parse([]byte("{\n\"name\": \"n\",\n\"title\": 3\n}"))
	var p *Problem
	if !errors.As(err, &p) || p.Where != "line 3" {
		t.Errorf("got %v", err)
	}
}

func TestShippedNamesTheNearestTable(t *testing.T) {
	_, err := Shipped("Procedure")
	var p *Problem
	if !errors.As(err, &p) || p.Kind != PlanProblem || !strings.Contains(p.Remedy, `"procedures"`) || !strings.Contains(p.Allowed, "shoulders") {
		t.Errorf("got %v", err)
	}
}
