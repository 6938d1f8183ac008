package schemas

import (
	"encoding/json"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// The rules of this page are those of the Table Schema standard, Data Package version 2.0
// (https://datapackage.org/standard/table-schema/), read from the JSON itself and not through our loader. The names in
// brackets are the standard's sections.

// readShipped returns every shipped file as plain JSON.
func readShipped(t *testing.T) map[string]map[string]any {
	all := map[string]map[string]any{}
	entries, err := files.ReadDir("files")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if e.Name() == planFile || e.Name() == powerFile || e.Name() == instrumentFile {
			continue
		}
		b, err := files.ReadFile("files/" + e.Name())
		if err != nil {
			t.Fatal(err)
		}
		var s map[string]any
		if err := json.Unmarshal(b, &s); err != nil {
			t.Fatalf("%s: %v", e.Name(), err)
		}
		all[strings.TrimSuffix(e.Name(), ".json")] = s
	}
	return all
}

func fieldsOf(s map[string]any) map[string]map[string]any {
	fields := map[string]map[string]any{}
	for _, f := range s["fields"].([]any) {
		f := f.(map[string]any)
		fields[f["name"].(string)] = f
	}
	return fields
}

func texts(list any) []string {
	var out []string
	for _, x := range list.([]any) {
		out = append(out, x.(string))
	}
	return out
}

func TestEveryTableIsShipped(t *testing.T) {
	var have []string
	for name := range readShipped(t) {
		have = append(have, name)
	}
	want := append(Names(), "estimates")
	slices.Sort(have)
	slices.Sort(want)
	if diff := cmp.Diff(want, have); diff != "" {
		t.Errorf("files in schemas/files (-want +have):\n%s", diff)
	}
}

// [fields], [name]: names are unique. [$schema]: the recommended profile. [primaryKey], [uniqueKeys]: lists of fields.
func TestShippedFilesFollowTheStandard(t *testing.T) {
	for name, s := range readShipped(t) {
		if s["$schema"] != "https://datapackage.org/profiles/2.0/tableschema.json" {
			t.Errorf("%s: $schema is %v", name, s["$schema"])
		}
		fields := fieldsOf(s)
		if len(fields) != len(s["fields"].([]any)) {
			t.Errorf("%s: two fields have one name", name)
		}
		keys := [][]string{}
		if s["primaryKey"] != nil {
			keys = append(keys, texts(s["primaryKey"]))
		}
		if s["uniqueKeys"] != nil {
			for _, k := range s["uniqueKeys"].([]any) {
				keys = append(keys, texts(k))
			}
		}
		for _, k := range keys {
			for _, f := range k {
				if fields[f] == nil {
					t.Errorf("%s: a key names %q, which is not a field", name, f)
				}
			}
		}
		if !slices.Contains(texts(s["missingValues"]), "") {
			t.Errorf("%s: an empty cell is not missing", name)
		}
		for _, f := range fields {
			standardField(t, name, f)
		}
	}
}

// [type and format], [categories], [categoriesOrdered], [Field Constraints].
func standardField(t *testing.T, table string, f map[string]any) {
	where := table + "." + f["name"].(string)
	typ, _ := f["type"].(string)
	if !slices.Contains([]string{"string", "integer", "number", "date"}, typ) {
		t.Errorf("%s: type %q", where, typ)
	}
	if format := f["format"]; format != nil && format != "default" {
		t.Errorf("%s: format %v", where, format)
	}
	constraints, _ := f["constraints"].(map[string]any)
	for c, value := range constraints {
		_, isNumber := value.(float64)
		_, isText := value.(string)
		_, isBool := value.(bool)
		switch {
		case (c == "required" || c == "unique") && isBool:
		case (c == "minimum" || c == "maximum") && typ != "string" && (isNumber || isText):
		case c == "pattern" && typ == "string" && isText:
		default:
			t.Errorf("%s: constraint %s: %v on a %s", where, c, value, typ)
		}
	}
	if f["categories"] != nil {
		standardCategories(t, where, typ, f)
	}
}

func standardCategories(t *testing.T, where, typ string, f map[string]any) {
	if _, ok := f["categoriesOrdered"].(bool); !ok || typ != "string" {
		t.Errorf("%s: categories on a %s, ordered: %v", where, typ, f["categoriesOrdered"])
	}
	values, labels := map[any]bool{}, map[any]bool{}
	for _, c := range f["categories"].([]any) {
		c := c.(map[string]any)
		if values[c["value"]] || labels[c["label"]] {
			t.Errorf("%s: category %v stands twice", where, c)
		}
		values[c["value"]], labels[c["label"]] = true, true
	}
}

// [foreignKeys]: as many fields on both sides, and both exist. Keys that point at each other have the same codes.
func TestForeignKeysMeetFieldsAndSharedFieldsMeanTheSame(t *testing.T) {
	all := readShipped(t)
	for name, s := range all {
		if s["foreignKeys"] == nil {
			continue
		}
		for _, k := range s["foreignKeys"].([]any) {
			own := texts(k.(map[string]any)["fields"])
			ref := k.(map[string]any)["reference"].(map[string]any)
			other := fieldsOf(all[ref["resource"].(string)])
			theirs := texts(ref["fields"])
			if len(own) != len(theirs) {
				t.Fatalf("%s: key %v against %v", name, own, theirs)
			}
			for i := range own {
				if diff := cmp.Diff(fieldsOf(s)[own[i]], other[theirs[i]]); diff != "" {
					t.Errorf("%s.%s is not what it refers to:\n%s", name, own[i], diff)
				}
			}
		}
	}
}

// The ready table repeats fields of the event tables; their codes must be the same ones.
func TestTheReadyTableHasTheCodesOfTheEventTables(t *testing.T) {
	ready := mustShip(t, "shoulders")
	for field, table := range map[string]string{"reason": "revisions", "procedure": "procedures", "indication": "procedures", "sex": "procedures", "side": "procedures"} {
		if diff := cmp.Diff(mustShip(t, table).Field(field).Codes, ready.Field(field).Codes); diff != "" {
			t.Errorf("shoulders.%s and %s.%s:\n%s", field, table, field, diff)
		}
	}
}

func mustShip(t *testing.T, name string) *Schema {
	s, err := Shipped(name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

var sentence = regexp.MustCompile(`^[A-Z0-9].*\.$`)

// Every field and code is explained in a sentence; every measurement has a unit.
func TestEveryFieldAndCodeIsExplained(t *testing.T) {
	// A row of estimates holds the unit of these in its columns at_unit and unit, or counts what its note says.
	elsewhere := []string{"estimates.at", "estimates.value", "estimates.lower", "estimates.upper", "estimates.n", "estimates.events"}
	for _, name := range append(Names(), "estimates") {
		s := mustShip(t, name)
		if s.Name != name || s.Title == "" || !sentence.MatchString(s.Description) {
			t.Errorf("%s: name %q, title %q, description %q", name, s.Name, s.Title, s.Description)
		}
		for _, f := range s.Fields {
			where := name + "." + f.Name
			if f.Title == "" || !sentence.MatchString(f.Description) {
				t.Errorf("%s: title %q, description %q", where, f.Title, f.Description)
			}
			measured := f.Type == Integer || f.Type == Number
			if measured && f.Unit == "" && !slices.Contains(elsewhere, where) {
				t.Errorf("%s has no unit", where)
			}
			for _, c := range f.Codes {
				if c.Label == "" || !sentence.MatchString(c.Description) {
					t.Errorf("%s: code %q: label %q, description %q", where, c.Value, c.Label, c.Description)
				}
			}
		}
	}
}

// A patient is never shown: the field is an identifier wherever it stands. Only the ready table can do without it, since
// published data often have no patients.
func TestPatientsAreIdentifiers(t *testing.T) {
	for _, name := range Names() {
		if f := mustShip(t, name).Field("patient"); f == nil || !f.Identifier || f.Type != Text || f.Required == (name == "shoulders") {
			t.Errorf("%s: %+v", name, f)
		}
	}
}

// The names and codes that other rooms, the demo and existing study plans count on. Removing one breaks somebody's plan.
func TestNamesThatPlansCountOn(t *testing.T) {
	for _, c := range []struct{ table, field, codes string }{
		{"procedures", "side", "left right"},
		{"procedures", "procedure", "reverse anatomic hemi plate other"},
		{"procedures", "occasion", "primary revision"},
		{"procedures", "superior_migration", "1 2 3 4a 4b 5"}, // Hamada 1990, grade 4 divided after Walch
		{"procedures", "asa", "1 2 3 4 5"},
		{"revisions", "reason", "infection instability loosening_glenoid loosening_humeral components_apart periprosthetic_fracture acromial_fracture breakage wear stiffness_or_pain other"},
		{"shoulders", "outcome", "unrevised revised died other_event"},
	} {
		var have []string
		for _, code := range mustShip(t, c.table).Field(c.field).Codes {
			have = append(have, code.Value)
		}
		if diff := cmp.Diff(strings.Fields(c.codes), have); diff != "" {
			t.Errorf("%s.%s:\n%s", c.table, c.field, diff)
		}
	}
}
