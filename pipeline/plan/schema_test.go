package plan

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"go.yaml.in/yaml/v3"
	"pgregory.net/rapid"

	"deltoid/schemas"
)

// publishedSchema is the JSON Schema of the study plan.
func publishedSchema(t testing.TB) *jsonschema.Schema {
	return compiled(t, "plan.schema.json", schemas.PlanSchema())
}

// compiled compiles a JSON Schema that is offered to editors. Compiling holds it against the draft's own metaschema.
func compiled(t testing.TB, name string, text []byte) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource(name, doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile(name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// asJSON is the plan as a JSON Schema sees it: keys and dates are texts, and a key that stands twice counts once.
func asJSON(n *yaml.Node) any {
	switch {
	case n.Kind == yaml.MappingNode:
		m := map[string]any{}
		for i := 0; i+1 < len(n.Content); i += 2 {
			m[n.Content[i].Value] = asJSON(n.Content[i+1])
		}
		return m
	case n.Kind == yaml.SequenceNode:
		list := make([]any, len(n.Content))
		for i, c := range n.Content {
			list[i] = asJSON(c)
		}
		return list
	}
	switch n.ShortTag() {
	case "!!null":
		return nil
	case "!!bool":
		return n.Value == "true"
	case "!!int", "!!float":
		if v, err := strconv.ParseFloat(n.Value, 64); err == nil {
			return v
		}
	}
	return n.Value
}

// shapeOf reads a plan and says whether the reader and the schema accept its shape; ok is false when it is no YAML.
func shapeOf(s *jsonschema.Schema, path string, data []byte) (reader, schema, ok bool, said string) {
	r := newReader(path)
	root := r.parse(data)
	if root == nil {
		return false, false, false, ""
	}
	r.document(root)
	reader = !slices.ContainsFunc(r.faults, func(f fault) bool { return f.shape })
	err := s.Validate(asJSON(root))
	return reader, err == nil, true, r.problems().Error() + "\n-- the schema says: " + errorText(err)
}

func errorText(err error) string {
	if err == nil {
		return "valid"
	}
	return err.Error()
}

const goodPlans = "../../testdata/plans"

func planFiles(t testing.TB) []string {
	var all []string
	for _, dir := range []string{goodPlans, brokenPlans} {
		names, err := filepath.Glob(dir + "/*.yaml")
		if err != nil || len(names) == 0 {
			t.Fatalf("%s: %d plans, %v", dir, len(names), err)
		}
		all = append(all, names...)
	}
	return all
}

func TestReaderAndSchemaAgreeOnEveryPlan(t *testing.T) {
	s := publishedSchema(t)
	wellShaped, misshapen := 0, 0
	for _, name := range planFiles(t) {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		reader, schema, ok, said := shapeOf(s, name, data)
		switch {
		case !ok:
		case reader != schema:
			t.Errorf("%s: shape right for the reader: %v, for the schema: %v\n%s", name, reader, schema, said)
		case reader:
			wellShaped++
		default:
			misshapen++
		}
	}
	if wellShaped < 10 || misshapen < 10 {
		t.Errorf("%d plans of the right shape and %d of a wrong one are too few to compare on", wellShaped, misshapen)
	}
}

// Random changes to a good plan: whatever happens to its shape, the reader and the schema agree on it.
func TestReaderAndSchemaAgreeOnChangedPlans(t *testing.T) {
	s := publishedSchema(t)
	names, err := filepath.Glob(goodPlans + "/*.yaml")
	if err != nil {
		t.Fatal(err)
	}
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
		reader, schema, ok, said := shapeOf(s, name, data)
		if ok && reader != schema {
			t.Fatalf("shape right for the reader: %v, for the schema: %v\n%s\n%s", reader, schema, data, said)
		}
	})
}

func tree(t interface{ Fatal(...any) }, name string) *yaml.Node {
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	var doc yaml.Node
	if err := yaml.Unmarshal(data, &doc); err != nil {
		t.Fatal(err)
	}
	return doc.Content[0]
}

// values stand in for what people write in the wrong place. Forms of numbers that only YAML has are left out: JSON cannot
// tell 1.0 from 1.
var values = []string{`x`, `""`, `" "`, `0`, `-1`, `0.7`, `3`, `7`, `95`, `true`, `~`, `[]`, `[a]`, `[a, a]`, `[1, 2]`, `{}`, `{a: b}`,
	`{type: code}`, `{from: 1}`, `2024-02-03`, `"2024"`, `left`, `years`, `died`, `[died, died]`, `html`, `two words`, `"1"`, `~`}

var keys = []string{"plan", "about", "files", "extra", "units", "reason", "reasons", "by", "labels", "order", "until", "level", "data_cut",
	"follow_up", "shoulders", "procedures", "scores", "outputs", "mask_below", "criteria", "where", "from", "codes", "type", "zzz", "9", "a b"}

// change makes one change somewhere in the tree.
func change(t *rapid.T, root *yaml.Node) {
	var groups, leaves []*yaml.Node
	var walk func(n *yaml.Node)
	walk = func(n *yaml.Node) {
		leaves = append(leaves, n)
		if n.Kind == yaml.MappingNode && len(n.Content) > 0 {
			groups = append(groups, n)
		}
		for i, c := range n.Content {
			if n.Kind != yaml.MappingNode || i%2 == 1 {
				walk(c)
			}
		}
	}
	for _, c := range root.Content {
		walk(c)
	}
	groups = append(groups, root)
	g := rapid.SampledFrom(groups).Draw(t, "group")
	i := 2 * rapid.IntRange(0, len(g.Content)/2-1).Draw(t, "entry")
	switch rapid.SampledFrom([]string{"replace", "replace anywhere", "remove", "rename", "add"}).Draw(t, "change") {
	case "replace":
		g.Content[i+1] = value(t)
	case "replace anywhere":
		*rapid.SampledFrom(leaves).Draw(t, "leaf") = *value(t)
	case "remove":
		g.Content = slices.Delete(g.Content, i, i+2)
	case "rename":
		g.Content[i] = &yaml.Node{Kind: yaml.ScalarNode, Value: rapid.SampledFrom(keys).Draw(t, "key")}
	case "add":
		key := &yaml.Node{Kind: yaml.ScalarNode, Value: rapid.SampledFrom(keys).Draw(t, "key")}
		g.Content = append(g.Content, key, value(t))
	}
	dropRepeated(root)
}

func value(t *rapid.T) *yaml.Node {
	var doc yaml.Node
	if err := yaml.Unmarshal([]byte(rapid.SampledFrom(values).Draw(t, "value")), &doc); err != nil {
		t.Fatal(err)
	}
	return doc.Content[0]
}

// dropRepeated removes keys that stand twice: JSON has no word for them.
func dropRepeated(n *yaml.Node) {
	seen := map[string]bool{}
	for i := 0; n.Kind == yaml.MappingNode && i+1 < len(n.Content); {
		if key := n.Content[i].Value; seen[key] {
			n.Content = slices.Delete(n.Content, i, i+2)
		} else {
			seen[key] = true
			i += 2
		}
	}
	for _, c := range n.Content {
		dropRepeated(c)
	}
}

// Every key of the schema has a sentence that says what it is, and stands in a plan that the reader accepts.
func TestEveryKeyIsDescribedAndShown(t *testing.T) {
	var shown strings.Builder
	names, _ := filepath.Glob(goodPlans + "/*.yaml")
	for _, name := range names {
		if _, err := Read(name); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		b, _ := yaml.Marshal(tree(t, name))
		shown.Write(b)
	}
	var doc map[string]any
	if err := yaml.Unmarshal(schemas.PlanSchema(), &doc); err != nil {
		t.Fatal(err)
	}
	checked := 0
	var walk func(at string, x any)
	walk = func(at string, x any) {
		m, ok := x.(map[string]any)
		if !ok {
			return
		}
		properties, _ := m["properties"].(map[string]any)
		for key, p := range properties {
			entry := p.(map[string]any)
			if at == "if" {
				continue
			}
			checked++
			if s, _ := entry["description"].(string); len(s) < 5 || !strings.HasSuffix(s, ".") {
				t.Errorf("%s in %s has no sentence that describes it", key, at)
			}
			if !strings.Contains(shown.String(), key+":") && key != "complications" && key != "scores" {
				t.Errorf("no plan in %s shows the key %s", goodPlans, key)
			}
		}
		for key, child := range m {
			walk(key, child)
		}
	}
	walk("the plan", doc)
	if checked < 50 {
		t.Errorf("only %d keys were looked at", checked)
	}
}
