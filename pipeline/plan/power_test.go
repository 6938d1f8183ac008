package plan

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"go.yaml.in/yaml/v3"
	"pgregory.net/rapid"

	"deltoid/schemas"
	"deltoid/stats/power"
)

const (
	goodPower   = "../../testdata/power"
	brokenPower = "../../testdata/broken/power"
)

type object = map[string]any

// powerSchema writes the JSON Schema of a plan for power from the designs, so that the published file cannot fall behind them.
func powerSchema() object {
	kinds, shapes := []any{}, []any{}
	for _, d := range power.Designs() {
		kinds = append(kinds, d.ID)
		keys := object{}
		for _, k := range wordKeys {
			keys[k] = object{"$ref": "#/$defs/" + k}
		}
		for _, t := range d.Takes {
			keys[string(t.Name)] = settingSchema(t)
		}
		shapes = append(shapes, object{
			"if":   object{"properties": object{"design": object{"const": d.ID}}, "required": []string{"design"}},
			"then": object{"description": d.Question, "properties": keys, "additionalProperties": false},
		})
	}
	hyphen := object{"type": "string", "pattern": hyphened.String(), "maxLength": 80}
	text := object{"type": "string", "pattern": `[^ \t\n\r\f]`}
	with := func(o object, words string) object {
		c := object{"description": words}
		for k, v := range o {
			c[k] = v
		}
		return c
	}
	return object{
		"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "Plan for power",
		"description": "How large the next study must be, what power a size has, or what it can detect. Of size, power (or half_width) and effect leave one out: it is looked for.",
		"type":        "object", "required": []string{"power", "study", "title"}, "anyOf": []any{object{"required": []string{"designs"}}, object{"required": []string{"simulated"}}}, "additionalProperties": false,
		"properties": object{
			"power": object{"const": PowerVersion, "description": "Version of the format."},
			"study": with(hyphen, "Short name; it names the output folder."),
			"title": with(text, "Title of the report."), "about": with(text, "A sentence on the study that is planned."),
			"invented":  object{"type": "boolean", "default": false, "description": "The plan is an invented example; every page says so."},
			"designs":   object{"type": "array", "minItems": 1, "items": object{"$ref": "#/$defs/planned"}},
			"simulated": object{"type": "array", "minItems": 1, "items": object{"$ref": "#/$defs/simulated"}, "description": "Studies that no formula answers; they are drawn."},
			"outputs":   object{"type": "array", "uniqueItems": true, "items": object{"enum": []any{HTML, Markdown, Notebook, Figures}}, "description": "What is written beside the estimates and the run record; all when left out."},
		},
		"$defs": object{
			"id": with(hyphen, "Name of the section; made from the design when left out."), "design": object{"enum": kinds, "description": "Kind of study."},
			"outcome": with(text, "What happens to a shoulder, for the sentences: revision for any reason."), "measured": with(text, "What the means are in, for the sentences: points of a score."),
			"groups":      object{"type": "array", "minItems": 2, "maxItems": 2, "items": text, "description": "Names of the two groups for the sentences, the one that is compared with first."},
			"simulations": object{"type": "integer", "minimum": leastSimulations, "maximum": 1_000_000, "description": "How many studies are made up to check the formula."},
			"seed":        object{"type": "integer", "minimum": 0, "maximum": 1_000_000, "default": firstSeed, "description": "Seed of the made-up studies."},
			"simulated":   simulatedSchema(),
			"planned":     object{"type": "object", "required": []string{"design"}, "properties": object{"design": object{"$ref": "#/$defs/design"}}, "allOf": shapes},
		},
	}
}

func settingSchema(t power.Assumption) object {
	o := object{"description": t.Words + ": " + t.Help}
	if t.Usual != nil {
		o["default"] = t.Usual.Number
		if t.Usual.Word != "" {
			o["default"] = t.Usual.Word
		}
	}
	if t.Unit == power.Choice {
		o["enum"] = t.Choices
		return o
	}
	o["type"] = "number"
	if t.Whole() {
		o["type"] = "integer"
	}
	if !math.IsInf(t.From, 0) {
		o[map[bool]string{true: "minimum", false: "exclusiveMinimum"}[t.FromIn]] = t.From
	}
	if !math.IsInf(t.To, 0) {
		o[map[bool]string{true: "maximum", false: "exclusiveMaximum"}[t.ToIn]] = t.To
	}
	return o
}

func TestPublishedPowerSchema(t *testing.T) {
	var want bytes.Buffer
	e := json.NewEncoder(&want)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	if err := e.Encode(powerSchema()); err != nil {
		t.Fatal(err)
	}
	const file = "../../schemas/files/power.schema.json"
	if *renew {
		if err := os.WriteFile(file, want.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	have, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(have), want.String()); diff != "" {
		t.Errorf("the published schema is behind the designs; renew with go test -run PowerSchema ./pipeline/plan -renew:\n%s", diff)
	}
}

// agree holds the shape of one plan for power against the published schema.
func agree(t interface{ Errorf(string, ...any) }, s *jsonschema.Schema, name string, data []byte) (shaped, parsed bool) {
	r := newReader(name)
	root := r.parse(data)
	if root == nil {
		return false, false
	}
	r = newReader(name)
	r.readPower(data)
	reader := !slices.ContainsFunc(r.faults, func(f fault) bool { return f.shape })
	if err := s.Validate(asJSON(root)); reader != (err == nil) {
		t.Errorf("%s: shape right for the reader: %v\n%s\n%s\n-- the schema says: %v", name, reader, data, r.problems(), errorText(err))
	}
	return reader, true
}

func powerFiles(t testing.TB, dir string) []string {
	names, err := filepath.Glob(dir + "/*.yaml")
	if err != nil || len(names) == 0 {
		t.Fatalf("%s: %d plans, %v", dir, len(names), err)
	}
	return names
}

func TestPowerReaderAndSchemaAgree(t *testing.T) {
	s := compiled(t, "power.schema.json", schemas.PowerSchema())
	shaped, misshapen := 0, 0
	for _, name := range append(powerFiles(t, goodPower), powerFiles(t, brokenPower)...) {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		switch good, parsed := agree(t, s, name, data); {
		case good:
			shaped++
		case parsed:
			misshapen++
		}
	}
	if shaped < 3 || misshapen < 3 {
		t.Errorf("%d plans of the right shape and %d of a wrong one are too few", shaped, misshapen)
	}
	names := []string{goodPower + "/next-study.yaml", goodPower + "/detectable.yaml"} // solved in no time, whatever changes
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(names).Draw(t, "plan")
		root := tree(t, name)
		for range rapid.IntRange(1, 2).Draw(t, "changes") {
			change(t, root)
		}
		data, err := yaml.Marshal(root)
		if err != nil {
			t.Fatal(err)
		}
		agree(t, s, name, data)
	})
}

// Every message is reviewed as text.
func TestMessagesAboutBrokenPlansForPower(t *testing.T) { reviewMessages(t, brokenPower, 5, ReadPower) }
